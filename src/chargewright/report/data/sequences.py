"""Orders of events as tables: bad outcomes, states in which a product comes to rest, the waveform of a script."""

from collections.abc import Sequence

from chargewright.report.tables import DataTable, column, table_form
from chargewright.studies.sequences.record import Leg, Sequences

ORDERS = table_form(
    "event_orders",
    "Orders of events that end badly, worst first",
    (
        column("source", "source"),
        column("severity", "severity"),
        column("outcome", "outcome"),
        column("title", "what happens"),
        column("script", "shortest order"),
        column("ways", "ways", kind="count"),
        column("period", "every", "s"),
        column("i_source_peak", "greatest source current", "A"),
        column("v_bus_lowest", "lowest bus under load", "V"),
        column("cause", "cause"),
        column("cure", "helps, tried"),
    ),
)

SEARCHED = table_form(
    "event_search",
    "How many orders of events were searched",
    (
        column("source", "source"),
        column("contract", "contract"),
        column("states", "states of rest", kind="count"),
        column("cycles", "limit cycles", kind="count"),
        column("transitions", "transitions", kind="count"),
        column("broken_into", "broken into", kind="count"),
        column("orders", "orders", kind="count"),
        column("length", "of up to so many events", kind="count"),
        column("whole", "searched to the end", kind="flag"),
        column("unaccounted", "energy unaccounted for", "1"),
    ),
)

REST = table_form(
    "rest_states",
    "States in which it comes to rest",
    (
        column("source", "source"),
        column("state", "no.", kind="count"),
        column("ending", "comes to"),
        column("words", "state"),
        column("script", "shortest order"),
        column("v_bus", "bus", "V"),
        column("i_source", "source current", "A"),
        column("i_pack", "pack current", "A"),
    ),
)

WAVEFORM = table_form(
    "waveform",
    "Waveform of a script",
    (
        column("event", "event"),
        column("t", "time", "s"),
        column("v_in", "stage input", "V"),
        column("v_bus", "bus", "V"),
        column("v_connector", "source, behind its cable", "V"),
        column("i_source", "source current", "A"),
        column("i_pack", "pack current", "A"),
        column("p_load", "load", "W"),
    ),
)


def orders_table(found: Sequences) -> DataTable:
    """Return one row for each bad outcome."""
    return ORDERS.filled(
        [
            (
                o.source,
                o.severity,
                o.key,
                o.title,
                ", ".join(o.script),
                o.ways,
                o.period,
                o.i_peak,
                o.v_low,
                o.cause,
                o.cure.change if o.cure is not None else "",
            )
            for o in found.outcomes
        ]
    )


def searched_table(found: Sequences) -> DataTable:
    """Return one row for each source."""
    return SEARCHED.filled(
        [
            (
                s.source,
                s.contract,
                len(s.states),
                s.cycles,
                len(s.links),
                s.broken_into,
                s.orders,
                s.length,
                s.whole,
                s.unaccounted,
            )
            for s in found.sources
        ]
    )


def rest_table(found: Sequences) -> DataTable:
    """Return one row for each state of rest of each source."""
    return REST.filled(
        [
            (
                s.source,
                k,
                n.ending,
                n.words,
                ", ".join(n.script),
                n.standing.v_bus,
                n.standing.i_source,
                n.standing.i_pack,
            )
            for s in found.sources
            for k, n in enumerate(s.states)
        ]
    )


def waveform_table(legs: Sequence[Leg]) -> DataTable:
    """Return the rows of a script that was run with its rows recorded."""
    return WAVEFORM.filled(
        [(leg.word, leg.t + float(row[0]), *(float(v) for v in row[1:])) for leg in legs for row in leg.passage.rows]
    )

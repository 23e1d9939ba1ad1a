"""Every order of events on a design's path, source by source: states, limit cycles, what ends badly, cause and cure."""

from collections.abc import Callable, Sequence

from chargewright.base.findings import SEVERITIES
from chargewright.network.hardware import Hardware
from chargewright.parts.rail_inputs import rail_inputs
from chargewright.sim.sequence import INF
from chargewright.sim.sequence_rules import Machine
from chargewright.sim.sequence_search import Edge, Graph, explore
from chargewright.sizing.build import Build
from chargewright.studies.needs import Plan
from chargewright.studies.sequences.cures import cure_of
from chargewright.studies.sequences.judge import Verdict, verdicts
from chargewright.studies.sequences.machine import machine_of
from chargewright.studies.sequences.record import OUTCOMES, Link, Outcome, Sequences, Settled, SourceOrders
from chargewright.studies.sequences.settings import SequenceSettings
from chargewright.studies.sequences.words import state_words
from chargewright.studies.settings import Settings
from chargewright.studies.situation import Situation
from chargewright.studies.stability import Stability

Progress = Callable[[str, float], None]
_ALWAYS_SAID = (
    "Event orders run at the low edge of the source's voltage and trip point, with a worn and hot cable, at the usual "
    "ambient temperature; every event also comes when all before it has settled.",
    "The source's inductance is left out (a hot plug is judged by itself), a stage takes and gives powers through a "
    "loss that is a line between two solved points, its regulation is one lag, and the pack is a voltage behind a "
    "resistance and one slow pair.",
)


def sequences(
    case: Situation, chosen: Plan, hardware: Hardware, build: Build, *, coded: Settings | None = None,
    loops: Stability | None = None, settings: SequenceSettings | None = None, sources: Sequence[str] = (),
    midway: int = 0, most: int = 400, budget: float = INF, progress: Progress | None = None,
) -> Sequences:  # fmt: skip
    """Return the orders of events of a path with its parts.

    coded, loops : set-points and loops that were worked out; without them the exact set-points and a usual lag
    sources      : names of the sources to run; all if empty
    midway       : at how many instants of each passage further events are tried
    most         : states after which a search is cut off, and said to be
    budget       : steps after which further sources are left out, and said to be; the weakest source comes first
    """
    wanted = settings or SequenceSettings()
    names = sorted(tuple(sources) or tuple(chosen.contracts), key=lambda name: chosen.contracts[name].power)
    found: list[SourceOrders] = []
    left_out: list[str] = []
    spent = 0
    for k, name in enumerate(names):
        if spent > budget:
            left_out.append(name)
            continue
        share = k / len(names)
        tell = _teller(progress, f"events on {name}", share, 1.0 / len(names))
        machine = machine_of(case, chosen, hardware, build, name, wanted, coded, loops)
        graph = explore(machine, midway=midway, most=most, progress=tell)
        spent += graph.steps
        found.append(source_orders(machine, graph, name, chosen.contracts[name].contract))
    said = (*_ALWAYS_SAID, *wanted.said(), rail_inputs(chosen.rails).words)
    return Sequences(path=chosen.path.key, sources=tuple(found), left_out=tuple(left_out), assumptions=said)


def _teller(progress: Progress | None, what: str, first: float, share: float) -> Callable[[float], None] | None:
    return None if progress is None else lambda done: progress(what, first + share * done)


def source_orders(machine: Machine, graph: Graph, source: str, contract: str) -> SourceOrders:
    """Return a searched graph with its bad outcomes."""
    return SourceOrders(
        source=source,
        contract=contract,
        machine=machine,
        states=tuple(
            Settled(script=n.script, words=state_words(n.at, machine.talks), standing=n.at, ending=n.ending)
            for n in graph.nodes
        ),
        links=tuple(Link(start=e.start, event=e.words[0], end=e.end) for e in graph.edges if len(e.words) == 1),
        broken_into=sum(len(e.words) > 1 for e in graph.edges),
        orders=graph.orders,
        length=graph.length,
        whole=graph.whole,
        unaccounted=max((e.passage.sums.unaccounted for e in graph.edges), default=0.0),
        outcomes=_outcomes(machine, graph, source),
    )


def _outcomes(machine: Machine, graph: Graph, source: str) -> tuple[Outcome, ...]:
    """Return one outcome for each kind, contract and pack: its shortest script, and how many ways there are."""
    grouped: dict[tuple[str, bool, bool], list[tuple[Edge, Verdict]]] = {}
    for edge in graph.edges:
        for verdict in verdicts(machine, edge.passage, edge.words[-1]):
            grouped.setdefault((verdict.key, verdict.default, verdict.no_pack), []).append((edge, verdict))
    found = []
    for group in grouped.values():
        edge, verdict = min(group, key=lambda g: (len(graph.script_of(g[0])), len(g[0].words)))
        words = graph.script_of(edge)
        sums = edge.passage.sums
        found.append(
            Outcome(
                key=verdict.key,
                source=source,
                script=words,
                contract=verdict.default and machine.talks,
                no_pack=verdict.no_pack,
                period=edge.passage.period,
                i_peak=sums.i_peak,
                v_low=sums.v_low,
                ways=len(group),
                cause=verdict.cause,
                cure=cure_of(machine, words, verdict),
            )
        )
    order = list(OUTCOMES)
    return tuple(sorted(found, key=lambda o: (SEVERITIES.index(o.severity), order.index(o.key), len(o.script))))

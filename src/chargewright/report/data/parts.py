"""Parts: what was chosen, its margins, what nearly won, and the trade of the sense resistors."""

from collections.abc import Sequence

from chargewright.report.tables import ROW, DataTable, column, table_form
from chargewright.sizing.records import Sizing
from chargewright.studies.study import PathStudy

PARTS = table_form(
    "parts",
    "Chosen parts",
    (
        column("path", "path"),
        column("place", "place"),
        column("part", "part"),
        column("count", "count", kind="count"),
        column("origin", "origin"),
        column("cost", "cost index", kind="number"),
        column("area", "board area", "m2"),
    ),
)


def parts_table(paths: Sequence[PathStudy]) -> DataTable:
    """Return the parts of each path that could be sized."""
    rows = [
        (p.path.key, place, name, count, _origin(p.sizing, name), count * cost, count * area)
        for p in paths
        if p.sizing is not None
        for place, name, count, cost, area in p.sizing.build.parts()
    ]
    return PARTS.filled(rows)


def _origin(sizing: Sizing, name: str) -> str:
    b = sizing.build
    every = (
        b.a_high, b.a_low, b.b_low, b.b_high, b.coil, b.bank_a.part, b.bank_b.part, b.sense_source, b.sense_charge,
        b.blocking, b.battery,
    )  # fmt: skip
    return next((part.origin for part in every if part is not None and part.name == name), "")


MARGINS = table_form(
    "margins",
    "Margins of the chosen parts, thinnest first",
    (
        column("rule", "rule"),
        column("where", "where"),
        column("value", "value", ROW, 4),
        column("limit", "limit", ROW, 4),
        column("unit", "SI unit"),
        column("margin", "margin", "1", 2),
        column("note", "note"),
    ),
)


def margins_table(sizing: Sizing) -> DataTable:
    """Return every rule at the place where it is tightest, thinnest margin first."""
    rows = [
        (m.rule, m.where, m.value, m.limit, m.unit, m.margin, m.note)
        for m in sorted(sizing.margins, key=lambda m: m.margin)
    ]
    return MARGINS.filled(rows)


REJECTED_PARTS = table_form(
    "rejected_parts",
    "What nearly won: a better score, but one rule broken",
    (
        column("differs", "differs in"),
        column("rule", "rule broken"),
        column("where", "where"),
        column("value", "value", ROW, 4),
        column("limit", "limit", ROW, 4),
        column("unit", "SI unit"),
        column("p_loss", "mean loss", "W"),
        column("cost", "cost index", kind="number"),
        column("score", "score", "W"),
    ),
)


def rejected_table(sizing: Sizing) -> DataTable:
    """Return the sets with a better score that break exactly one rule."""
    rows = [
        (
            _differs(sizing, r.candidate.build.parts()),
            r.rule,
            r.where,
            r.value,
            r.limit,
            r.unit,
            r.candidate.p_loss,
            r.candidate.cost,
            r.candidate.score,
        )
        for r in sizing.nearest_rejected
    ]
    return REJECTED_PARTS.filled(rows)


def _differs(sizing: Sizing, parts: Sequence[tuple[str, str, int, float, float]]) -> str:
    chosen = {place: (name, count) for place, name, count, _, _ in sizing.build.parts()}
    other = [f"{place}: {count} × {name}" for place, name, count, _, _ in parts if chosen.get(place) != (name, count)]
    return "; ".join(other) or "switching frequency"


FRONT = table_form(
    "front",
    "Sets of parts that no other set beats",
    (
        column("chosen", "chosen", kind="flag"),
        column("f_sw", "switching frequency", "Hz"),
        column("coil", "inductor"),
        column("p_loss", "mean loss", "W"),
        column("cost", "cost index", kind="number"),
        column("area", "board area", "m2"),
        column("score", "score", "W"),
    ),
)


def front_table(sizing: Sizing) -> DataTable:
    """Return the sets of parts that no other set beats in loss, cost and area at once."""
    rows = [
        (k == 0, c.build.f_sw, c.build.coil.name, c.p_loss, c.cost, c.area, c.score) for k, c in enumerate(sizing.front)
    ]
    return FRONT.filled(rows)


SENSE_RESISTORS = table_form(
    "sense_resistors",
    "Sense resistors: loss against accuracy",
    (
        column("role", "current of"),
        column("part", "part"),
        column("r", "resistance", "ohm"),
        column("p_loss", "loss at full current", "W"),
        column("temp", "temperature", "K"),
        column("error_full", "error at full current", "1", 2),
        column("error_precharge", "at precharge", "1", 2),
        column("error_termination", "at termination", "1", 2),
        column("chosen", "chosen", kind="flag"),
        column("why", "why"),
    ),
)


def sense_table(sizing: Sizing) -> DataTable:
    """Return the trade between loss and accuracy of each sense resistor that was weighed."""
    at = ("full", "precharge", "termination")
    rows = []
    for t in sizing.sense:
        errors = {e.at: e.worst for e in t.errors}
        rows.append((t.role, t.name, t.r, t.p_loss, t.temp, *(errors.get(a) for a in at), t.chosen, t.why))
    return SENSE_RESISTORS.filled(rows)


CAPACITORS = table_form(
    "capacitors",
    "Capacitors at their worst corners",
    (
        column("side", "side"),
        column("part", "part"),
        column("count", "count", kind="count"),
        column("c_nominal", "nominal", "F"),
        column("c_effective", "left under bias and tolerance", "F"),
        column("ripple", "ripple over voltage", "1", 2),
        column("i_rms_each", "current of each", "A"),
        column("life", "life", "s"),
    ),
)


def banks_table(sizing: Sizing) -> DataTable:
    """Return what the capacitors of both sides do at their worst corners."""
    rows = [
        (f"{b.side} side", b.name, b.count, b.c_nominal, b.c_effective, b.ripple, b.i_rms_each, b.life)
        for b in sizing.banks
    ]
    return CAPACITORS.filled(rows)

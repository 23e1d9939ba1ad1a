"""The candidate paths: ranking, measures, requirements, bus windows, reach."""

from chargewright.report.tables import ROW, Column, DataTable, column, table_form
from chargewright.studies.limits import Reach
from chargewright.studies.study import Study
from chargewright.studies.verdict import MEASURES, SMALL_IS_GOOD


def _measure(name: str) -> Column:
    title, unit = MEASURES[name]
    # A cost index is a plain number, not a share: as a ratio it would be shown in per cent.
    return column(name, title, kind="number") if name == "cost" else column(name, title, unit)


PATHS = table_form(
    "paths",
    "The candidate paths",
    (
        column("place", "place", kind="count"),
        column("path", "path"),
        column("title", "what it is"),
        column("feasible", "feasible", kind="flag"),
        column("score", "score", "1"),
        column("wins", "wins of all weightings tried", "1"),
        *(_measure(name) for name in SMALL_IS_GOOD),
    ),
)


def paths_table(study: Study) -> DataTable:
    """Return one row for each candidate, best first, with score and measures."""
    ranked = {r.key: (k + 1, r) for k, r in enumerate(study.ranking.order)}
    rows = []
    for p in study.paths:
        place, found = ranked.get(p.path.key, (None, None))
        measures = [(p.measures or {}).get(name) for name in SMALL_IS_GOOD]
        rows.append(
            (
                place,
                p.path.key,
                p.path.title,
                p.feasible,
                None if found is None else found.total,
                None if found is None else found.wins,
                *measures,
            )
        )
    return PATHS.filled(rows)


REQUIREMENTS = table_form(
    "requirements",
    "What each path must and should do",
    (
        column("path", "path"),
        column("requirement", "requirement"),
        column("weight", "weight"),
        column("met", "met", kind="flag"),
        column("value", "value", ROW, 4),
        column("sense", "has to be"),
        column("limit", "limit", ROW, 4),
        column("unit", "SI unit"),
        column("reason", "reason"),
    ),
)


def requirements_table(study: Study) -> DataTable:
    """Return every requirement of every path, judged."""
    rows = [
        (
            p.path.key,
            r.title,
            r.weight,
            r.met,
            r.value,
            "at least" if r.at_least else "at most",
            r.limit,
            r.unit,
            r.reason,
        )
        for p in study.paths
        for r in p.requirements
    ]
    return REQUIREMENTS.filled(rows)


BUS_WINDOWS = table_form(
    "bus_windows",
    "Bus window and what it asks of the rails",
    (
        column("path", "path"),
        column("source_min", "lowest with a source", "V"),
        column("source_max", "highest with a source", "V"),
        column("pack_min", "lowest on the pack", "V"),
        column("pack_max", "highest on the pack", "V"),
        column("width", "highest over lowest", kind="number"),
        column("rail_rating", "rating of the rails' switches", "V"),
        column("rail_cost", "cost index of the rails", kind="number"),
        column("rail_area", "area of the rails", "m2"),
    ),
)


def windows_table(study: Study) -> DataTable:
    """Return the bus window of each path that could be sized."""
    rows = [
        (
            p.path.key,
            w.source_min,
            w.source_max,
            w.pack_min,
            w.pack_max,
            w.width,
            max((r.v_rating for r in p.plan.rails), default=None),
            sum(r.cost for r in p.plan.rails),
            sum(r.area for r in p.plan.rails),
        )
        for p in study.paths
        if (w := p.window) is not None
    ]
    return BUS_WINDOWS.filled(rows)


WEIGHTS = table_form(
    "weights",
    "Weights, and where the lead would change",
    (
        column("measure", "measure"),
        column("weight", "weight", kind="number"),
        column("tips_at", "another path wins at", kind="number"),
        column("then", "namely"),
    ),
)


def tipping_table(study: Study) -> DataTable:
    """Return what each weight would have to be for another path to win."""
    rows = [(MEASURES[t.weight][0], t.now, t.at if t.then else None, t.then or "none") for t in study.ranking.tipping]
    return WEIGHTS.filled(rows)


REACH = table_form(
    "reach",
    "How far it goes",
    (
        column("quantity", "quantity"),
        column("now", "this design", ROW, 4),
        column("edge", "last that passes", ROW, 4),
        column("margin", "margin", "1"),
        column("unit", "SI unit"),
        column("what_fails", "what fails beyond"),
    ),
)


def reach_table(reach: Reach) -> DataTable:
    """Return how far each quantity can go before something fails."""
    rows = [(e.title, e.now, e.edge, e.margin, e.unit, e.what_fails) for e in reach.edges]
    return REACH.filled(rows)

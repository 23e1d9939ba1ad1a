"""Tables of a dossier for notebooks: a list of dicts, or columns of numpy arrays. SI numbers; keys name their unit.

A table whose rows have different units has the unit in a column of its own, `unit`.
"""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import ChargewrightError
from chargewright.base.near import nearest
from chargewright.dossier.record import Dossier
from chargewright.setpoints.table import code_table
from chargewright.studies.verdict import MEASURES

Row = dict[str, Any]


def table(dossier: Dossier, name: str) -> list[Row]:
    """Return one table of a dossier as rows. Raises ChargewrightError for a name that is none of `NAMES`."""
    if name not in _TABLES:
        close = nearest(name, NAMES)
        hint = f"did you mean {close!r}?" if close else f"known: {', '.join(NAMES)}"
        raise ChargewrightError(f"table {name!r} is not known; {hint}")
    return _TABLES[name](dossier)


def columns(rows: Sequence[Row]) -> dict[str, npt.NDArray[Any]]:
    """Return rows as columns, one array a key: floats where every entry is a number or None (nan), else objects."""
    if not rows:
        return {}
    return {key: _array([row[key] for row in rows]) for key in rows[0]}


def _array(values: list[Any]) -> npt.NDArray[Any]:
    if all(v is None or (isinstance(v, int | float) and not isinstance(v, bool)) for v in values):
        return np.array([np.nan if v is None else float(v) for v in values])
    if all(isinstance(v, bool) for v in values):
        return np.array(values, dtype=bool)
    return np.array(values, dtype=object)


def _ranking(d: Dossier) -> list[Row]:
    rows: list[Row] = []
    for k, r in enumerate(d.study.ranking.order, start=1):
        p = d.study.path(r.key)
        row: Row = {"place": k, "path": r.key, "title": p.path.title, "score": r.total, "wins": r.wins}
        for name, (_, unit) in MEASURES.items():
            row[name if unit == "1" else f"{name}_{unit}"] = (p.measures or {}).get(name)
            row[f"score_{name}"] = r.scores[name]
        rows.append(row)
    return rows


def _requirements(d: Dossier) -> list[Row]:
    return [
        {
            "path": p.path.key,
            "requirement": r.key,
            "source": r.source,
            "weight": r.weight,
            "met": r.met,
            "value": r.value,
            "limit": r.limit,
            "unit": r.unit,
            "reason": r.reason,
        }
        for p in d.study.paths
        for r in p.requirements
    ]


def _watts(d: Dossier) -> list[Row]:
    """Every line of every state's ledger, of every path with parts, at the state's usual point."""
    return [
        {
            "path": p.path.key,
            "state": s.key,
            "where": e.where,
            "cause": e.cause,
            "side": e.side,
            "p_W": float(np.broadcast_to(e.watts, s.soc.shape)[s.usual]),
        }
        for p in d.study.paths
        for s in p.states
        for e in s.ledger.entries
    ]


def _parts(d: Dossier) -> list[Row]:
    return [
        {"path": p.path.key, "place": place, "part": part, "count": count, "cost": cost, "area_m2": area}
        for p in d.study.paths
        if p.sizing is not None
        for place, part, count, cost, area in p.sizing.build.parts()
    ]


def _set_points(d: Dossier) -> list[Row]:
    if d.settings is None:
        return []
    return [{key: getattr(row, key) for key in row.__dataclass_fields__} for row in code_table(d.settings.points)]


def _charges(d: Dossier) -> list[Row]:
    return [
        {
            "title": c.title,
            "source": c.source,
            "contract": c.contract,
            "p_load_W": c.p_load,
            "temp_ambient_K": c.temp_ambient,
            "ended_by": c.run.ended_by,
            "t_80_s": c.run.t_80,
            "t_end_s": c.run.t_end,
            "e_wall_J": c.e_wall,
            "heat_cells_J": c.run.heat_cells,
            "cause": c.run.cause,
        }
        for c in d.charges
    ]


def _findings(d: Dossier) -> list[Row]:
    return [
        {
            "severity": f.severity,
            "check": f.check,
            "where": f.where,
            "what": f.what,
            "value": f.value,
            "limit": f.limit,
            "unit": f.unit,
            "why": f.why,
            "source": f.source,
            "cure": f.cure.change if f.cure else "",
            "value_cured": f.cure.value if f.cure else None,
        }
        for f in d.findings
    ]


def _test_plan(d: Dossier) -> list[Row]:
    steps = d.test_plan.steps if d.test_plan is not None else ()
    return [{key: getattr(step, key) for key in step.__dataclass_fields__} for step in steps]


_TABLES: dict[str, Callable[[Dossier], list[Row]]] = {
    "ranking": _ranking,
    "requirements": _requirements,
    "watts": _watts,
    "parts": _parts,
    "set_points": _set_points,
    "charges": _charges,
    "findings": _findings,
    "test_plan": _test_plan,
}
NAMES = tuple(_TABLES)
"""Every table that a dossier has."""

"""The study as one machine-readable record: what `study.json` holds. SI numbers; keys name their unit.

Most of it is the tables of `data`, so that page, print, CSV and this record cannot differ; `schema` describes it from
the same columns.
"""

from math import isfinite
from typing import Any

import numpy as np

from chargewright.base.version import own_version
from chargewright.dossier.record import Dossier
from chargewright.report.data import charge, handover, loops, parts, paths, sequences, states, transients, use
from chargewright.report.document import design_file
from chargewright.report.tables import DataTable, TableForm
from chargewright.studies.decision_map import DecisionMap
from chargewright.studies.outlook import Outlook
from chargewright.studies.study import PathStudy
from chargewright.studies.words import because, verdict_sentence, why_out

FORMAT = "chargewright study"
VERSION = 1
"""Version of the form of the record; a change that could break a reader raises it."""
DIGITS = 10
"""Significant digits of the numbers."""


ALWAYS: tuple[TableForm, ...] = (
    paths.PATHS,
    paths.REQUIREMENTS,
    paths.WEIGHTS,
    paths.BUS_WINDOWS,
    states.STATES,
    states.LOSSES,
    charge.DAYS,
    parts.PARTS,
    charge.CHARGES,
    handover.LADDERS,
    handover.FINDINGS,
)
"""Tables of every study, with or without rows."""
SOMETIMES: tuple[TableForm, ...] = (
    handover.SET_POINTS,
    handover.OPEN_SET_POINTS,
    handover.TEST_PLAN,
    paths.REACH,
    parts.MARGINS,
    parts.REJECTED_PARTS,
    parts.FRONT,
    parts.SENSE_RESISTORS,
    parts.CAPACITORS,
    charge.CHARGE_AUDIT,
    charge.CHARGE_LIMITS,
    use.USE,
    use.USE_LOSSES,
    use.USE_STATES,
    use.RUN_TIMES,
    use.CHARGER_RULE,
    loops.LOOPS,
    loops.SOURCE_FILTER,
    sequences.SEARCHED,
    sequences.ORDERS,
    sequences.REST,
    transients.TRANSIENTS,
    transients.MEASURES,
)
"""Tables of a study that has a winner."""
CURVES: tuple[TableForm, ...] = (
    charge.CHARGE_CURVE,
    charge.DAY_CURVE,
    loops.LOOP_GAINS,
    transients.WAVES,
    transients.STAGE_WAVE,
)


def tables_of(dossier: Dossier) -> tuple[DataTable, ...]:
    """Return every table of the study but the curves; each becomes a CSV file."""
    study = dossier.study
    sized = [p for p in study.paths if p.sizing is not None]
    found = [
        paths.paths_table(study),
        paths.requirements_table(study),
        paths.tipping_table(study),
        paths.windows_table(study),
        states.states_table(sized),
        states.losses_table(sized),
        charge.days_table(sized),
        parts.parts_table(sized),
        charge.charges_table(dossier.charges),
        handover.ladders_table(dossier.ladders),
        handover.findings_table(dossier.findings),
    ]
    if dossier.settings is not None:
        found.append(handover.set_points_table(dossier.settings.points))
    if dossier.open_settings is not None:
        found.append(handover.set_points_table(dossier.open_settings.points, handover.OPEN_SET_POINTS))
    if dossier.test_plan is not None:
        found.append(handover.test_plan_table(dossier.test_plan))
    if study.reach is not None:
        found.append(paths.reach_table(study.reach))
    if dossier.outlook is not None:
        found += _of_use(dossier.outlook)
    if dossier.stability is not None:
        found += [loops.loops_table(dossier.stability), loops.filter_table(dossier.stability)]
    if dossier.orders is not None:
        makers = (sequences.searched_table, sequences.orders_table, sequences.rest_table)
        found += [make(dossier.orders) for make in makers]
    if dossier.transients is not None:
        found += [
            transients.transients_table(dossier.transients),
            transients.transient_measures_table(dossier.transients),
        ]
    return (*found, *(_of_winner(study.winner) if study.winner is not None else ()))


def curves_of(dossier: Dossier) -> tuple[DataTable, ...]:
    """Return the curves of the winner, which are long."""
    winner = dossier.study.winner
    if winner is None or winner.charge is None or winner.day is None:
        return ()
    found: tuple[DataTable, ...] = (charge.charge_curve_table(winner.charge.run), charge.day_curve_table(winner.day))
    if dossier.stability is not None:
        found += (loops.gains_table(dossier.stability),)
    if dossier.transients is not None:
        found += (transients.transient_waves_table(dossier.transients),)
    if dossier.stage_wave is not None:
        found += (transients.stage_wave_table(dossier.stage_wave),)
    return found


def _of_use(found: Outlook) -> list[DataTable]:
    tables = [
        use.use_table(found),
        use.use_losses_table(found),
        use.use_states_table(found),
        use.run_times_table(found),
    ]
    return tables if found.charger is None else [*tables, use.charger_rule_table(found.charger)]


def _of_winner(winner: PathStudy) -> tuple[DataTable, ...]:
    if winner.sizing is None or winner.charge is None:
        return ()
    makers = (
        parts.margins_table,
        parts.rejected_table,
        parts.front_table,
        parts.sense_table,
        parts.banks_table,
    )
    run = winner.charge.run
    return (*(make(winner.sizing) for make in makers), charge.audit_table(run), charge.limits_table(run))


def study_record(dossier: Dossier) -> dict[str, Any]:
    """Return the study as nested dicts and lists that JSON can hold; what is not finite becomes None."""
    study = dossier.study
    return {
        "format": FORMAT,
        "version": VERSION,
        "made_by": f"Chargewright {own_version()}",
        "design": {
            "file": design_file(dossier),
            "name": study.case.design.name,
            "notes": study.case.design.notes,
            "weights": {n: float(getattr(study.case.design.weights, n)) for n in _weights(dossier)},
        },
        "verdict": {
            "winner": study.winner.path.key if study.winner is not None else None,
            "sentence": verdict_sentence(study),
            "because": list(because(study)),
            "tie": study.ranking.tie,
            "ruled_out": {p.path.key: list(why_out(p)) for p in study.paths if not p.feasible},
        },
        "decision_map": None if study.map is None else _map(study.map),
        "tables": {t.key: rows_of(t) for t in tables_of(dossier)},
        "curves": {t.key: columns_of(t) for t in curves_of(dossier)},
        "assumptions": list(dossier.assumptions),
        "not_modelled": list(dossier.not_modelled),
        "cautions": list(dossier.cautions),
        "standards": [{"name": s.name, "subject": s.subject} for s in dossier.standards],
    }


def rows_of(table: DataTable) -> list[dict[str, Any]]:
    """Return a table as a list of objects."""
    heads = [c.head for c in table.columns]
    return [dict(zip(heads, (_value(v) for v in row), strict=True)) for row in table.rows]


def columns_of(table: DataTable) -> dict[str, list[Any]]:
    """Return a table as one list for each column."""
    return {c.head: [_value(row[k]) for row in table.rows] for k, c in enumerate(table.columns)}


def _weights(dossier: Dossier) -> list[str]:
    return list(dossier.study.case.design.weights.__dataclass_fields__)


def _map(the_map: DecisionMap) -> dict[str, Any]:
    winners = [[None if k < 0 else the_map.paths[int(k)] for k in row] for row in the_map.winner]
    return {
        "power_W": _numbers(the_map.power),
        "share_on_source": _numbers(the_map.share),
        "winner": winners,
        "lead": [_numbers(row) for row in the_map.lead],
    }


def _numbers(values: Any) -> list[float | None]:
    return [_number(float(v)) for v in np.ravel(values)]


def _value(value: Any) -> Any:
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, np.bool_):
        return bool(value)
    return _number(float(value))


def _number(value: float) -> float | None:
    """Return a number rounded to the digits that mean something, or None."""
    return float(f"{value:.{DIGITS}g}") if isfinite(value) else None

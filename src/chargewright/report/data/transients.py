"""Tables of the transients: what each comes to, its measures against their limits, and its waveforms."""

import numpy as np
import numpy.typing as npt

from chargewright.report.tables import ROW, DataTable, column, table_form
from chargewright.studies.transients.record import QUANTITIES, TransientReport, Transients
from chargewright.studies.transients.steady_wave import SteadyWave

TRANSIENTS = table_form(
    "transients",
    "Transients: what happens when, and whether every limit is kept",
    (
        column("transient", "transient"),
        column("title", "title"),
        column("met", "can be met", kind="flag"),
        column("passes", "limits kept", kind="flag"),
        column("setting", "with"),
        column("verdict", "verdict"),
        column("cause", "cause"),
        column("engine", "engine"),
    ),
)


def transients_table(found: Transients) -> DataTable:
    """Return one row for each transient, those that cannot be met included."""
    rows: list[tuple[object, ...]] = [
        (r.key, r.title, True, r.passes, r.setting, r.verdict, r.cause, r.engine) for r in found.reports
    ]
    rows += [(why.key, why.title, False, None, "", "", why.why, "") for why in found.left_out]
    return TRANSIENTS.filled(rows)


MEASURES = table_form(
    "transient_measures",
    "Measures of the transients against their limits",
    (
        column("transient", "transient"),
        column("measure", "measure"),
        column("title", "what"),
        column("value", "value", ROW, kind="number"),
        column("limit", "limit", ROW, kind="number"),
        column("unit", "unit"),
        column("side", "trouble lies"),
        column("passes", "kept", kind="flag"),
    ),
)


def transient_measures_table(found: Transients) -> DataTable:
    """Return one row for each measure of each transient."""
    rows = [
        (r.key, m.key, m.title, m.value, m.limit, m.unit, m.side, m.passes) for r in found.reports for m in r.measures
    ]
    return MEASURES.filled(rows)


WAVES = table_form(
    "transient_waves",
    "Waveforms of the transients: mean of each switching period, thinned out",
    (
        column("transient", "transient"),
        column("t", "time after the event", "s"),
        *(column(key, title, unit) for key, (title, unit) in QUANTITIES.items()),
        column("ruling", "ruling loop"),
    ),
)
STAGE_WAVE = table_form(
    "stage_wave",
    "Two steady switching periods of the stage",
    (
        column("t", "time", "s"),
        column("i_coil", "coil current", "A"),
        column("v_switch", "voltage at the switched node", "V"),
        column("i_input_capacitor", "current into the input capacitors", "A"),
        column("i_output_capacitor", "current into the output capacitors", "A"),
    ),
)


def stage_wave_table(wave: SteadyWave) -> DataTable:
    """Return the steady periods of the stage."""
    columns = (wave.t, wave.i_coil, wave.v_switch, wave.i_input_capacitor, wave.i_output_capacitor)
    return STAGE_WAVE.filled([tuple(float(v) for v in row) for row in zip(*columns, strict=True)])


_POINTS = 200
"""Rows that each transient has in the study's record; the command writes all of them."""


def transient_waves_table(found: Transients) -> DataTable:
    """Return the waveforms of every transient, below each other."""
    return WAVES.filled([row for r in found.reports for row in _rows(r)])


def _rows(r: TransientReport) -> list[tuple[object, ...]]:
    kept = np.unique(np.linspace(0, len(r.waves.t) - 1, _POINTS).round().astype(int))
    return [
        (r.key, float(r.waves.t[k]), *(float(r.waves.mean[q][k]) for q in QUANTITIES), ruling_words(r, int(k)))
        for k in kept
    ]


def ruling_words(r: TransientReport, k: int) -> str:
    """Return the loop that rules in a period, in words."""
    which = int(r.waves.ruling[k])
    return r.loops[which] if which >= 0 else "none: the stage stands still"


def wave_columns(r: TransientReport) -> dict[str, npt.ArrayLike]:
    """Return the waveforms of one transient as columns with their units: mean, and the extremes that ripple makes."""
    found: dict[str, npt.ArrayLike] = {"t_s": r.waves.t}
    for key, (_, unit) in QUANTITIES.items():
        found[f"{key}_{unit}"] = r.waves.mean[key]
    for key in ("v_bus", "v_input", "i_coil"):
        unit = QUANTITIES[key][1]
        found[f"{key}_least_{unit}"] = r.waves.low[key]
        found[f"{key}_greatest_{unit}"] = r.waves.high[key]
    found["ruling_loop"] = [ruling_words(r, k) for k in range(len(r.waves.t))]
    return found

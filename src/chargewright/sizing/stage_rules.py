"""The rules that a stage has to keep, judged for many sets of parts at once."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.network.stage import CoilAt
from chargewright.parts.catalogue import Parts
from chargewright.sizing.arrays import taken
from chargewright.sizing.demand import Demand, StageDemand
from chargewright.sizing.pass_elements import rating_needed
from chargewright.sizing.tables import PLACES, Choice, Run, Tables, heating_of, hot_saturation, lasting_of, rows_of, run

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

ON_TIME_LEAST = 50e-9
"""Shortest pulse [s]: what a comparator needs to see a current past the ringing of the edge; common practice."""
_HEAT_PASSES = 4
"""Each pass of loss and temperature leaves about a tenth of the error."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruling:
    """One rule over many sets: arrays (sets,). `use` is how much of the limit is used; above 1 the rule is broken."""

    rule: str
    where: str
    unit: str
    value: Floats
    limit: Floats
    use: Floats
    corner: Ints
    """Point at which it is tightest; -1 where it does not depend on one."""


def coil_rulings(t: Tables, choice: Choice, worst: Run, parts: Parts, demand: Demand) -> list[Ruling]:
    """Return the rules on inductor and timing, from the waveforms at the corners with the inductor at its worst."""
    rules, w, points = demand.rules, worst.wave, worst.points
    lasting = lasting_of(points)
    full = worst.i_l[:, lasting].max(axis=1)
    i_sat = t.coil[choice.coil, CoilAt._fields.index("i_sat")] * hot_saturation(t, choice.coil)
    i_rms = parts.inductors.column("i_rms")[choice.coil]
    # A leg that rests has a duty of exactly 1 (input high) or 0 (output low) and no pulses to be too short or too long.
    input_pulses = (w.d_in != 1.0) | (t.one_leg & ~points.reverse)
    output_pulses = (w.d_out != 0.0) | (t.one_leg & points.reverse)
    least = np.minimum(np.where(input_pulses, w.d_in, 1.0), np.where(output_pulses, w.d_out, 1.0))
    most = np.maximum(np.where(input_pulses, w.d_in, 0.0), np.where(output_pulses, w.d_out, 0.0))
    f_sw = t.f_sw[choice.f_sw]
    return [
        _upper("inductor ripple", "inductor", "A", w.di_pp, rules.ripple_max * full),
        _upper("saturation", "inductor", "A", w.i_peak, (1.0 - rules.saturation_margin) * i_sat),
        _upper("inductor current", "inductor", "A", w.rms_coil, rules.i_derating * i_rms, lasting),
        _upper("greatest duty", "stage", "1", most, np.full(len(choice), rules.duty_max)),
        _lower("least duty", "stage", "1", least, np.full(len(choice), rules.duty_min)),
        _lower("least on-time", "stage", "s", least / f_sw[:, None], np.full(len(choice), ON_TIME_LEAST)),
    ]


def switch_rulings(t: Tables, choice: Choice, worst: Run, parts: Parts, demand: Demand) -> list[Ruling]:
    """Return the rules on voltage and current of each switch."""
    rms, lasting = worst.rms(), lasting_of(worst.points)
    found = []
    for k in t.active:
        part = choice.places[:, k]
        needed = np.full(len(choice), place_rating(k, demand))
        v_max = parts.switches.column("v_max")[part]
        i_max = parts.switches.column("i_max")[part]
        where = place_name(k)
        found.append(
            Ruling(
                rule="switch voltage",
                where=where,
                unit="V",
                value=v_max,
                limit=needed,
                use=needed / v_max,
                corner=np.full(len(choice), -1),
            )
        )
        found.append(_upper("switch current", where, "A", rms[k], demand.rules.i_derating * i_max, lasting))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    """Settled temperatures of many sets at the lasting corners."""

    corner: Ints
    """Which of the demand's corners the points are."""
    temp: Floats
    """(5, sets, points): the four switch positions and the inductor [K]."""
    board: Floats
    """(sets, points) [K]."""


def settled_heat(
    t: Tables,
    choice: Choice,
    parts: Parts,
    demand: Demand,
    p_pass: float,
    temp_first: float,
    passes: int = _HEAT_PASSES,
) -> Heat:
    """Return temperatures with each part's resistance at its own temperature, at each lasting corner.

    p_pass     : heat of pass elements and sense resistors on the same board [W]
    temp_first : temperature to begin with [K]
    """
    stage = demand.stage
    hot = heating_of(stage.corners)
    points = taken(stage.corners, hot)
    n, m = len(choice), len(points.v_in)
    each = taken(choice, np.repeat(np.arange(n), m))
    index = np.arange(n * m).reshape(n, m)
    rth_switch = np.append(parts.switches.column("rth_jb"), 0.0)
    rth = np.stack([*rth_switch[choice.places].T, parts.inductors.column("rth")[choice.coil]])
    temp = np.full((5, n, m), temp_first)
    board = np.full((n, m), temp_first)
    for _ in range(passes):
        rows = rows_of(t, each, temp[:4].reshape(4, -1).T, temp[4].ravel())
        found = run(rows, points, index)
        board = board_temperature(stage, found.total + p_pass)
        # Runaway has no end: stop at what no part survives, far above every limit.
        temp = np.minimum(board + rth[:, :, None] * found.heat(), 600.0)
    return Heat(corner=hot, temp=temp, board=board)


def board_temperature(stage: StageDemand, p_more: Floats | float) -> Floats:
    """Return the temperature of the board [K] with some heat on it besides that of the rest of the product."""
    return np.asarray(stage.temp_ambient + stage.r_board * (stage.p_elsewhere + p_more))


def heat_rulings(t: Tables, choice: Choice, heat: Heat, parts: Parts, demand: Demand) -> list[Ruling]:
    """Return the rules on junction and inductor temperature; use counts from ambient."""
    ambient = demand.stage.temp_ambient
    found = []
    for k in (*t.active, 4):
        limit = temperature_limit(k, choice, parts, demand)
        hottest = np.argmax(heat.temp[k], axis=1)
        value = heat.temp[k][np.arange(len(choice)), hottest]
        rule = "inductor temperature" if k == 4 else "junction temperature"
        use = (value - ambient) / np.maximum(limit - ambient, 1e-9)
        corner = heat.corner[hottest]
        found.append(Ruling(rule=rule, where=place_name(k), unit="K", value=value, limit=limit, use=use, corner=corner))
    return found


def temperature_limit(k: int, choice: Choice, parts: Parts, demand: Demand) -> Floats:
    """Return the highest temperature allowed in one place for each set [K]."""
    if k == 4:
        return np.asarray(np.minimum(demand.rules.temp_part_max, parts.inductors.column("temp_max")[choice.coil]))
    return np.asarray(np.minimum(demand.rules.temp_j_max, parts.switches.column("temp_j_max")[choice.places[:, k]]))


def place_rating(k: int, demand: Demand) -> float:
    """Return the voltage rating [V] that a switch needs in one position."""
    stage = demand.stage
    return rating_needed(stage.v_a_max if k < 2 else stage.v_b_max, demand.rules.v_derating)


def place_name(k: int) -> str:
    """Return what a position is called."""
    side = "source-side" if k < 2 else "pack-side"
    return "inductor" if k == 4 else f"{side} {'high' if 'high' in PLACES[k] else 'low'} switch"


def _upper(rule: str, where: str, unit: str, value: Floats, limit: Floats, only: Ints | None = None) -> Ruling:
    at = np.arange(value.shape[1]) if only is None else only
    corner = at[np.argmax(value[:, at], axis=1)]
    worst = value[np.arange(len(value)), corner]
    return Ruling(rule=rule, where=where, unit=unit, value=worst, limit=limit, use=worst / limit, corner=corner)


def _lower(rule: str, where: str, unit: str, value: Floats, limit: Floats) -> Ruling:
    corner = np.argmin(value, axis=1)
    worst = value[np.arange(len(value)), corner]
    use = np.where(worst > 0.0, limit / np.maximum(worst, 1e-30), np.inf)
    return Ruling(rule=rule, where=where, unit=unit, value=worst, limit=limit, use=use, corner=corner)

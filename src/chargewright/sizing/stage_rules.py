"""The rules that a stage has to keep, judged for many sets of parts at once."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from chargewright.network.stage import CoilAt
from chargewright.parts.catalogue import Parts
from chargewright.sizing.arrays import taken
from chargewright.sizing.demand import Demand, StageDemand
from chargewright.sizing.pass_elements import rating_needed
from chargewright.sizing.ruling import Ruling, least_over, most_over, rating
from chargewright.sizing.tables import PLACES, Choice, Run, Tables, heating_of, hot_saturation, lasting_of, rows_of, run

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

ON_TIME_LEAST = 50e-9
"""Shortest pulse [s]: what a comparator needs to see a current past the ringing of the edge; common practice."""
_HEAT_PASSES = 4
"""Each pass of loss and temperature leaves about a tenth of the error."""


def coil_rulings(t: Tables, choice: Choice, worst: Run, parts: Parts, demand: Demand) -> list[Ruling]:
    """Return the rules on inductor and timing, from the waveforms at the corners with the inductor at its worst."""
    rules, w, points = demand.rules, worst.wave, worst.points
    lasting = lasting_of(points)
    full = worst.i_l[:, lasting].max(axis=1)
    i_sat = t.coil[choice.coil, CoilAt._fields.index("i_sat")] * hot_saturation(t, choice.coil)
    i_rms = parts.inductors.column("i_rms")[choice.coil]
    # A leg that rests has a duty of exactly 1 (input high) or 0 (output low) and no pulses to be too short or too long.
    # Where both legs switch, around equal voltages, the duty of the one follows from the share given to the other.
    input_pulses = (w.d_out == 0.0) & ((w.d_in != 1.0) | t.one_leg)
    output_pulses = (w.d_in == 1.0) & ((w.d_out != 0.0) | t.one_leg)
    duty = np.where(input_pulses, w.d_in, w.d_out)
    alone = input_pulses | output_pulses
    on_time = np.where(alone | (w.d_out != 0.0), duty, 1.0) / t.f_sw[choice.f_sw][:, None]
    return [
        most_over("inductor ripple", "inductor", "A", w.di_pp, rules.ripple_max * full),
        most_over("saturation", "inductor", "A", w.i_peak, (1.0 - rules.saturation_margin) * i_sat),
        most_over("inductor current", "inductor", "A", w.rms_coil, rules.i_derating * i_rms, lasting),
        most_over("greatest duty", "stage", "1", np.where(alone, duty, 0.0), rules.duty_max),
        least_over("least duty", "stage", "1", np.where(alone, duty, 1.0), rules.duty_min),
        least_over("least on-time", "stage", "s", on_time, ON_TIME_LEAST),
    ]


def switch_rulings(t: Tables, choice: Choice, worst: Run, parts: Parts, demand: Demand) -> list[Ruling]:
    """Return the rules on voltage and current of each switch."""
    rms, lasting, column = worst.rms(), lasting_of(worst.points), parts.switches.column
    found = []
    for k in t.active:
        part, where = choice.places[:, k], place_name(k)
        limit = demand.rules.i_derating * column("i_max")[part]
        found.append(rating("switch voltage", where, "V", column("v_max")[part], place_rating(k, demand)))
        found.append(most_over("switch current", where, "A", rms[k], limit, lasting))
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

    def rule(self, rule: str, where: str, temp: Floats, limit: Floats, ambient: float) -> Ruling:
        """Return the rule that a temperature (sets, points) stays below its limit (sets,) [K]."""
        ruling = most_over(rule, where, "K", temp, limit, base=ambient)
        return replace(ruling, corner=self.corner[ruling.corner])


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
    """Return the rules on junction and inductor temperature."""
    found = []
    for k in (*t.active, 4):
        rule = "inductor temperature" if k == 4 else "junction temperature"
        limit = temperature_limit(k, choice, parts, demand)
        found.append(heat.rule(rule, place_name(k), heat.temp[k], limit, demand.stage.temp_ambient))
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

"""One step of cells in series in time, in scalar code that runs plain or compiled and gives the same numbers.

The cells come in kinds that share current and temperature but differ in capacity and resistance: the highest cell and
all others. Voltages and energies are means over the cells.

Over a step the current is a ramp, or a ramp with a bump that gives it the mean of an exponential (a taper). Either way
the charge is exact, each RC pair is exact (for its resistance and time constant at the middle of the step), and the
temperature is exact for the step's mean heat.
"""

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from chargewright.parts.cell import SOC_TOP, Array

Q_IN, I_SQUARE, E_IN, E_STORED, E_PAIRS, HEAT_R0, HEAT_PAIRS, HEAT_ENTROPIC, HEAT_OUT, HEAT_BALANCING = range(10)
"""Sums over time of a mean cell: charge [C], square of the current [A²s], energies [J]."""
SUMS = 10
Indices = npt.NDArray[np.int64]
GUIDE = 1024 / SOC_TOP
"""Slices of a guide over state of charge."""


SHARE, CAPACITY, SCALE, AHEAD = range(4)
"""Columns of `CellTables.kinds`."""
OCV, OCV_SUM, SLOPE, SLOPE_SUM = range(4)
"""Rows of `CellTables.rest`: rest voltage, its slope with temperature, each with its integral over state of charge."""
R0, R_PAIR, TAU_PAIR = range(3)
"""First tables of `CellTables.resistances`; each pair adds two."""


class CellTables(NamedTuple):
    """The cells; tables as in `parts.cell`, of one direction. Few arrays, because each costs time to compile."""

    kinds: Array
    """(kind, 4): share among the cells, charge between state of charge 0 and 1 [C], factor on resistances, charge that
    they hold more than a mean cell [C]; the highest cell's kind comes first."""
    soc_rest: Array
    rest_guide: Indices
    """For each of equal slices of state of charge, the segment of `soc_rest` in which it begins."""
    rest: Array
    """(4, state of charge)"""
    temp_ref: float
    soc: Array
    soc_guide: Indices
    resistances: Array
    """(1 + 2·pairs, state of charge, temperature): R0, then resistance and time constant of each pair."""
    temp_low: float
    """Temperature of the first column; the others follow at equal steps, close enough for straight lines between."""
    temp_step: float
    heat_capacity: float
    thermal_resistance: float


class State(NamedTuple):
    """The cells at one instant."""

    q: float
    """Charge in a mean cell above state of charge 0 [C]."""
    temp: float
    i: float
    """Current into each cell."""
    u: Array
    """(kind, pair): voltages of the RC pairs."""


class Work(NamedTuple):
    """What `prepare` finds out about a step before its last current is known."""

    pairs: Array
    """(kind, pair, 5): resistance, time constant, exp(−h/τ), shares of a ramp and of a bump that the pair has
    followed."""
    temp: Array
    """Temperature foreseen at the middle and at the end of the step."""
    form: Array
    """(1): 1 where the current goes like a taper, 0 where it is a ramp."""


def at_rest(cell: CellTables, q: float, temp: float) -> State:
    """Return cells at rest; not for compiled code, which makes no arrays."""
    return State(q, temp, 0.0, np.zeros((cell.kinds.shape[0], cell.resistances.shape[0] // 2)))


def room_to_work(cell: CellTables) -> Work:
    """Return room for what `prepare` fills; not for compiled code, which makes no arrays."""
    return Work(np.zeros((cell.kinds.shape[0], cell.resistances.shape[0] // 2, 5)), np.zeros(2), np.zeros(1))


def prepare(cell: CellTables, step: float, now: State, temp_goal: float, is_taper: bool, work: Work) -> None:
    """Fill `work` for a step; `temp_goal` is the temperature for which the cells make at its beginning."""
    work.form[0] = 1.0 if is_taper else 0.0
    decay = math.exp(-0.5 * step / (cell.heat_capacity * cell.thermal_resistance))
    work.temp[0] = temp_goal + (now.temp - temp_goal) * decay
    work.temp[1] = temp_goal + (now.temp - temp_goal) * decay * decay
    col, weight = _column(cell, work.temp[0])
    for kind in range(cell.kinds.shape[0]):
        middle = soc_of(cell, kind, now.q + 0.5 * step * now.i)
        row = _segment(cell.soc, cell.soc_guide, middle)
        for k in range(now.u.shape[1]):
            tau = _at(cell.resistances[TAU_PAIR + 2 * k], cell.soc, row, middle, col, weight)
            x = step / tau
            work.pairs[kind, k, 0] = cell.kinds[kind, SCALE] * _at(
                cell.resistances[R_PAIR + 2 * k], cell.soc, row, middle, col, weight
            )
            work.pairs[kind, k, 1] = tau
            work.pairs[kind, k, 2] = math.exp(-x)
            work.pairs[kind, k, 3] = 1.0 - (1.0 - work.pairs[kind, k, 2]) / x if x > 1e-3 else x * (0.5 - x / 6.0)
            work.pairs[kind, k, 4] = _bump_followed(x, work.pairs[kind, k, 2])


def bump(now: State, i_end: float, work: Work) -> float:
    """Return by how much the current is below the ramp in the middle of a step.

    The current is i(s) = i₀ + (i₁ − i₀)·s − 4·b·s·(1 − s) over a step s = 0 … 1. Its mean is that of an exponential
    through both ends, (i₀ − i₁)/ln(i₀/i₁), if b = 1.5·m·(1 − r/artanh r), m = (i₀ + i₁)/2, r = (i₀ − i₁)/(i₀ + i₁); the
    first two terms of its series are right to 1e-6 of the mean for r up to 0.2. Derived here.
    """
    total = now.i + i_end
    if total <= 0.0:
        return 0.0
    r2 = ((now.i - i_end) / total) ** 2
    return float(work.form[0] * total * r2 * (0.25 + r2 / 15.0))


def soc_of(cell: CellTables, kind: int, q: float) -> float:
    """Return the state of charge of cells of a kind while a mean cell holds `q`."""
    return float((q + cell.kinds[kind, AHEAD]) / cell.kinds[kind, CAPACITY])


def charge_after(step: float, now: State, i_end: float, work: Work) -> float:
    """Return the charge in a mean cell after a step in which the current goes to `i_end`."""
    return now.q + step * (0.5 * (now.i + i_end) - 2.0 / 3.0 * bump(now, i_end, work))


def voltage_after(cell: CellTables, step: float, now: State, i_end: float, work: Work) -> float:
    """Return the mean voltage of the cells after a step."""
    v = 0.0
    for kind in range(cell.kinds.shape[0]):
        v += cell.kinds[kind, SHARE] * kind_after(cell, kind, step, now, i_end, work)
    return v


def kind_after(cell: CellTables, kind: int, step: float, now: State, i_end: float, work: Work) -> float:
    """Return the voltage of a cell of one kind after a step."""
    soc = soc_of(cell, kind, charge_after(step, now, i_end, work))
    v = rest_voltage(cell, soc, work.temp[1])
    v += i_end * cell.kinds[kind, SCALE] * series_resistance(cell, soc, work.temp[1])
    for k in range(now.u.shape[1]):
        v += _pair_after(work, kind, k, now, i_end)
    return float(v)


def kind_now(cell: CellTables, kind: int, now: State) -> float:
    """Return the voltage of a cell of one kind at this instant."""
    soc = soc_of(cell, kind, now.q)
    v = rest_voltage(cell, soc, now.temp) + now.i * cell.kinds[kind, SCALE] * series_resistance(cell, soc, now.temp)
    for k in range(now.u.shape[1]):
        v += now.u[kind, k]
    return float(v)


def temp_goal_now(cell: CellTables, temp_ambient: float, now: State) -> float:
    """Return the temperature at which the cells would settle if they went on heating as they do at this instant."""
    col, weight = _column(cell, now.temp)
    heat = 0.0
    for kind in range(cell.kinds.shape[0]):
        soc, share, scale = soc_of(cell, kind, now.q), cell.kinds[kind, SHARE], cell.kinds[kind, SCALE]
        row = _segment(cell.soc, cell.soc_guide, soc)
        heat += share * now.i * now.i * scale * series_resistance(cell, soc, now.temp)
        heat += share * now.i * now.temp * _slope_with_temperature(cell, soc)
        for k in range(now.u.shape[1]):
            u = now.u[kind, k]
            heat += share * u * u / (scale * _at(cell.resistances[R_PAIR + 2 * k], cell.soc, row, soc, col, weight))
    return float(temp_ambient + heat * cell.thermal_resistance)


def finish(
    cell: CellTables, temp_ambient: float, step: float, now: State, i_end: float, work: Work, sums: Array
) -> State:
    """Return the state after a step and add the step to the sums; the pairs' voltages change in place."""
    b, rise = bump(now, i_end, work), i_end - now.i
    straight = 0.5 * (now.i + i_end)
    i_mid = straight - b
    charge = step * (straight - 2.0 / 3.0 * b)
    q_mid = now.q + step * (0.125 * (3.0 * now.i + i_end) - b / 3.0)
    q_end = charge_after(step, now, i_end, work)
    square = step * (straight * straight + rise * rise / 12.0 - 4.0 / 3.0 * b * straight + 8.0 / 15.0 * b * b)
    # Integral of s·i over s = 0 … 1.
    moment = 0.5 * now.i + rise / 3.0 - b / 3.0
    sums[Q_IN] += charge
    sums[I_SQUARE] += square
    heat = 0.0
    for kind in range(cell.kinds.shape[0]):
        share, scale, capacity = cell.kinds[kind, SHARE], cell.kinds[kind, SCALE], cell.kinds[kind, CAPACITY]
        pair_work = pair_rise = 0.0
        for k in range(now.u.shape[1]):
            # From τ·du/dt = r·i − u, times 1, s, i and u: no other integral is needed.
            r, tau, u = work.pairs[kind, k, 0], work.pairs[kind, k, 1], now.u[kind, k]
            u_end = _pair_after(work, kind, k, now, i_end)
            mean = (r * charge - tau * (u_end - u)) / step
            late = r * moment - tau / step * (u_end - mean)
            pair_work += r * square - tau * (u_end * i_end - u * now.i - rise * mean + 4.0 * b * (mean - 2.0 * late))
            pair_rise += 0.5 * tau / r * (u_end * u_end - u * u)
            now.u[kind, k] = u_end
        # Simpson's rule over beginning, middle and end.
        v_i = i2_r0 = entropic = 0.0
        for part, i, q, temp in (
            (1.0 / 6.0, now.i, now.q, now.temp),
            (4.0 / 6.0, i_mid, q_mid, work.temp[0]),
            (1.0 / 6.0, i_end, q_end, work.temp[1]),
        ):
            soc = soc_of(cell, kind, q)
            r = scale * series_resistance(cell, soc, temp)
            v_i += part * i * (rest_voltage(cell, soc, temp) + i * r)
            i2_r0 += part * i * i * r
            entropic += part * i * temp * _slope_with_temperature(cell, soc)
        before, after = soc_of(cell, kind, now.q), soc_of(cell, kind, q_end)
        at_ref, warmer = _integral(cell, OCV, before, after), _integral(cell, SLOPE, before, after)
        sums[E_IN] += share * (step * v_i + pair_work)
        sums[E_STORED] += share * capacity * (at_ref + warmer * (work.temp[0] - cell.temp_ref))
        sums[E_PAIRS] += share * pair_rise
        sums[HEAT_R0] += share * step * i2_r0
        sums[HEAT_PAIRS] += share * (pair_work - pair_rise)
        sums[HEAT_ENTROPIC] += share * step * entropic
        heat += share * (step * (i2_r0 + entropic) + pair_work - pair_rise)
    settled = temp_ambient + heat / step * cell.thermal_resistance
    temp_end = settled + (now.temp - settled) * math.exp(-step / (cell.heat_capacity * cell.thermal_resistance))
    sums[HEAT_OUT] += heat - cell.heat_capacity * (temp_end - now.temp)
    return State(q_end, temp_end, i_end, now.u)


def balance(cell: CellTables, now: State, charge: float, sums: Array) -> None:
    """Take a charge from the highest cell through a resistor beside it; changes `cell.kinds` in place.

    The little that the resistor's current changes at the cell's own resistance is left out.
    """
    before = soc_of(cell, 0, now.q)
    cell.kinds[0, AHEAD] -= charge
    after = soc_of(cell, 0, now.q)
    given = _integral(cell, OCV, after, before)
    given += _integral(cell, SLOPE, after, before) * (now.temp - cell.temp_ref)
    lost = cell.kinds[0, SHARE] * cell.kinds[0, CAPACITY] * given
    sums[E_STORED] -= lost
    sums[HEAT_BALANCING] += lost


def rest_voltage(cell: CellTables, soc: float, temp: float) -> float:
    """Return the rest voltage [V]."""
    k = _segment(cell.soc_rest, cell.rest_guide, soc)
    share = (soc - cell.soc_rest[k]) / (cell.soc_rest[k + 1] - cell.soc_rest[k])
    slope = cell.rest[SLOPE, k] + share * (cell.rest[SLOPE, k + 1] - cell.rest[SLOPE, k])
    return float(
        cell.rest[OCV, k] + share * (cell.rest[OCV, k + 1] - cell.rest[OCV, k]) + slope * (temp - cell.temp_ref)
    )


def rise_of_rest(cell: CellTables, soc: float) -> float:
    """Return the slope of the rest voltage over state of charge [V]."""
    k = _segment(cell.soc_rest, cell.rest_guide, soc)
    return float((cell.rest[OCV, k + 1] - cell.rest[OCV, k]) / (cell.soc_rest[k + 1] - cell.soc_rest[k]))


def series_resistance(cell: CellTables, soc: float, temp: float) -> float:
    """Return the series resistance [Ω]."""
    col, weight = _column(cell, temp)
    return _at(cell.resistances[R0], cell.soc, _segment(cell.soc, cell.soc_guide, soc), soc, col, weight)


def _pair_after(work: Work, kind: int, k: int, now: State, i_end: float) -> float:
    r, decay, lag = work.pairs[kind, k, 0], work.pairs[kind, k, 2], work.pairs[kind, k, 3]
    bumped = bump(now, i_end, work) * work.pairs[kind, k, 4]
    return float(now.u[kind, k] * decay + r * (now.i * (1.0 - decay) + (i_end - now.i) * lag - bumped))


def _bump_followed(x: float, decay: float) -> float:
    """Return the answer of an RC pair at the end of a bump 4·s·(1 − s) of unit height; x is step over time constant.

    From τ·du/dt = i − u with u(0) = 0: 4/x·((1 + 2/x)·exp(−x) + 1 − 2/x); its series where that loses digits.
    """
    if x > 0.3:
        return 4.0 / x * ((1.0 + 2.0 / x) * decay + 1.0 - 2.0 / x)
    return x * (2.0 / 3.0 - x * (1.0 / 3.0 - x * (0.1 - x * (1.0 / 45.0 - x / 252.0))))


def _slope_with_temperature(cell: CellTables, soc: float) -> float:
    k = _segment(cell.soc_rest, cell.rest_guide, soc)
    share = (soc - cell.soc_rest[k]) / (cell.soc_rest[k + 1] - cell.soc_rest[k])
    return float(cell.rest[SLOPE, k] + share * (cell.rest[SLOPE, k + 1] - cell.rest[SLOPE, k]))


def _integral(cell: CellTables, what: int, soc_from: float, soc_to: float) -> float:
    """Return the integral of the rest voltage, or of its slope, between two states of charge."""
    return _antiderivative(cell, what, soc_to) - _antiderivative(cell, what, soc_from)


def _antiderivative(cell: CellTables, what: int, soc: float) -> float:
    k = _segment(cell.soc_rest, cell.rest_guide, soc)
    over = soc - cell.soc_rest[k]
    here, there = cell.rest[what, k], cell.rest[what, k + 1]
    at_soc = here + over / (cell.soc_rest[k + 1] - cell.soc_rest[k]) * (there - here)
    return float(cell.rest[what + 1, k] + 0.5 * over * (here + at_soc))


def _segment(grid: Array, guide: Indices, soc: float) -> int:
    """Return the segment of a grid that holds a state of charge; the outermost one outside."""
    k = guide[min(guide.shape[0] - 1, max(0, int(soc * GUIDE)))]
    while k < grid.shape[0] - 2 and soc >= grid[k + 1]:
        k += 1
    return int(k)


def _column(cell: CellTables, temp: float) -> tuple[int, float]:
    """Return the column below a temperature and the weight of the next one; held outside."""
    last = cell.resistances.shape[2] - 1
    position = min(float(last), max(0.0, (temp - cell.temp_low) / cell.temp_step))
    col = min(int(position), last - 1)
    return col, position - col


def _at(table: Array, grid: Array, row: int, soc: float, col: int, weight: float) -> float:
    """Return a resistance or time constant between its four neighbours."""
    share = min(1.0, max(0.0, (soc - grid[row]) / (grid[row + 1] - grid[row])))
    cold = table[row, col] + share * (table[row + 1, col] - table[row, col])
    warm = table[row, col + 1] + share * (table[row + 1, col + 1] - table[row, col + 1])
    return float(cold + weight * (warm - cold))

"""The pack over one step of constant current, in scalar code that runs plain or compiled and gives the same numbers.

Over a step the current is constant, so charge, RC pairs and temperature are exact for the resistances of the step, and
so is the energy: the mean terminal voltage is that of the integral of the rest voltage over the charge that flows.

Everything is taken at the pack's terminals. Tables are flat (lists when plain, arrays when compiled): one index serves
both. Resistances are renewed when state of charge or temperature have moved by `_MOVED_SOC`, `_MOVED_TEMP`.
"""

import math
from typing import Any, NamedTuple

Q, TEMP, CURRENT, VOLTAGE, T_SUPPLEMENT, T_CHARGE, T_PRECHARGE, T_OVER, T_DOWN, T_WAKE, CLOCK, ROW_AT = range(12)
T_TRIP, REFUSES, AHEAD, BLED, BRANCH, U = 12, 13, 14, 15, 16, 17
"""Places in the state: charge above state of charge 0 [C], temperature, current and mean terminal voltage of the last
step, times in supplement, charge, precharge, overload and shut-down, time left of the wake-up, time since the start,
time of the next row of the trace, time since the source tripped, which limit of temperature keeps the pack from giving
(0 for none), charge by which the highest cell is ahead of a mean one [C], charge of a mean cell that balancing takes in
this step [C], where the rest voltage is between its branches (−1 after a discharge, 1 after a charge), voltages of the
RC pairs."""
PAIRS = 3
"""RC pairs that the state has room for."""
STATE = U + PAIRS

DISCHARGING, CHARGING = 0, 1
"""Direction of the current: half of the tables, and of the parameters of a step."""

AT_SOC, AT_TEMP, AT_STEP, COOLING, SHARE, LEFT, PER_DIRECTION = 0, 1, 2, 3, 4, 7, 10
"""Places in the parameters of a step: where they were taken, what is left of a difference of temperature, for each
pair what a voltage keeps on average and at the end; then, per direction, `R_CELLS` ... `R_PAIR` + 2."""
R_CELLS, R_MEAN, R_END, R_LASTING, R_PAIR = range(5)
DIRECTION = 8
PARAMETERS = PER_DIRECTION + 2 * DIRECTION + PAIRS
TAU = PER_DIRECTION + 2 * DIRECTION

_MOVED_SOC = 1e-4
_MOVED_TEMP = 0.05


class PackTables(NamedTuple):
    """The pack; all at its terminals, SI. Every table in one store, of which a field gives the place."""

    store: Any
    span: float
    """Charge between state of charge 0 and 1 [C]."""
    q_step: float
    """Charge between two points of the tables of the rest voltage [C]."""
    per_q: float
    """One over it."""
    points: int
    rest: int
    """Rest voltage at the reference temperature."""
    energy: int
    """Its integral over charge [J]."""
    slope: int
    """Slope of the rest voltage with temperature."""
    temp_ref: float
    rows: int
    columns: int
    row_step: float
    """State of charge between two rows of the resistances."""
    temp_low: float
    temp_step: float
    pairs: int
    resistance: int
    """Table by table: R0 of the cells and each pair's, discharging then charging, each (rows, columns)."""
    tau: int
    """Time constant of each pair."""
    lead: float
    """Resistance between cells and terminals, inside every terminal voltage but no heat of the cells."""
    unsensed: float
    """The part of it outside the voltage that the charger senses."""
    heat_capacity: float
    thermal_resistance: float
    v_empty: float
    i_most: float
    """Greatest discharge current."""
    i_self: float
    """Current at which the cells discharge themselves."""
    spread: bool
    """Whether one cell stands apart from the others: see `parts.pack.cell_kinds`."""
    one_capacity: float
    """Of that cell over a mean one [1]."""
    one_resistance: float
    one_ahead: float
    """Charge in it above that of a mean cell at the end of a charge, and below it at the end of a discharge [C], before
    anything is balanced."""
    i_balance: float
    """Current that balancing takes from the highest cell while it is above `v_balance` and ahead of the others."""
    v_balance: float
    """Times the cells in series."""
    one_share: float
    """One over the cells in series."""
    turns: float
    """One over the charge in which the rest voltage turns from one branch to the other [1/C]; 0 without branches."""
    upper: int
    """How far the branch after a charge lies above the mean rest voltage, on its points."""
    lower: int
    """How far the branch after a discharge lies below it."""
    v_protect: float
    """Voltage of the highest cell, times the cells in series, at which the pack's protection ends a charge."""


def refresh(pack: PackTables, now: Any, par: Any, dt: float) -> None:
    """Renew the parameters of a step where they have moved."""
    soc = now[Q] / pack.span
    if (
        abs(soc - par[AT_SOC]) < _MOVED_SOC
        and abs(now[TEMP] - par[AT_TEMP]) < _MOVED_TEMP
        and abs(dt - par[AT_STEP]) < 1e-9
    ):
        return
    par[AT_SOC], par[AT_TEMP], par[AT_STEP] = soc, now[TEMP], dt
    par[COOLING] = math.exp(-dt / (pack.heat_capacity * pack.thermal_resistance))
    x = min(max(soc / pack.row_step, 0.0), pack.rows - 1.0)
    row = min(int(x), pack.rows - 2)
    down = x - row
    y = min(max((now[TEMP] - pack.temp_low) / pack.temp_step, 0.0), pack.columns - 1.0)
    column = min(int(y), pack.columns - 2)
    right = y - column
    at, size = row * pack.columns + column, pack.rows * pack.columns
    for k in range(pack.pairs):
        tau = _between(pack, pack.tau + k * size + at, down, right)
        left = math.exp(-dt / tau)
        par[TAU + k], par[LEFT + k], par[SHARE + k] = tau, left, (1.0 - left) * tau / dt
    for direction in range(2):
        first = PER_DIRECTION + direction * DIRECTION
        base = pack.resistance + direction * (1 + pack.pairs) * size + at
        cells = _between(pack, base, down, right)
        mean = end = lasting = cells + pack.lead
        for k in range(pack.pairs):
            r = _between(pack, base + (1 + k) * size, down, right)
            par[first + R_PAIR + k] = r
            mean += r * (1.0 - par[SHARE + k])
            end += r * (1.0 - par[LEFT + k])
            lasting += r
        par[first + R_CELLS], par[first + R_MEAN], par[first + R_END] = cells, mean, end
        par[first + R_LASTING] = lasting


def rest_voltage(pack: PackTables, q: float, temp: float) -> float:
    """Return the rest voltage at a charge."""
    x = q * pack.per_q
    k = _segment(pack, x)
    over = x - k
    slope = pack.store[pack.slope + k] + over * (pack.store[pack.slope + k + 1] - pack.store[pack.slope + k])
    return float(
        pack.store[pack.rest + k]
        + over * (pack.store[pack.rest + k + 1] - pack.store[pack.rest + k])
        + slope * (temp - pack.temp_ref)
    )


def rest_slope(pack: PackTables, q: float) -> float:
    """Return by how much the rest voltage rises with charge [V/C]."""
    k = _segment(pack, q * pack.per_q)
    return float((pack.store[pack.rest + k + 1] - pack.store[pack.rest + k]) * pack.per_q)


def stored(pack: PackTables, q: float) -> float:
    """Return the energy at a charge, at the reference temperature, above state of charge 0."""
    x = q * pack.per_q
    k = _segment(pack, x)
    over = x - k
    mean = pack.store[pack.rest + k] + 0.5 * over * (pack.store[pack.rest + k + 1] - pack.store[pack.rest + k])
    return float(pack.store[pack.energy + k] + over * pack.q_step * mean)


def entropic_slope(pack: PackTables, q: float) -> float:
    """Return the slope of the rest voltage with temperature at a charge [V/K]."""
    return float(pack.store[pack.slope + _segment(pack, q * pack.per_q)])


def mean_rest_voltage(pack: PackTables, q: float, dq: float, temp: float) -> float:
    """Return the rest voltage averaged over a charge that flows: what the energy stored is divided by."""
    if int(q * pack.per_q) == int((q + dq) * pack.per_q) or abs(dq) < 1e-7 * pack.span:
        return rest_voltage(pack, q + 0.5 * dq, temp)
    slope = entropic_slope(pack, q + 0.5 * dq)
    return float((stored(pack, q + dq) - stored(pack, q)) / dq + slope * (temp - pack.temp_ref))


def mean_voltage(pack: PackTables, now: Any, par: Any, dt: float, i: float) -> float:
    """Return the terminal voltage averaged over a step of constant current."""
    v = mean_rest_voltage(pack, now[Q], i * dt, now[TEMP])
    if pack.turns > 0.0:
        v += mean_branch(pack, now, dt, i)
    for k in range(pack.pairs):
        v += now[U + k] * par[SHARE + k]
    return float(v + i * par[(PER_DIRECTION + R_MEAN) + (DIRECTION if i > 0.0 else 0)])


def end_voltage(pack: PackTables, now: Any, par: Any, dt: float, i: float) -> float:
    """Return the terminal voltage at the end of a step of constant current."""
    v = rest_voltage(pack, now[Q] + i * dt, now[TEMP]) + _end_drop(pack, now, par, i)
    return v + _end_branch(pack, now, now[Q] + i * dt, i * dt) if pack.turns > 0.0 else v


def lowest_charge(pack: PackTables, now: Any, q: float) -> float:
    """Return the charge of the lowest cell, as a pack of such cells would hold it; below zero where it is empty [C].

    All cells were equally full once (`parts.pack.lowest_cell_voltage`); what balancing has made good is no longer
    missing, but it makes no cell larger.
    """
    return float(pack.span - (pack.span - q + max(now[AHEAD], 0.0)) / pack.one_capacity)


def lowest_voltage(pack: PackTables, now: Any, par: Any, dt: float, i: float) -> float:
    """Return the voltage of the lowest cell at the end of a step of discharge, times the cells in series."""
    drop = _end_drop(pack, now, par, i) - i * pack.lead
    q = lowest_charge(pack, now, now[Q] + i * dt)
    return rest_voltage(pack, q, now[TEMP]) + _end_branch(pack, now, q, i * dt) + pack.one_resistance * drop


def highest_voltage(pack: PackTables, now: Any, par: Any, dt: float, i: float) -> float:
    """Return the voltage of the highest cell at the end of a step of charge, times the cells in series.

    All cells were equally empty once (`parts.pack.highest_cell_voltage`).
    """
    q = min((now[Q] + i * dt + now[AHEAD]) / pack.one_capacity, pack.q_step * (pack.points - 1))
    drop = _end_drop(pack, now, par, i) - i * pack.lead
    return rest_voltage(pack, q, now[TEMP]) + _end_branch(pack, now, q, i * dt) + pack.one_resistance * drop


def branch(pack: PackTables, at: float, q: float) -> float:
    """Return what hysteresis adds to the mean rest voltage; `at` is −1 on the lower branch, 1 on the upper one."""
    if pack.turns <= 0.0:
        return 0.0
    x = min(max(q * pack.per_q, 0.0), pack.points - 1.0)
    k = _segment(pack, x)
    first = (pack.upper if at > 0.0 else pack.lower) + k
    return float(at * (pack.store[first] + (x - k) * (pack.store[first + 1] - pack.store[first])))


def turned(pack: PackTables, at: float, dq: float) -> float:
    """Return where the rest voltage is between its branches after a charge has flowed (`physics.cell`)."""
    if pack.turns <= 0.0 or dq == 0.0:
        return at
    goal = 1.0 if dq > 0.0 else -1.0
    return float(goal + (at - goal) * math.exp(-abs(dq) * pack.turns))


def mean_branch(pack: PackTables, now: Any, dt: float, i: float) -> float:
    """Return what hysteresis adds to the mean rest voltage, averaged over a step: half way through it."""
    return branch(pack, turned(pack, now[BRANCH], 0.5 * i * dt), now[Q] + 0.5 * i * dt)


def _end_branch(pack: PackTables, now: Any, q: float, dq: float) -> float:
    return branch(pack, turned(pack, now[BRANCH], dq), q) if pack.turns > 0.0 else 0.0


def _end_drop(pack: PackTables, now: Any, par: Any, i: float) -> float:
    """Return what a current has added to the rest voltage by the end of a step."""
    v = i * par[(PER_DIRECTION + R_END) + (DIRECTION if i > 0.0 else 0)]
    for k in range(pack.pairs):
        v += now[U + k] * par[LEFT + k]
    return float(v)


def open_voltage(pack: PackTables, now: Any) -> float:
    """Return the terminal voltage at this instant if no current flows."""
    v = rest_voltage(pack, now[Q], now[TEMP])
    if pack.turns > 0.0:
        v += branch(pack, now[BRANCH], now[Q])
    for k in range(pack.pairs):
        v += now[U + k]
    return float(v)


def held_current(pack: PackTables, now: Any, par: Any, dt: float, v_set: float) -> float:
    """Return the charge current at whose end of step the sensed voltage is `v_set`; zero if it is above it already."""
    first = PER_DIRECTION + DIRECTION
    r = par[first + R_END] - pack.unsensed
    i = max(now[CURRENT], 0.0)
    for _ in range(3):
        over = end_voltage(pack, now, par, dt, i) - i * pack.unsensed - v_set
        if i <= 0.0 and over >= 0.0:
            return 0.0
        i = max(i - over / (r + dt * rest_slope(pack, now[Q] + i * dt)), 0.0)
    return float(i)


def _segment(pack: PackTables, x: float) -> int:
    k = int(x)
    if k < 0:
        return 0
    return k if k < pack.points - 1 else pack.points - 2


def _between(pack: PackTables, at: int, down: float, right: float) -> float:
    """Return the value between four neighbours of a table."""
    above = pack.store[at] + right * (pack.store[at + 1] - pack.store[at])
    at += pack.columns
    below = pack.store[at] + right * (pack.store[at + 1] - pack.store[at])
    return float(above + down * (below - above))

"""A charge in time, in scalar code that runs plain or compiled and gives the same numbers.

The pack is folded onto one cell: voltages over cells in series, currents over cells in parallel. Whoever rules the
current, charger, voltage limit or source, gives one equation for the current at the end of a step. A step that would
pass an event (threshold, limit, edge of a temperature zone, timer) is shortened until it ends on it.
"""

import math
from typing import NamedTuple

from chargewright.base.compiled import apart
from chargewright.parts.cell import Array
from chargewright.sim._cell_kernel import (
    CAPACITY,
    SHARE,
    CellTables,
    State,
    Work,
    balance,
    charge_after,
    finish,
    kind_now,
    prepare,
    rest_voltage,
    rise_of_rest,
    soc_of,
    temp_goal_now,
    voltage_after,
)

PRECHARGE, CURRENT, VOLTAGE, SOURCE, TEMPERATURE, DONE = range(6)
"""What rules the current."""
TERMINATION, TIMER, PRECHARGE_TIMER, STARVED, COLD, HOT, OVERFULL, REFUSED, TOO_MANY_STEPS = range(1, 10)
"""Why a charge has ended."""
T_CHARGE, T_VOLTAGE, CLOCK = range(3)
"""Marks: when precharge ended, when the voltage limit was first met [s]; below zero if never; what the safety timer
shows at the end."""
MARKS = 3

V_STAGE, I_STAGE, TIME = range(3)
"""Columns of `Rules.stages`."""
UP, DOWN, I_REGION, V_REGION = range(4)
"""Columns of `Rules.regions`."""

_FIXED, _BY_VOLTAGE, _BY_SOURCE = range(3)
_FIRST_STEP = 0.5
_SHORTEST = 1e-6
"""Shortest step, and how exactly events are placed in time [s]."""
_EXACT = 1e-11
"""How exactly a law is met [V or A]."""
_GROWTH = 1.5
_STARVED_SHARE = 0.01
"""A source that leaves less than this share of the termination current will not end the charge."""


class Rules(NamedTuple):
    """Charger, source and surroundings as one cell sees them."""

    stages: Array
    """(stage, 3): sensed voltage that ends the stage (infinite for the last), current, greatest length; the first
    `low_stages` are wake-up and precharge."""
    v_set: float
    i_termination: float
    lead: float
    """Resistance between cell and terminals."""
    sensed_lead: float
    """The part of it that lies inside the sensed voltage."""
    regions: Array
    """(region, 4): temperatures that leave it upwards and downwards, hysteresis included, and the current and voltage
    allowed in it; regions are: too cold, the zones, too hot."""
    source: Array
    """(2, n): terminal voltages, and the current that the source leaves over at each; n is 0 if there is no limit."""
    low_stages: int
    """How many stages come before the charge proper: the precharge, and a wake-up before it."""
    i_balance: float
    """Current that balancing takes from the highest cell while it is above `v_balance` and above all others."""
    v_balance: float
    timer: float
    timer_speed: float
    """Speed of the timers while the source rules."""
    temp_ambient: float
    soc_step: float
    """Longest step in state of charge."""
    v_step: float
    """Longest step in rest voltage."""
    current_step: float
    """Greatest relative change of the current in a step: a taper is right to a twelfth of its square."""
    temp_step: float
    """Greatest change of temperature in a step."""


class Law(NamedTuple):
    """What the current has to meet for now."""

    ruled_by: int
    v_set: float
    i_fixed: float
    """Current that stage and temperature allow."""
    v_stage: float
    i_end: float
    """Current that ends the charge under the voltage limit; below zero in all stages but the last."""
    region: int


@apart
def charge_cell(
    cell: CellTables, rules: Rules, now: State, region: int, work: Work, rows: Array, sums: Array, seconds: Array,
    marks: Array,
) -> tuple[int, int, int]:  # fmt: skip
    """Charge until something ends it; returns number of rows, reason, and how often the temperature stopped it.

    now     : the cells at rest
    rows    : (n, 7), filled with time, current, terminal voltage over cells, voltage of the highest cell, charge,
              temperature, limit in force
    sums    : filled with the sums over the charge
    seconds : filled with the time under each limit
    marks   : filled with the marks that are reached
    """
    t = clock = stage_clock = 0.0
    count = stage = pauses = 0
    while True:
        law, i, limit = _ruling(cell, rules, stage, region, now, work)
        while _sensed(cell, rules, 0.0, now, i, work) >= law.v_stage:
            stage += 1
            stage_clock = 0.0
            law, i, limit = _ruling(cell, rules, stage, region, now, work)
        now = State(now.q, now.temp, i, now.u)
        if marks[T_CHARGE] < 0.0 and stage >= rules.low_stages:
            marks[T_CHARGE] = t
        if marks[T_VOLTAGE] < 0.0 and law.ruled_by == _BY_VOLTAGE:
            marks[T_VOLTAGE] = t
        reason = TOO_MANY_STEPS
        if count + 2 < rows.shape[0]:
            reason = _reason(cell, rules, law, now, clock, stage_clock, stage)
        _note(cell, rules, now, rows, count, t, DONE if reason > 0 else limit)
        count += 1
        marks[CLOCK] = clock
        if reason > 0:
            return count, reason, pauses
        speed = rules.timer_speed if law.ruled_by == _BY_SOURCE else 1.0
        left = min(rules.timer - clock, rules.stages[stage, TIME] - stage_clock)
        until = t + left / speed if speed > 0.0 else math.inf
        step, slope = _FIRST_STEP, 0.0
        event = False
        while not event and count + 2 < rows.shape[0]:
            goal = temp_goal_now(cell, rules.temp_ambient, now)
            step = _bounded(cell, rules, now, goal, step, until - t)
            i_end = _current_after(cell, rules, law, step, now, slope, goal, work)
            change = abs(i_end - now.i) / max(now.i, rules.i_termination)
            if change > 2.0 * rules.current_step and step > 1e-3:
                step *= max(0.3, rules.current_step / change)
                continue
            if _margin(cell, rules, law, step, now, i_end, work) <= 0.0:
                event = True
                step = _shortened(cell, rules, law, step, now, slope, goal, work)
                i_end = _current_after(cell, rules, law, step, now, slope, goal, work)
            event = event or step >= until - t
            slope = (i_end - now.i) / step
            now = finish(cell, rules.temp_ambient, step, now, i_end, work, sums)
            if rules.i_balance > 0.0 and cell.kinds.shape[0] > 1:
                highest = kind_now(cell, 0, now)
                if highest >= rules.v_balance and highest > kind_now(cell, 1, now):
                    balance(cell, now, rules.i_balance * step, sums)
            t += step
            clock += speed * step
            stage_clock += speed * step
            seconds[limit] += step
            _note(cell, rules, now, rows, count, t, limit)
            count += 1
            step *= min(_GROWTH, 0.9 * rules.current_step / change) if change > 0.0 else _GROWTH
        moved = _region(rules, region, now.temp)
        if moved != region and rules.regions[moved, I_REGION] <= 0.0:
            pauses += 1
        region = moved


def _note(cell: CellTables, rules: Rules, now: State, rows: Array, at: int, t: float, limit: int) -> None:
    mean = highest = kind_now(cell, 0, now)
    for kind in range(1, cell.kinds.shape[0]):
        mean += cell.kinds[kind, SHARE] * (kind_now(cell, kind, now) - highest)
    rows[at, 0], rows[at, 1], rows[at, 2], rows[at, 3] = t, now.i, mean + now.i * rules.lead, highest
    rows[at, 4], rows[at, 5], rows[at, 6] = now.q, now.temp, limit


@apart
def _ruling(cell: CellTables, rules: Rules, stage: int, region: int, now: State, work: Work) -> tuple[Law, float, int]:
    """Return the law at this instant, the current under it, and the limit in force. Prepares a step of no length."""
    prepare(cell, 0.0, now, now.temp, False, work)
    i, limit = rules.stages[stage, I_STAGE], PRECHARGE if stage < rules.low_stages else CURRENT
    if rules.regions[region, I_REGION] < i:
        i, limit = rules.regions[region, I_REGION], TEMPERATURE
    is_last = stage == rules.stages.shape[0] - 1
    i_end = rules.i_termination if is_last else -1.0
    law = Law(_FIXED, min(rules.v_set, rules.regions[region, V_REGION]), i, rules.stages[stage, V_STAGE], i_end, region)
    if i > 0.0 and _sensed(cell, rules, 0.0, now, i, work) >= law.v_set:
        law, limit = Law(_BY_VOLTAGE, law.v_set, law.i_fixed, law.v_stage, i_end, region), VOLTAGE
        i = _root(cell, rules, law, 0.0, now, law.i_fixed, work)
    if i > 0.0 and _left_over(rules, _terminal(cell, rules, 0.0, now, i, work)) < i:
        law, limit = Law(_BY_SOURCE, law.v_set, law.i_fixed, law.v_stage, i_end, region), SOURCE
        i = _root(cell, rules, law, 0.0, now, law.i_fixed, work)
    return law, i, limit


@apart
def _reason(cell: CellTables, rules: Rules, law: Law, now: State, clock: float, stage_clock: float, stage: int) -> int:
    """Return why the charge ends at this instant; 0 if it goes on."""
    if law.ruled_by == _BY_VOLTAGE and now.i <= law.i_end:
        return TERMINATION
    # The clocks sum up steps, so they meet their end to rounding only.
    if clock >= rules.timer - _SHORTEST:
        return TIMER
    if stage_clock >= rules.stages[stage, TIME] - _SHORTEST:
        return REFUSED if stage < rules.low_stages - 1 else PRECHARGE_TIMER
    if law.ruled_by == _BY_SOURCE and _starved(cell, rules, now.q, now.temp, now.i):
        return STARVED
    if law.region == 0 and rules.temp_ambient < rules.regions[0, UP]:
        return COLD
    if law.region == rules.regions.shape[0] - 1 and rules.temp_ambient >= rules.regions[law.region, DOWN]:
        return HOT
    return OVERFULL if soc_of(cell, 0, now.q) >= cell.soc_rest[-1] else 0


def _bounded(cell: CellTables, rules: Rules, now: State, goal: float, step: float, left: float) -> float:
    """Return the step, not longer than charge, temperature and timers allow."""
    step = min(step, left)
    way = abs(goal - now.temp)
    if way > rules.temp_step:
        step = min(step, -cell.heat_capacity * cell.thermal_resistance * math.log(1.0 - rules.temp_step / way))
    if now.i > 0.0:
        rise = rise_of_rest(cell, soc_of(cell, 0, now.q))
        step = min(step, min(rules.soc_step, rules.v_step / rise) * cell.kinds[0, CAPACITY] / now.i)
    return max(step, _SHORTEST)


def _margin(cell: CellTables, rules: Rules, law: Law, step: float, now: State, i_end: float, work: Work) -> float:
    """Return how far the end of a step is from where something else rules; zero or below: it does."""
    temp = work.temp[1]
    margin = float(cell.soc_rest[-1] - soc_of(cell, 0, charge_after(step, now, i_end, work)))
    if law.region < rules.regions.shape[0] - 1:
        margin = min(margin, float(rules.regions[law.region, UP] - temp))
    if law.region > 0:
        margin = min(margin, float(temp - rules.regions[law.region, DOWN]))
    if law.i_fixed <= 0.0:
        return margin
    sensed = _sensed(cell, rules, step, now, i_end, work)
    margin = min(margin, law.v_stage - sensed)
    if law.ruled_by != _BY_VOLTAGE:
        margin = min(margin, law.v_set - sensed)
    if law.ruled_by != _FIXED:
        margin = min(margin, law.i_fixed - i_end)
    if law.ruled_by == _BY_VOLTAGE:
        margin = min(margin, i_end - law.i_end)
    if law.ruled_by == _BY_SOURCE:
        return min(margin, -1.0 if _starved(cell, rules, charge_after(step, now, i_end, work), temp, i_end) else margin)
    return min(margin, _left_over(rules, _terminal(cell, rules, step, now, i_end, work)) - i_end)


@apart
def _shortened(
    cell: CellTables, rules: Rules, law: Law, step: float, now: State, slope: float, goal: float, work: Work
) -> float:
    """Return the shortest step at whose end something else rules: false position, kept inside a bracket."""
    low, high = 0.0, step
    margin_low, margin_high = math.nan, math.nan
    side = 0
    while high - low > _SHORTEST and high > _SHORTEST:
        middle = (low * margin_high - high * margin_low) / (margin_high - margin_low)
        # A middle next to one end is moved inwards, so that the bracket closes from both ends.
        middle = min(max(middle, low + 0.4 * _SHORTEST), high - 0.4 * _SHORTEST)
        if not low < middle < high or math.isnan(middle):
            middle = 0.5 * (low + high)
        i_end = _current_after(cell, rules, law, middle, now, slope, goal, work)
        margin = _margin(cell, rules, law, middle, now, i_end, work)
        if margin <= 0.0:
            high, margin_high = middle, margin
            margin_low = 0.5 * margin_low if side < 0 else margin_low
            side = -1
        else:
            low, margin_low = middle, margin
            margin_high = 0.5 * margin_high if side > 0 else margin_high
            side = 1
    return high


@apart
def _current_after(
    cell: CellTables, rules: Rules, law: Law, step: float, now: State, slope: float, goal: float, work: Work
) -> float:
    """Prepare a step of this length and return the current at its end; `slope` is the current's in the last step."""
    prepare(cell, step, now, goal, law.ruled_by == _BY_VOLTAGE, work)
    if law.ruled_by == _FIXED:
        return now.i
    # Where what is left over rises steeply with voltage, the current jumps: then stage and temperature rule at once.
    return min(law.i_fixed, _root(cell, rules, law, step, now, max(0.5 * now.i, now.i + slope * step), work))


def _root(cell: CellTables, rules: Rules, law: Law, step: float, now: State, guess: float, work: Work) -> float:
    """Return the current at the end of the step that meets the law: secant, kept inside a bracket."""
    low, high = 0.0, 4.0 * max(guess, law.i_fixed)
    nothing = 1e-9 * rules.i_termination
    i_a, i_b = guess, 0.999 * guess + nothing
    f_a = _excess(cell, rules, law, step, now, i_a, work)
    for _iteration in range(100):
        f_b = _excess(cell, rules, law, step, now, i_b, work)
        if f_b > 0.0:
            high = i_b
        else:
            low = i_b
        if high <= nothing:
            return 0.0
        if abs(f_b) <= _EXACT or high - low <= 1e-14 * high:
            return i_b
        i_next = i_b - f_b * (i_b - i_a) / (f_b - f_a) if f_b != f_a else low
        if not low < i_next < high:
            i_next = 0.5 * (low + high)
        i_a, f_a, i_b = i_b, f_b, i_next
        if abs(i_b - i_a) <= 1e-15 * high:
            return i_b
    return i_b


def _excess(cell: CellTables, rules: Rules, law: Law, step: float, now: State, i_end: float, work: Work) -> float:
    """Return by how much a current is too great for the law; rises with the current."""
    if law.ruled_by == _BY_VOLTAGE:
        return _sensed(cell, rules, step, now, i_end, work) - law.v_set
    return i_end - _left_over(rules, _terminal(cell, rules, step, now, i_end, work))


def _sensed(cell: CellTables, rules: Rules, step: float, now: State, i_end: float, work: Work) -> float:
    return voltage_after(cell, step, now, i_end, work) + i_end * rules.sensed_lead


def _terminal(cell: CellTables, rules: Rules, step: float, now: State, i_end: float, work: Work) -> float:
    return voltage_after(cell, step, now, i_end, work) + i_end * rules.lead


def _left_over(rules: Rules, v: float) -> float:
    """Return the current that the source leaves over at a terminal voltage, never below zero."""
    if rules.source.shape[1] == 0:
        return math.inf
    low, high = 0, rules.source.shape[1] - 1
    while high - low > 1:
        middle = (low + high) // 2
        if v < rules.source[0, middle]:
            high = middle
        else:
            low = middle
    share = min(1.0, max(0.0, (v - rules.source[0, low]) / (rules.source[0, high] - rules.source[0, low])))
    return float(max(0.0, rules.source[1, low] + share * (rules.source[1, high] - rules.source[1, low])))


def _starved(cell: CellTables, rules: Rules, q: float, temp: float, i: float) -> bool:
    """Return whether the source leaves next to nothing, now and once the cells are at rest."""
    nothing = _STARVED_SHARE * rules.i_termination
    if i > nothing:
        return False
    v = 0.0
    for kind in range(cell.kinds.shape[0]):
        v += cell.kinds[kind, SHARE] * rest_voltage(cell, soc_of(cell, kind, q), temp)
    return _left_over(rules, v) <= nothing


def _region(rules: Rules, region: int, temp: float) -> int:
    while region < rules.regions.shape[0] - 1 and temp >= rules.regions[region, UP]:
        region += 1
    while region > 0 and temp < rules.regions[region, DOWN]:
        region -= 1
    return region

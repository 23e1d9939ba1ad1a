"""Usage in steps: pack, path and charger over a series of loads and sources, plain or compiled with the same numbers.

A step first asks which current the charger wants, then whether source and pack can carry load and charge together; what
they cannot carry is not served and shuts the product down. Only then does the step change anything.
"""

import math
from typing import Any

from chargewright.sim import _usage_pack as s
from chargewright.sim import _usage_path as table
from chargewright.sim import usage_rules as code
from chargewright.sim._usage_book import book_step, note_event
from chargewright.sim._usage_clock import BEYOND, WITHIN, Flow, run_clocks
from chargewright.sim._usage_pack import (
    PackTables,
    branch,
    end_voltage,
    held_current,
    lowest_charge,
    lowest_voltage,
    mean_voltage,
    open_voltage,
    refresh,
    rest_voltage,
)
from chargewright.sim._usage_path import PathTables, at_corner, at_into, at_load, find_load, left_for_pack, over_load
from chargewright.sim._usage_trip import comes_back, follow_temperature, note_retries, overloads, returned, trip
from chargewright.sim.usage_rules import Books, Rules

_EXACT = 1e-10
"""How exactly powers balance [1]."""
_CLOSE = 3e-5
"""From here one more step of Newton's method is as good as exact [1]: it leaves less than 1e-8."""
_NEARLY = 1e-5
_BAND = 1e-6
"""How far the source's limit may be passed [1]."""
_SERVED = 0
_DAY = 86400.0
_NEAR, _LOW = 1.15, 0.25
"""Where the lowest cell can be near its end: pack voltage over its lowest, state of charge [1]."""
_COLLAPSE = 0.5
"""A load of constant power has no rest below half of the voltage that the pack has without it."""


def run_series(
    pack: PackTables, path: PathTables, rules: Rules, spent: Any, books: Books, now: Any, flag: Any, par: Any,
    duration: Any, power: Any, source: Any, first: int, last: int,
) -> None:  # fmt: skip
    """Step through the stretches `first` to `last` of a series; one duration serves all where only one is given."""
    for k in range(first, last):
        whole = duration[0] if len(duration) == 1 else duration[k]
        left = max(1, math.ceil(whole / rules.longest - 1e-9))
        dt = whole / left
        flag[code.PACE] = 0
        while left > 0:
            # While a load stays and nothing is near its end, several steps are taken at once.
            count = 1 if flag[code.PACE] == 0 else rules.steady if flag[code.PACE] == 1 else rules.calm
            if count > 1:
                day_left = _DAY - now[s.CLOCK] % _DAY
                count = max(1, min(count, left, int(day_left / dt + 1e-6)))
            _step(pack, path, rules, spent, books, now, flag, par, dt * count, power[k], int(source[k]))
            left -= count


def _step(
    pack: PackTables, path: PathTables, rules: Rules, spent: Any, books: Books, now: Any, flag: Any, par: Any,
    dt: float, asked: float, source: int,
) -> None:  # fmt: skip
    refresh(pack, now, par, dt)
    if source != flag[code.FEED]:
        _plug(pack, path, rules, now, flag, source)
    follow_temperature(rules, now, flag)
    was_down = flag[code.DOWN] == 1
    tries = not was_down or now[s.T_DOWN] >= rules.restart
    live = returned(path, rules, now, flag, source)
    if tries and was_down and live < 0:
        tries = _lasts(pack, path, now, flag, par, asked)
    served, why, load = asked, flag[code.WHY], flag[code.AT_LOAD]
    flow = _nothing(now, why)
    # Twice at most: the load that is asked for, then what a product draws that is shut down.
    for down in range(0 if tries else 1, 2):
        served = asked if down == 0 else min(asked, rules.standby)
        load = find_load(path, served, load)
        if down == 1 and live < 0 and source >= 0 and comes_back(path, rules, source, dt):
            live = source  # the load is gone, so a source that tripped is soon there again
        flow = _attempt(pack, path, rules, now, flag, par, dt, served, load, live, down == 1)
        if live >= 0 and path.exposed and flow.why != _SERVED and overloads(flow):
            trip(path, books, now, flag, pack, source)
            live, why = -1, flow.why
            flow = _attempt(pack, path, rules, now, flag, par, dt, served, load, live, down == 1)
            if flow.why == _SERVED:
                note_retries(path, rules, books, now, dt, source)
        elif down == 0:
            why = flow.why
        if flow.why == _SERVED:
            break
    else:
        served = 0.0
        flow = _nothing(now, why)
        if live < 0 and flag[code.SLEEPING] == 0 and now[s.REFUSES] == 0.0:
            flag[code.SLEEPING] = 1
            note_event(books, now, flag, pack, code.FELL_ASLEEP)
    flag[code.AT_LOAD] = load
    is_down = served < asked or flow.why != _SERVED
    if is_down and not was_down:
        note_event(books, now, flag, pack, why)
        flag[code.WHY] = why
    flag[code.DOWN] = 1 if is_down else 0
    now[s.T_DOWN] = dt + (0.0 if tries else now[s.T_DOWN])
    if live >= 0 and flag[code.OUT] == 1:
        flag[code.OUT] = 0
        note_event(books, now, flag, pack, code.RETURNED)
    if is_down and flow.kind <= table.BATTERY:
        off = code.ASLEEP if flag[code.SLEEPING] == 1 else code.OFF
        flow = Flow(flow.kind, flow.i, flow.v, flow.into, flow.source, off, why, 0, 0, why)
    over = over_load(path, served, load)
    run_clocks(pack, path, rules, books, now, flag, par, dt, flow, load, over, live)
    book_step(pack, path, rules, spent, books, now, flag, par, dt, asked, served, load, over, source, live, flow)


def _nothing(now: Any, why: int) -> Flow:
    return Flow(table.NO_TABLE, 0.0, now[s.VOLTAGE], 0.0, 0.0, code.OFF, why, 0, 0, max(why, 1))


def _plug(pack: PackTables, path: PathTables, rules: Rules, now: Any, flag: Any, source: int) -> None:
    """Begin with another source, or with none: timers start again, what was shut down may start.

    Another contract of the same source is none of that: timers run on, and a source that has latched off stays so.
    """
    before = flag[code.FEED]
    flag[code.FEED] = source
    flag[code.HELPING] = 0
    now[s.T_SUPPLEMENT] = now[s.T_OVER] = 0.0
    if before >= 0 and source >= 0 and path.store[path.feed + before] == path.store[path.feed + source]:
        return
    if before < 0:
        flag[code.IS_FULL] = 1 if open_voltage(pack, now) >= rules.v_recharge else 0
    flag[code.TIMED] = flag[code.SIGN] = flag[code.BLOCKED] = flag[code.OUT] = 0
    now[s.T_CHARGE] = now[s.T_PRECHARGE] = 0.0
    now[s.T_WAKE] = rules.wake
    if source >= 0:
        now[s.T_DOWN] = rules.restart


def _attempt(
    pack: PackTables, path: PathTables, rules: Rules, now: Any, flag: Any, par: Any, dt: float, p: float, load: int,
    source: int, down: bool,
) -> Flow:  # fmt: skip
    """Return what flows if the load `p` is served; `why` says what keeps it from being served."""
    over = over_load(path, p, load)
    if source < 0:
        return _on_battery(pack, path, now, flag, par, dt, load, over, down)
    if flag[code.SLEEPING] == 1:
        return _pack_out(path, now, source, load, over, code.NO_PACK, code.SLEEPS)
    if path.floats and now[s.REFUSES] > 0.0:
        return _pack_out(path, now, source, load, over, code.NO_PACK, int(now[s.REFUSES]))
    i, limit = _wanted(pack, path, rules, now, flag, par, dt, load, over)
    if path.floats and i <= 0.0 and (limit == code.BY_TEMPERATURE or limit == code.BY_TIMER):
        return _on_battery(pack, path, now, flag, par, dt, load, over, down)
    if flag[code.HELPING] == 1:
        v = open_voltage(pack, now)
        alone = at_into(path, path.charge_source, source, v, load, over, 0.0)
        if now[s.T_SUPPLEMENT] < rules.dwell or alone > (1.0 - rules.headroom) * path.store[path.limit + source]:
            return _helped(pack, path, now, par, dt, load, over, source, down, code.BY_HEADROOM)
    if i > 0.0 or path.floats:
        flow = _charged(pack, path, now, par, dt, load, over, source, i, limit, down)
        if flow.limit != code.BY_SOURCE_VOLTAGE or flow.why != code.OVERLOAD:
            if flow.why == code.OVERLOAD:
                return _helped(pack, path, now, par, dt, load, over, source, down, code.BY_SOURCE_VOLTAGE)
            return flow
        limit = flow.limit
    flow = _pack_out(path, now, source, load, over, code.FULL if flag[code.IS_FULL] == 1 else code.WAITING, limit)
    if flow.why == code.OVERLOAD and not path.exposed:
        v = now[s.VOLTAGE]
        if at_corner(path, path.into_low, source, v, load, over) > at_corner(
            path, path.into_high, source, v, load, over
        ):
            # Whatever flows in the pack, the path cannot use this source: the pack carries the load beside it.
            flow = _on_battery(pack, path, now, flag, par, dt, load, over, down)
            return Flow(flow.kind, flow.i, flow.v, flow.into, 0.0, flow.state, code.BY_SOURCE_VOLTAGE, 0, 0, flow.why)
    if flow.why == code.OVERLOAD:
        return _helped(pack, path, now, par, dt, load, over, source, down, code.BY_SOURCE_VOLTAGE)
    return flow


def _on_battery(
    pack: PackTables, path: PathTables, now: Any, flag: Any, par: Any, dt: float, load: int, over: float, down: bool
) -> Flow:
    """The pack carries the load: find the current at which voltage and power fit."""
    if flag[code.SLEEPING] == 1:
        return _nothing(now, code.SLEEPS)
    rest = open_voltage(pack, now)
    v = rest if now[s.CURRENT] >= 0.0 else now[s.VOLTAGE]
    w = at_corner(path, path.battery_power, 0, v, load, over)
    r = par[s.PER_DIRECTION + s.R_MEAN]
    v = 0.5 * (rest + math.sqrt(max(rest * rest - 4.0 * r * w, 0.0)))
    i = -w / v
    for _ in range(12):
        v = mean_voltage(pack, now, par, dt, i)
        gap = v * i + at_corner(path, path.battery_power, 0, v, load, over)
        slope = v + i * r
        if v < _COLLAPSE * rest or slope <= 0.0:
            return _nothing(now, code.PACK_EMPTY)
        i -= gap / slope
        if abs(gap) <= _CLOSE * w:
            break
    v = mean_voltage(pack, now, par, dt, i)
    why = _able(pack, now, par, dt, i, down)
    if why == _SERVED and not down and at_corner(path, path.battery_bus, 0, v, load, over) < 0.0:
        why = code.BUS_LOW
    return Flow(table.BATTERY, i, v, i * v, 0.0, code.ON_BATTERY, code.NONE, 0, 0, why)


def _able(pack: PackTables, now: Any, par: Any, dt: float, i: float, down: bool) -> int:
    """Return why the pack cannot give a current to the end of the step; 0 if it can."""
    if now[s.REFUSES] > 0.0:
        return int(now[s.REFUSES])
    q = now[s.Q] + (i - pack.i_self) * dt
    if q < 0.0:
        return code.PACK_EMPTY
    if pack.spread and lowest_charge(pack, now, q) < 0.0:
        return code.CELL_EMPTY
    if down:
        return _SERVED
    if -i > pack.i_most:
        return code.PACK_CURRENT
    v = end_voltage(pack, now, par, dt, i)
    if v < pack.v_empty:
        return code.PACK_EMPTY
    if pack.spread and (v < _NEAR * pack.v_empty or q < _LOW * pack.span):
        return code.CELL_EMPTY if lowest_voltage(pack, now, par, dt, i) < pack.v_empty else _SERVED
    return _SERVED


def _lasts(pack: PackTables, path: PathTables, now: Any, flag: Any, par: Any, p: float) -> bool:
    """Return whether the pack alone would carry a load lastingly: what a product that was shut down waits for."""
    if now[s.Q] <= 0.0 or flag[code.SLEEPING] == 1 or now[s.REFUSES] > 0.0:
        return False
    load = find_load(path, p, flag[code.AT_LOAD])
    over = over_load(path, p, load)
    # After a shut-down on the branch that a lasting discharge comes to.
    rest = rest_voltage(pack, now[s.Q], now[s.TEMP]) + branch(pack, -1.0, now[s.Q])
    r = par[s.PER_DIRECTION + s.R_LASTING]
    v = rest
    for _ in range(4):
        left = rest * rest - 4.0 * r * at_corner(path, path.battery_power, 0, v, load, over)
        if left <= 0.0:
            return False
        v = 0.5 * (rest + math.sqrt(left))
    return bool(v >= pack.v_empty and at_corner(path, path.battery_bus, 0, v, load, over) >= 0.0)


def _wanted(
    pack: PackTables, path: PathTables, rules: Rules, now: Any, flag: Any, par: Any, dt: float, load: int, over: float
) -> tuple[float, int]:
    """Return the current that the charger wants into the pack, and the limit that sets it."""
    if flag[code.IS_FULL] == 1 and not path.floats:
        return 0.0, code.NONE
    if flag[code.TIMED] == 1:
        return 0.0, code.BY_TIMER
    region = 4 * flag[code.REGION]
    allowed = rules.store[region + 2]
    if allowed <= 0.0:
        return 0.0, code.BY_TEMPERATURE
    i, limit = rules.i_charge, code.BY_CURRENT
    r = par[s.PER_DIRECTION + s.DIRECTION + s.R_CELLS] + pack.lead - pack.unsensed
    rest, at = open_voltage(pack, now), 4 * rules.region_count + rules.ambient_count
    for stage in range(rules.stage_count):
        v_end, i_stage = rules.store[at + 2 * stage], rules.store[at + 2 * stage + 1]
        if rest + i_stage * r < v_end:
            i, limit = i_stage, code.BY_PRECHARGE if stage < rules.low_stages else code.BY_CURRENT
            break
    if allowed < i:
        i, limit = allowed, code.BY_TEMPERATURE
    if path.floats:
        i -= at_corner(path, path.beside, 0, now[s.VOLTAGE], load, over)
    v_set = min(rules.v_set, rules.store[region + 3])
    if i > 0.0 and end_voltage(pack, now, par, dt, i) - i * pack.unsensed > v_set:
        i, limit = held_current(pack, now, par, dt, v_set), code.BY_VOLTAGE
    return i, limit


def _charged(
    pack: PackTables, path: PathTables, now: Any, par: Any, dt: float, load: int, over: float, source: int, i: float,
    limit: int, down: bool,
) -> Flow:  # fmt: skip
    """Charge beside the load: with the wanted current, or with what the source's limit leaves over."""
    state = code.CHARGING
    if limit == code.BY_PRECHARGE:
        v = mean_voltage(pack, now, par, dt, i)
        given = at_corner(path, path.flat_source, source, v, load, over)
        bus = at_corner(path, path.flat_bus, source, v, load, over)
        if i == path.i_flat and bus >= 0.0 and given <= path.store[path.limit + source]:
            return Flow(table.FLAT, i, v, i * v, given, code.PRECHARGE, limit, 0, 0, _SERVED)
        state = code.PRECHARGE
    v = mean_voltage(pack, now, par, dt, i)
    most = at_corner(path, path.into_high, source, v, load, over)
    given = at_into(path, path.charge_source, source, v, load, over, i * v)
    if i * v > most or given > path.store[path.limit + source] * (1.0 + 0.5 * _BAND):
        if most <= 0.0 and not path.floats:
            return Flow(table.CHARGE, i, v, i * v, given, state, code.BY_SOURCE_VOLTAGE, 0, 0, code.OVERLOAD)
        i, v = _left(pack, path, now, par, dt, load, over, source, max(i * v, 0.0))
        given = at_into(path, path.charge_source, source, v, load, over, i * v)
        # Where the path ends before the source does, it is the source's voltage that leaves no room for more.
        ends = given < path.store[path.limit + source] * (1.0 - _NEARLY)
        state, limit = code.SHARED, code.BY_SOURCE_VOLTAGE if ends else code.BY_SOURCE
        if i < 0.0:
            return Flow(table.CHARGE, i, v, i * v, given, state, limit, 0, 0, code.OVERLOAD)
    why = _SERVED if i >= 0.0 else _able(pack, now, par, dt, i, down)
    if why == _SERVED and not down and at_into(path, path.charge_bus, source, v, load, over, i * v) < 0.0:
        why = code.BUS_LOW
    return Flow(table.CHARGE, i, v, i * v, given, state, limit, 0, 0, why)


def _left(
    pack: PackTables, path: PathTables, now: Any, par: Any, dt: float, load: int, over: float, source: int, most: float
) -> tuple[float, float]:
    """Return current into the pack and terminal voltage with the source at its limit, at most `most` watts."""
    v = now[s.VOLTAGE]
    i = 0.0
    for _ in range(20):
        into = min(
            most, left_for_pack(path, source, v, load, over), at_corner(path, path.into_high, source, v, load, over)
        )
        i = into / v
        fresh = mean_voltage(pack, now, par, dt, i)
        if fresh <= 0.3 * v:
            break
        done = abs(fresh - v) <= _EXACT * v
        v = fresh
        if done:
            break
    return i, v


def _pack_out(path: PathTables, now: Any, source: int, load: int, over: float, state: int, limit: int) -> Flow:
    """The source carries the load alone, no current flows in the pack."""
    given = at_load(path, path.rest_source, source, load, over)
    why = _SERVED
    if given > path.store[path.limit + source] * (1.0 + _BAND):
        why = code.OVERLOAD
    elif at_load(path, path.rest_bus, source, load, over) < 0.0:
        why = code.BUS_LOW
    return Flow(table.REST, 0.0, now[s.VOLTAGE], 0.0, given, state, limit, 0, 0, why)


def _helped(
    pack: PackTables, path: PathTables, now: Any, par: Any, dt: float, load: int, over: float, source: int, down: bool,
    idle: int,
) -> Flow:  # fmt: skip
    """The pack helps the source, where the path can; else the source is overloaded, for a short while.

    idle : what keeps the pack from being charged where the source carries the load by itself after all
    """
    if path.helps:
        i, v = _left(pack, path, now, par, dt, load, over, source, 0.0)
        given = at_into(path, path.charge_source, source, v, load, over, i * v)
        why = _able(pack, now, par, dt, i, down) if i < 0.0 else _SERVED
        if i * v < at_corner(path, path.into_low, source, v, load, over) or given > path.store[path.limit + source] * (
            1.0 + _BAND
        ):
            why = code.OVERLOAD
        elif why == _SERVED and not down and at_into(path, path.charge_bus, source, v, load, over, i * v) < 0.0:
            why = code.BUS_LOW
        if i >= 0.0 and given < path.store[path.limit + source] * (1.0 - _BAND):
            # The load is back within the limit, but not by enough or not for long enough; or the stage has just room
            # for the load.
            helping = 1 if idle == code.BY_HEADROOM else 0
            return Flow(table.CHARGE, i, v, i * v, given, code.WAITING, idle, helping, 0, why)
        return Flow(table.CHARGE, i, v, i * v, given, code.SUPPLEMENT, code.BY_SOURCE, 1, 0, why)
    given = at_load(path, path.rest_source, source, load, over)
    if given <= path.store[path.limit + source] * (1.0 + _BAND):
        return _pack_out(path, now, source, load, over, code.WAITING, code.BY_SOURCE)
    inside = given <= path.store[path.rated + source] * (1.0 + _BAND)
    lasts = given <= path.store[path.trip + source] and now[s.T_OVER] + dt <= path.store[path.trip_time + source]
    why = code.OVERLOAD
    if inside or lasts:
        why = _SERVED if at_load(path, path.rest_bus, source, load, over) >= 0.0 else code.BUS_LOW
    return Flow(
        table.REST, 0.0, now[s.VOLTAGE], 0.0, given, code.WAITING, code.BY_SOURCE, 0, WITHIN if inside else BEYOND, why
    )

"""What a step of the usage kernel changes and adds up."""

from typing import Any

from chargewright.sim import _usage_pack as s
from chargewright.sim import _usage_path as table
from chargewright.sim import usage_rules as code
from chargewright.sim._usage_pack import (
    PackTables,
    branch,
    entropic_slope,
    mean_branch,
    mean_rest_voltage,
    rest_voltage,
    turned,
)
from chargewright.sim._usage_path import PathTables, note_battery, note_charge, note_flat, note_rest
from chargewright.sim.usage_rules import Books, Rules

_DAY = 86400.0
_NOTHING = 1e-9
"""Share of the charge current below which a pack current has no sign."""


def book_step(
    pack: PackTables, path: PathTables, rules: Rules, spent: Any, books: Books, now: Any, flag: Any, par: Any,
    dt: float, asked: float, served: float, load: int, over: float, source: int,
    live: int, flow: Any,
) -> None:  # fmt: skip
    """Move the pack by one step and add the step to the books."""
    day = int(now[s.CLOCK] / _DAY + 1e-9)
    at = books.days + day * code.DAY_COLUMNS
    i, days = flow.i, books.store
    e_mid = mean_rest_voltage(pack, now[s.Q], i * dt, now[s.TEMP])
    soc_before, temp_before = now[s.Q] / pack.span, now[s.TEMP]
    warm = _move_pack(pack, books, now, par, dt, i, at)
    loss = flow.source - served - flow.into if flow.kind != table.NO_TABLE else 0.0
    _move_temp(pack, rules, now, par, dt, warm, loss)
    days[at + code.E_ASKED] += asked * dt
    days[at + code.E_LOAD] += served * dt
    days[at + code.E_PATH] += loss * dt
    if served < asked:
        days[at + code.T_UNSERVED] += dt
        if flag[code.WHY] == code.OVERLOAD or flag[code.WHY] == code.PACK_CURRENT:
            days[at + code.T_BEYOND] += dt
    if source >= 0:
        days[at + code.T_SOURCE] += dt
        days[at + code.E_SOURCE] += flow.source * dt
        if flow.over > 0:
            days[at + code.T_OVER] += dt
        days[at + code.T_BLOCKED] += dt * flag[code.BLOCKED]
        if live < 0:
            days[at + code.T_OUT] += dt
        by = books.by_source + (day * books.sources + source) * 2
        days[by] += dt
        days[by + 1] += flow.source * dt
        _flips(rules, days, flag, at, i)
    if i > 0.0:
        days[at + code.Q_IN] += i * dt
        days[at + code.E_IN] += flow.into * dt
        days[at + code.S_IN] += e_mid * i * dt
        if i > days[at + code.I_HIGH]:
            days[at + code.I_HIGH] = i
    else:
        days[at + code.Q_OUT] -= i * dt
        days[at + code.E_OUT] -= flow.into * dt
        days[at + code.S_OUT] -= e_mid * i * dt
        if flow.helping == 1:
            days[at + code.E_HELP] -= flow.into * dt
    if now[s.REFUSES] > 0.0:
        days[at + code.T_REFUSED] += dt
    soc = now[s.Q] / pack.span
    days[at + code.SOC_END] = soc
    _extremes(days, at + code.SOC_LOW, soc)
    _extremes(days, at + code.TEMP_LOW, now[s.TEMP])
    days[books.seconds + flow.state * code.LIMIT_COUNT + flow.limit] += dt
    if served > rules.standby:
        place = min(max(int(soc * code.SOC_BINS), 0), code.SOC_BINS - 1)
        days[books.soc_time + (live + 1) * code.SOC_BINS + place] += dt
    _residence(path, spent, dt, load, over, source, flow)
    if now[s.CLOCK] + 1e-6 >= now[s.ROW_AT] and flag[code.ROWS] < books.row_room:
        now[s.ROW_AT] = now[s.CLOCK] + rules.row_every
        p_loss = loss + flow.into - e_mid * i
        _row(books, now, flag, soc_before, temp_before, flow, served, p_loss, source)
    now[s.CURRENT], now[s.VOLTAGE] = i, flow.v
    if flow.kind == table.NO_TABLE or flow.kind == table.REST:
        now[s.VOLTAGE] = rest_voltage(pack, now[s.Q], now[s.TEMP])
        if pack.turns > 0.0:
            now[s.VOLTAGE] += branch(pack, now[s.BRANCH], now[s.Q])
    now[s.CLOCK] += dt


def note_event(books: Books, now: Any, flag: Any, pack: PackTables, what: int) -> None:
    """Count an event, and keep it while there is room."""
    books.store[books.counts + what] += 1.0
    at = books.events + 4 * flag[code.NOTED]
    if flag[code.NOTED] < books.event_room:
        books.store[at], books.store[at + 1] = now[s.CLOCK], float(what)
        books.store[at + 2], books.store[at + 3] = now[s.Q] / pack.span, float(flag[code.FEED])
        flag[code.NOTED] += 1


def _move_pack(pack: PackTables, books: Books, now: Any, par: Any, dt: float, i: float, at: int) -> float:
    """Move charge and RC pairs; return the heat of the cells [J]."""
    days = books.store
    first = s.PER_DIRECTION + (s.DIRECTION if i > 0.0 else 0)
    heat = par[first + s.R_CELLS] * i * i * dt
    for k in range(pack.pairs):
        r, tau = par[first + s.R_PAIR + k], par[s.TAU + k]
        before = now[s.U + k]
        after = before * par[s.LEFT + k] + r * i * (1.0 - par[s.LEFT + k])
        mean = r * i + (before - r * i) * par[s.SHARE + k]
        rise = 0.5 * tau / r * (after * after - before * before) if r > 0.0 else 0.0
        now[s.U + k] = after
        heat += i * mean * dt - rise
        days[at + code.E_PAIRS] += rise
    if pack.turns > 0.0:
        heat += i * mean_branch(pack, now, dt, i) * dt
        now[s.BRANCH] = turned(pack, now[s.BRANCH], i * dt)
    slope = entropic_slope(pack, now[s.Q] + 0.5 * i * dt)
    entropic = i * now[s.TEMP] * slope * dt
    days[at + code.E_WARMTH] += slope * (now[s.TEMP] - pack.temp_ref) * i * dt
    days[at + code.HEAT_CELLS] += heat
    days[at + code.HEAT_LEADS] += pack.lead * i * i * dt
    days[at + code.E_ENTROPIC] += entropic
    now[s.Q] += i * dt
    lost = min(pack.i_self * dt + now[s.BLED], now[s.Q])
    if lost > 0.0:
        days[at + code.E_SELF] += mean_rest_voltage(pack, now[s.Q], -lost, pack.temp_ref) * lost
        days[at + code.Q_SELF] += lost
        now[s.Q] -= lost
    return float(heat + entropic)


def _move_temp(pack: PackTables, rules: Rules, now: Any, par: Any, dt: float, warm: float, loss: float) -> None:
    x = now[s.CLOCK] / _DAY
    x = (x - int(x)) * (rules.ambient_count - 1)
    k = min(int(x), rules.ambient_count - 2)
    at = 4 * rules.region_count + k
    around = rules.store[at] + (x - k) * (rules.store[at + 1] - rules.store[at]) + rules.enclosure * loss
    settled = around + pack.thermal_resistance * warm / dt
    now[s.TEMP] = settled + (now[s.TEMP] - settled) * par[s.COOLING]


def _extremes(days: Any, low: int, value: float) -> None:
    """Keep the lowest value, and in the column after it the highest."""
    if value < days[low]:
        days[low] = value
    if value > days[low + 1]:
        days[low + 1] = value


def _flips(rules: Rules, days: Any, flag: Any, at: int, i: float) -> None:
    """Count how often the pack turns between charge and discharge while a source is there."""
    sign = 1 if i > _NOTHING * rules.i_charge else -1 if i < -_NOTHING * rules.i_charge else 0
    if sign == 0:
        return
    if flag[code.SIGN] == -sign:
        days[at + code.FLIPS] += 1.0
    flag[code.SIGN] = sign


def _residence(path: PathTables, spent: Any, dt: float, load: int, over: float, source: int, flow: Any) -> None:
    if flow.kind == table.BATTERY:
        note_battery(path, spent, dt, flow.v, load, over)
    elif flow.kind == table.CHARGE:
        note_charge(path, spent, dt, source, flow.v, load, over, flow.into)
    elif flow.kind == table.REST:
        note_rest(path, spent, dt, source, load, over)
    elif flow.kind == table.FLAT:
        note_flat(path, spent, dt, source, flow.v, load, over)


def _row(
    books: Books, now: Any, flag: Any, soc: float, temp: float, flow: Any, served: float, loss: float, source: int
) -> None:
    at = books.rows + flag[code.ROWS] * code.ROW_COLUMNS
    rows = books.store
    rows[at], rows[at + 1], rows[at + 2], rows[at + 3] = now[s.CLOCK], soc, flow.i, flow.v
    rows[at + 4], rows[at + 5], rows[at + 6], rows[at + 7] = temp, flow.source, served, loss
    rows[at + 8], rows[at + 9], rows[at + 10] = float(flow.state), float(flow.limit), float(source)
    flag[code.ROWS] += 1

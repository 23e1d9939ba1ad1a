"""What a step of the usage kernel comes to, and what its end does to timers and flags."""

from typing import Any, NamedTuple

from chargewright.sim import _usage_pack as s
from chargewright.sim import usage_rules as code
from chargewright.sim._usage_book import note_event
from chargewright.sim._usage_pack import PackTables, highest_voltage, open_voltage
from chargewright.sim._usage_path import PathTables, at_corner
from chargewright.sim.usage_rules import Books, Rules

_DAY = 86400.0
_CLOSE = 0.98
"""A highest cell this near to where its protection acts is watched in single steps [1]."""
_FAR = 1.1
"""A pack or a bus this much above its end is far from it [1]."""


BEYOND, WITHIN = 1, 2
"""What a source gives that is above its limit: beyond its own rating, or within it."""


class Flow(NamedTuple):
    """What flows in a step."""

    kind: int
    """Table that describes it."""
    i: float
    """Into the pack."""
    v: float
    """Mean terminal voltage."""
    into: float
    """Power into the pack at its terminals."""
    source: float
    """Power at the source's connector."""
    state: int
    limit: int
    helping: int
    """Whether supplement is in force."""
    over: int
    """Whether the source gives more than its limit: 0, `BEYOND`, `WITHIN`."""
    why: int
    """Why the load cannot be served; 0 if it can."""


def _pace(pack: PackTables, path: PathTables, flow: Flow, load: int, over: float) -> int:
    """Return how far everything is from changing: 0 near, 1 far, 2 at rest."""
    if flow.state == code.FULL and flow.limit == code.NONE:
        return 2
    if flow.state == code.ON_BATTERY:
        bus = at_corner(path, path.battery_bus, 0, flow.v, load, over)
        return 1 if flow.v > _FAR * pack.v_empty and bus > _FAR - 1.0 else 0
    if flow.state == code.CHARGING and flow.limit == code.BY_CURRENT:
        return 1
    return 1 if flow.state == code.SHARED and flow.i > 0.0 else 0


def _released(pack: PackTables, rules: Rules, now: Any, par: Any, dt: float) -> bool:
    """Return whether the protection lets a pack be charged again: its highest cell has fallen by the recharge drop."""
    if not pack.spread:
        return True
    return highest_voltage(pack, now, par, dt, 0.0) < pack.v_protect - (rules.v_set - rules.v_recharge)


def _balance(pack: PackTables, now: Any, dt: float) -> None:
    """Let balancing take charge from the highest cell, as long as that is fuller than a mean one."""
    if (now[s.Q] + now[s.AHEAD]) / pack.one_capacity <= now[s.Q]:
        return
    charge = pack.i_balance * dt
    now[s.BLED] = charge * pack.one_share
    now[s.AHEAD] -= charge - now[s.BLED]


def run_clocks(
    pack: PackTables, path: PathTables, rules: Rules, books: Books, now: Any, flag: Any, par: Any, dt: float,
    flow: Flow, load: int, over: float, live: int,
) -> None:  # fmt: skip
    """Let timers run and note what begins and ends with this step."""
    flag[code.HELPING] = flow.helping
    flag[code.PACE] = _pace(pack, path, flow, load, over)
    now[s.T_SUPPLEMENT] = now[s.T_SUPPLEMENT] + dt if flow.helping == 1 else 0.0
    now[s.T_OVER] = now[s.T_OVER] + dt if flow.over == BEYOND else 0.0
    now[s.T_TRIP] += dt
    now[s.BLED] = 0.0
    if live < 0:
        return
    if flag[code.SLEEPING] == 1:
        now[s.T_WAKE] -= dt
        if now[s.T_WAKE] <= 1e-9:
            flag[code.SLEEPING] = 0
            note_event(books, now, flag, pack, code.WOKE)
        return
    blocked = 1 if flow.limit == code.BY_TEMPERATURE and flow.i <= 0.0 else 0
    if blocked == 1 and flag[code.BLOCKED] == 0:
        note_event(books, now, flag, pack, code.TOO_COLD if flag[code.REGION] == 0 else code.TOO_HOT)
    flag[code.BLOCKED] = blocked
    if flow.state == code.CHARGING:
        now[s.T_CHARGE] += dt
    elif flow.state == code.SHARED:
        now[s.T_CHARGE] += dt * rules.timer_speed
    elif flow.state == code.PRECHARGE:
        now[s.T_CHARGE] += dt
        now[s.T_PRECHARGE] += dt
    if flag[code.TIMED] == 0 and (now[s.T_CHARGE] > rules.timer or now[s.T_PRECHARGE] > rules.precharge_timer):
        flag[code.TIMED] = 1
        note_event(books, now, flag, pack, code.TIMED_OUT)
    if pack.spread and flow.i > 0.0:
        v = highest_voltage(pack, now, par, dt, flow.i)
        at = books.days + int(now[s.CLOCK] / _DAY + 1e-9) * code.DAY_COLUMNS + code.V_HIGH
        books.store[at] = max(books.store[at], v)
        if v > _CLOSE * (min(pack.v_protect, pack.v_balance) if pack.i_balance > 0.0 else pack.v_protect):
            flag[code.PACE] = 0
        if pack.i_balance > 0.0 and v >= pack.v_balance:
            _balance(pack, now, dt)
        if v > pack.v_protect and flag[code.IS_FULL] == 0:
            flag[code.IS_FULL] = 1
            note_event(books, now, flag, pack, code.CELL_HIGH)
    if flag[code.IS_FULL] == 0:
        if flow.state == code.CHARGING and flow.limit == code.BY_VOLTAGE:
            sensed = flow.i
            if path.floats:
                sensed += at_corner(path, path.beside, 0, flow.v, load, over)
            if sensed < rules.i_termination:
                flag[code.IS_FULL] = 1
                now[s.T_CHARGE] = now[s.T_PRECHARGE] = 0.0
                note_event(books, now, flag, pack, code.FILLED)
    elif open_voltage(pack, now) < rules.v_recharge and _released(pack, rules, now, par, dt):
        flag[code.IS_FULL] = flag[code.PACE] = 0
        note_event(books, now, flag, pack, code.RECHARGED)

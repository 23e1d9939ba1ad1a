"""What the event-order automaton decides: source, input, battery switch, supplement, pack, load, by what each sees."""

import math
from typing import Any

from chargewright.sim.sequence_rules import (
    ALONE,
    ASKED,
    AT,
    BAT,
    BOOTS,
    C_HELP,
    C_INPUT,
    C_LOAD,
    C_OVER,
    C_PACK,
    C_SHUT,
    C_SOURCE,
    C_SWITCH,
    CHECKS,
    CLOSED,
    CLOSES,
    CUT,
    FED,
    FEELS,
    FITTED,
    FLAT,
    FULL,
    GIVES,
    HALF,
    HELD,
    HELP,
    HELPS,
    HICCUPS,
    I_PACK,
    I_SOURCE,
    IN,
    LEAVES,
    LINEAR,
    LOAD,
    LOCKED,
    MOVES,
    OFF,
    OPEN,
    OVER,
    PACK,
    RAMPS,
    RESTS,
    RETRIES,
    RUNS,
    SOC,
    SRC,
    STARTS,
    TRIPPED,
    V_BUS,
    V_IN,
    WAITS,
    WANT,
    Machine,
    T,
    U,
    X,
)

INF = math.inf
_CLOSE = 2e-3
"""How far above the pack the bus has to be for a switch that is about to close to stay open [1]."""
_OVER_LIMIT = 1.01


def decide(p: Machine, m: Any, d: Any, x: Any) -> bool:
    """Let source, input, switch, supplement, pack and load act on what they see; say whether anything changed."""
    changed = _source(p, m, d, x)
    changed = _input(p, m, d, x) or changed
    changed = _pack(p, m, d, x) or changed
    if p.switched:
        changed = _switch(p, m, d, x) or changed
    if p.helps and not p.narrow:
        changed = _help(p, m, d, x) or changed
    return _load(p, m, d, x) or changed


def _source(p: Machine, m: Any, d: Any, x: Any) -> bool:
    changed = False
    if d[C_SOURCE] <= x[T]:
        d[C_SOURCE] = INF
        changed = True
        if m[SRC] == MOVES:
            m[SRC] = GIVES
            m[AT] = 1
        else:
            m[SRC] = GIVES
            m[AT] = 0 if p.talks else 1
            if p.talks and m[ASKED] == 1:
                m[SRC] = MOVES
                d[C_SOURCE] = x[T] + p.t_move
    if p.kind < HICCUPS or (m[SRC] != GIVES and m[SRC] != MOVES):
        return changed
    trip = p.i_trip_1 if m[AT] == 1 else p.i_trip_0
    if x[I_SOURCE] > trip:
        if m[OVER] == 0:
            m[OVER] = 1
            d[C_OVER] = x[T] + p.t_trip
            changed = True
    elif m[OVER] == 1:
        m[OVER] = 0
        d[C_OVER] = INF
        changed = True
    if d[C_OVER] <= x[T]:
        trip_source(p, m, d, x)
        changed = True
    return changed


def trip_source(p: Machine, m: Any, d: Any, x: Any) -> None:
    """Let the source act on an overload: rest and come back, or stay off."""
    m[OVER] = 0
    d[C_OVER] = INF
    m[AT] = 0 if p.talks else 1
    if p.kind == HICCUPS:
        m[SRC] = RESTS
        d[C_SOURCE] = x[T] + p.t_off
    else:
        m[SRC] = TRIPPED
        d[C_SOURCE] = INF


def _input(p: Machine, m: Any, d: Any, x: Any) -> bool:
    gives = m[SRC] == GIVES or m[SRC] == MOVES
    e = (p.e_1 if m[AT] == 1 else p.e_0) if gives else 0.0
    now = m[IN]
    due = d[C_INPUT] <= x[T]
    v = x[V_IN] if p.narrow else x[V_BUS]
    if now == WAITS:
        good = gives and e > p.v_good
        if good and not p.narrow and m[PACK] == FITTED:
            good = e > rest_voltage(p, m[SOC])
        if good:
            m[IN] = CHECKS
            d[C_INPUT] = x[T] + p.t_check
    elif now == CHECKS:
        if not gives or e < p.v_bad:
            m[IN] = WAITS
        elif due:
            m[IN] = RAMPS
            d[C_INPUT] = x[T] + p.t_ramp
    elif now == RAMPS:
        if not gives:
            m[IN] = WAITS
        elif v > 0.98 * e - x[I_SOURCE] * (p.r_line + p.r_in):
            m[IN] = FED
        elif due:
            m[IN] = RETRIES
            d[C_INPUT] = x[T] + p.t_retry
    elif now == FED:
        if not gives:
            m[IN] = WAITS
        elif v < p.v_bad:
            m[IN] = RETRIES
            d[C_INPUT] = x[T] + p.t_retry
    elif due:
        m[IN] = WAITS
    if m[IN] != now:
        if m[IN] == WAITS or m[IN] == FED:
            d[C_INPUT] = INF
        x[X] = 0.0 if m[IN] != FED else x[X]
        if m[IN] != RAMPS and m[IN] != FED:
            x[I_SOURCE] = 0.0
        return True
    return False


def _pack(p: Machine, m: Any, d: Any, x: Any) -> bool:
    if m[PACK] == FITTED:
        v = rest_voltage(p, m[SOC]) + x[U] + p.r_pack * x[I_PACK]
        if x[I_PACK] < 0.0 and v < p.v_cut:
            if d[C_PACK] == INF:
                d[C_PACK] = x[T] + p.t_cut
            elif d[C_PACK] <= x[T]:
                m[PACK] = CUT
                d[C_PACK] = INF
                x[I_PACK] = 0.0
                return True
        else:
            d[C_PACK] = INF
    elif m[PACK] == CUT:
        if m[IN] != FED:
            d[C_PACK] = INF
        elif d[C_PACK] == INF:
            d[C_PACK] = x[T] + p.t_wake
        elif d[C_PACK] <= x[T]:
            m[PACK] = FITTED
            d[C_PACK] = INF
            return True
    return False


def _switch(p: Machine, m: Any, d: Any, x: Any) -> bool:
    now = m[BAT]
    e = rest_voltage(p, m[SOC]) + x[U]
    low = x[V_BUS] < e - p.v_below
    fed = m[IN] == FED
    wish = CLOSES if low and now != CLOSED else now
    if m[PACK] != FITTED or (not p.narrow and (fed or m[IN] == RAMPS)):
        wish = OPEN
    elif p.narrow and fed and m[SOC] == HALF:
        wish = CLOSED
    elif p.narrow and fed and m[SOC] == FLAT:
        wish = LINEAR
    elif now == LINEAR:
        wish = CLOSES if low else OPEN
    elif p.narrow and fed and now == CLOSED and m[HELP] == ALONE:
        wish = OPEN
    if now == CLOSES and wish == CLOSES:
        if d[C_SWITCH] <= x[T]:
            wish = CLOSED
        elif x[V_BUS] > e * (1.0 + _CLOSE):
            wish = OPEN
    changed = wish != now
    if changed:
        m[BAT] = wish
        d[C_SWITCH] = x[T] + p.t_close if wish == CLOSES else INF
        if p.narrow and fed and m[SOC] == FULL and wish == CLOSED:
            m[HELP] = HELPS
    return _resting_pack_helps(p, m, d, x) or changed if p.narrow else changed


def _resting_pack_helps(p: Machine, m: Any, d: Any, x: Any) -> bool:
    """End the help of a pack that rested beside a narrow bus, once the source has headroom again."""
    if m[IN] != FED or m[SOC] != FULL or m[PACK] != FITTED:
        idle = m[HELP] == ALONE
        m[HELP] = ALONE
        d[C_HELP] = INF
        return bool(not idle)
    return bool(m[HELP] != ALONE) and _leave(p, m, d, x)


def _help(p: Machine, m: Any, d: Any, x: Any) -> bool:
    """Start and end the help of a stage that runs backwards."""
    now = m[HELP]
    if m[IN] != FED or m[PACK] != FITTED or m[SOC] == FLAT:
        m[HELP] = ALONE
        d[C_HELP] = INF
        return bool(now != ALONE)
    if now in (HELPS, LEAVES):
        return _leave(p, m, d, x)
    short = x[I_SOURCE] > _OVER_LIMIT * source_limit(p, m[AT]) and x[X] < 0.02 * p.i_charge_half
    if now == ALONE and short:
        m[HELP] = FEELS
        d[C_HELP] = x[T] + p.t_help
    elif now == FEELS and not short:
        m[HELP] = ALONE
        d[C_HELP] = INF
    elif now == FEELS and d[C_HELP] <= x[T]:
        m[HELP] = HELPS
        d[C_HELP] = INF
    return bool(m[HELP] != now)


def _leave(p: Machine, m: Any, d: Any, x: Any) -> bool:
    now = m[HELP]
    free = x[I_SOURCE] < source_limit(p, m[AT]) * (1.0 - p.headroom)
    if now == HELPS and free:
        m[HELP] = LEAVES
        d[C_HELP] = x[T] + p.t_leave
    elif now == LEAVES and not free:
        m[HELP] = HELPS
        d[C_HELP] = INF
    elif now == LEAVES and d[C_HELP] <= x[T]:
        m[HELP] = ALONE
        d[C_HELP] = INF
    return bool(m[HELP] != now)


def _load(p: Machine, m: Any, d: Any, x: Any) -> bool:
    now = m[LOAD]
    v = x[V_BUS]
    due = d[C_LOAD] <= x[T]
    to = now
    wait = INF
    if m[WANT] == 0:
        to = OFF
    elif now == OFF:
        to = HELD
    elif now == HELD:
        if v > p.v_on:
            to = STARTS
            wait = p.t_restart
    elif now == STARTS:
        if v < p.v_off:
            to = HELD
        elif due:
            to = BOOTS
            wait = p.t_boot
    elif now == LOCKED:
        if m[IN] == FED:
            to = HELD
    elif v < p.v_off or _runs_low(p, m, d, x):
        to = LOCKED if p.locks and m[IN] != FED else HELD
    elif due:
        to = RUNS
    if to == now:
        return False
    m[LOAD] = to
    d[C_LOAD] = x[T] + wait
    d[C_SHUT] = INF
    return True


def _runs_low(p: Machine, m: Any, d: Any, x: Any) -> bool:
    """Say whether a running product shuts itself down, since the pack that carries it alone is empty."""
    v = rest_voltage(p, m[SOC]) + x[U] + p.r_pack * x[I_PACK]
    if m[IN] == FED or m[PACK] != FITTED or x[I_PACK] >= 0.0 or v >= p.v_shut:
        d[C_SHUT] = INF
        return False
    if d[C_SHUT] == INF:
        d[C_SHUT] = x[T] + p.t_shut
    return bool(d[C_SHUT] <= x[T])


def rest_voltage(p: Machine, soc: int) -> float:
    """Return the rest voltage of the pack [V]."""
    if soc == HALF:
        return p.ocv_half
    return p.ocv_full if soc == FULL else p.ocv_flat


def source_limit(p: Machine, at: int) -> float:
    """Return the source current at which the controller's two input limits end [A]."""
    if at == 1:
        return min(p.i_limit_1, max((p.e_1 - p.v_hold_1) / p.r_line, 0.0))
    return min(p.i_limit_0, max((p.e_0 - p.v_hold_0) / p.r_line, 0.0))

"""The event-order automaton: one step of its continuous state, between what `_sequence_logic` decides.

Between changes the step is as long as the state lets it be; a change begins with a step of microseconds.
"""

import math
from typing import Any

from chargewright.sim._sequence_logic import decide, rest_voltage, source_limit
from chargewright.sim._sequence_nodes import node
from chargewright.sim.sequence_rules import (
    ALONE,
    AT,
    BAT,
    BOOTS,
    C_STOP,
    CHANGED,
    CLOCKS,
    CLOSED,
    CONSTANT,
    E_LOAD,
    E_LOSS,
    E_PACK,
    E_SOURCE,
    E_STORED,
    FED,
    FITTED,
    FLAT,
    FOLDS,
    FULL,
    GIVES,
    HELP,
    HELPS,
    HICCUPS,
    I_PACK,
    I_PEAK,
    I_SOURCE,
    IN,
    LEAVES,
    LINEAR,
    LOAD,
    MOVES,
    P_LOAD,
    PACK,
    PEAKS,
    RAMPS,
    RUNS,
    SETTLED,
    SOC,
    SRC,
    STEP,
    STEP_NEXT,
    STEPS,
    T_BEYOND,
    T_DIODE,
    TIRED,
    V_BUS,
    V_CONNECTOR,
    V_IN,
    V_IN_LOW,
    V_LOW,
    W_BUS,
    W_IN,
    Machine,
    T,
    U,
    X,
)

INF = math.inf
_FIRST = 2e-6
"""First step after a change [s]."""
_SPARE = 0.98
"""Share of what the stage can give that load and trickle take together: the rest brings the bus back up [1]."""
_LEAST = 1e-8
_LONGEST = 10.0
"""Longest step over the pack's slowest time constant [1]."""
_GROWTH = 10.0
_AIM = 0.1
"""Change in one step over the source's voltage, or over the stage's range, that the next step aims at [1]."""
_MOST = 0.3
_CLOSE = 2e-3
"""How closely a threshold is met [1]."""
_REST = 1e-4
_BAND = 0.05
"""Over the voltage at which an inlet is held up: what lies between the full draw and none [1]."""


def advance(p: Machine, m: Any, d: Any, x: Any, s: Any, most: int) -> int:
    """Run until the discrete state changes, all is at rest, or `most` steps are taken; say which."""
    for _ in range(most):
        if decide(p, m, d, x):
            x[STEP_NEXT] = _FIRST
            return CHANGED
        if d[C_STOP] <= x[T]:
            return CHANGED
        if step(p, m, d, x, s):
            return SETTLED
    return TIRED


def load_power(p: Machine, load: int, stepped: int) -> float:
    """Return what the load asks of the bus [W]."""
    if load == RUNS:
        return p.p_busy if stepped == 1 else p.p_light
    if load == BOOTS:
        return p.p_boot
    return p.p_peak if load == PEAKS else 0.0


def step(p: Machine, m: Any, d: Any, x: Any, s: Any) -> bool:
    """Take one step of the continuous state; say whether all is at rest."""
    gives = m[SRC] == GIVES or m[SRC] == MOVES
    at = m[AT]
    e = (p.e_1 if at == 1 else p.e_0) if gives else 0.0
    joined = gives and (m[IN] == FED or m[IN] == RAMPS)
    on = m[IN] == FED and gives
    v_in, v_bus, w_in, w_bus = x[V_IN], x[V_BUS], x[W_IN], x[W_BUS]
    p_load = load_power(p, m[LOAD], m[STEP])
    fitted = m[PACK] == FITTED
    ocv = rest_voltage(p, m[SOC])
    e_cells = ocv + x[U]
    target, scale, most = _target(p, m, x, on, at, p_load, e_cells, fitted)
    holds = p.narrow and on and most > 0.0 and not (fitted and (m[BAT] == CLOSED or not p.switched))
    i_most = _most(p, m, e, at, v_in if p.narrow else v_bus, p_load)
    due = INF
    for k in range(CLOCKS):
        if d[k] < due:
            due = d[k]
    g_source = 1.0 / (p.r_line + p.r_in) if joined else 0.0
    tie = 0
    e_tie = e_cells
    if fitted and (m[BAT] == CLOSED or not p.switched):
        tie = 1
    elif fitted:
        tie = 2
        e_tie = e_cells - p.v_diode
    g_pack = 1.0 / (p.r_pack + p.r_switch)
    trickle, wished = 0.0, 0.0
    if m[BAT] == LINEAR and fitted and on and v_bus > e_cells:
        # The load comes first: a flat pack gets what the source has left, as soon as the stage gives it.
        wished = min(p.i_charge_flat * p.v_set, max(_SPARE * most - p_load, 0.0))
        trickle = min(p.i_charge_flat, min(wished, max(x[X] - p_load, 0.0)) / v_bus)
    is_on = p_load > 0.0
    slow = 1.0 / p.tau_slow
    h = x[STEP_NEXT]
    while True:
        at_clock = x[T] + h >= due
        if at_clock:
            h = max(due - x[T], _LEAST)
        decay = math.exp(-h / p.tau)
        x1 = target + (x[X] - target) * decay
        mean = target + (x[X] - target) * (1.0 - decay) * p.tau / h
        v_term = e_cells + p.r_pack * mean
        if p.narrow:
            taken = mean * (1.0 + p.loss_share) + p.loss_idle if on else 0.0
            if holds:
                v_bus1, i_tie, mean, sound = _held(p, x, h, p_load, trickle * v_bus, wished, most, e_tie, g_pack, tie)
                x1 = mean
                taken = mean * (1.0 + p.loss_share) + p.loss_idle
            v_in1, i_source, v_at, _, fine = node(p.c_in, p.g_in, w_in, h, taken, e, g_source, i_most, 0.0, 0.0, 0)
            given = mean if on else 0.0
            if not holds:
                v_bus1, _, _, i_tie, sound = node(
                    p.c_bus, p.g_bus, w_bus, h, p_load - given + trickle * v_bus, 0.0, 0.0, 0.0, e_tie, g_pack, tie
                )
            loss_stage = (taken - given) * h
        else:
            given = 0.0
            if mean > 0.0:
                given = -(mean * v_term * (1.0 + p.loss_share) + p.loss_idle)
            elif mean < 0.0:
                given = -mean * v_term * (1.0 - p.loss_share) - p.loss_idle
            v_bus1, i_source, v_at, i_tie, sound = node(
                p.c_bus, p.g_bus, w_bus, h, p_load - given, e, g_source, i_most, e_tie, g_pack, tie
            )
            v_in1, fine, taken = v_bus1, True, 0.0
            loss_stage = (-given - mean * v_term) * h
        change = max(abs(v_bus1 - v_bus) / p.e_1, abs(v_in1 - v_in) / p.e_1, abs(x1 - x[X]) / scale)
        if h <= _LEAST:
            break
        if not (fine and sound):
            h = max(0.2 * h, _LEAST)
            continue
        share = 1.0
        if is_on:
            share = _crossing(v_bus, v_bus1, p.v_off, share)
        if tie == 2:
            share = _crossing(v_bus, v_bus1, e_cells - p.v_below, share)
        if p.narrow and on:
            share = _crossing(v_in, v_in1, p.v_bad, share)
        if share < 1.0:
            h = max(share * h, _LEAST)
        elif change > _MOST:
            h = max(0.4 * h, _LEAST)
        else:
            break
    if not fine:
        v_in1, i_source, taken = v_in, 0.0, 0.0
    if not sound:
        v_bus1, i_source, i_tie = v_bus, 0.0, 0.0
    i_into = trickle - i_tie + (0.0 if p.narrow else mean)
    w_in1 = 0.5 * p.c_in * v_in1 * v_in1 if p.narrow else 0.0
    w_bus1 = 0.5 * p.c_bus * v_bus1 * v_bus1
    v_source = v_in1 if p.narrow else v_bus1
    s[E_SOURCE] += e * i_source * h
    s[E_PACK] -= ocv * i_into * h
    s[E_LOAD] += p_load * h
    s[E_STORED] += w_in1 - w_in + w_bus1 - w_bus
    lost = (e - v_at) * i_source * h + loss_stage + p.g_bus * v_bus1 * v_bus1 * h
    lost += (ocv - v_bus1) * i_tie * h + (v_bus - ocv) * trickle * h
    if p.narrow:
        lost += p.g_in * v_in1 * v_in1 * h
    else:
        lost += (v_term - ocv) * mean * h
    s[E_LOSS] += lost
    s[I_PEAK] = max(s[I_PEAK], i_source)
    if is_on:
        s[V_LOW] = min(s[V_LOW], v_bus1)
    if joined and m[IN] == FED:
        s[V_IN_LOW] = min(s[V_IN_LOW], v_source)
    if i_source > (p.i_rated_1 if at == 1 else p.i_rated_0) * 1.001:
        s[T_BEYOND] += h
    if tie == 2 and i_tie > 0.0:
        s[T_DIODE] += h
    s[STEPS] += 1.0
    still = p.r_slow * i_into
    u1 = still + (x[U] - still) * math.exp(-h * slow)
    change = max(change, abs(u1 - x[U]) / p.e_1)
    x[T] = due if at_clock and h > _LEAST else x[T] + h
    x[W_IN], x[W_BUS], x[X], x[U] = w_in1, w_bus1, x1, u1
    x[V_IN], x[V_BUS], x[I_SOURCE], x[I_PACK] = v_in1, v_bus1, i_source, i_into
    x[V_CONNECTOR] = v_source + i_source * p.r_in if joined else e
    x[P_LOAD] = p_load
    x[STEP_NEXT] = min(h * min(_GROWTH, max(0.2, _AIM / max(change, 1e-9))), _LONGEST * p.tau_slow)
    return due == INF and h >= p.tau_slow and change < _REST


def _held(
    p: Machine,
    x: Any,
    h: float,
    p_load: float,
    p_trickle: float,
    wished: float,
    most: float,
    e_tie: float,
    g_pack: float,
    tie: int,
) -> tuple[float, float, float, bool]:
    """Return bus [V], pack current [A] and stage power [W] after a step in which the stage holds the bus.

    The stage lags behind what load and bus ask of it: τ·dp/dt = p_load + (w_set − w)/(4·τ) − p, which is critically
    damped. Both are taken at the end of the step, so that p is a line in the energy w, and the node stays a quadratic.
    """
    v_set = min(p.v_set, p.duty_most * x[V_IN]) if p.buck else p.v_set
    asked = p_load + wished + p.g_bus * v_set * v_set
    k = h / p.tau
    fall = k / (4.0 * p.tau) / (1.0 + k)
    w_set = 0.5 * p.c_bus * v_set * v_set
    level = (x[X] + k * asked) / (1.0 + k) + fall * w_set
    pull = 0.5 * p.c_bus * fall
    v, _, _, i_tie, sound = node(
        p.c_bus, p.g_bus + pull, x[W_BUS], h, p_load + p_trickle - level, 0.0, 0.0, 0.0, e_tie, g_pack, tie
    )
    given = level - pull * v * v
    if sound and 0.0 <= given <= most:
        return v, i_tie, given, True
    given = most if not sound or given > most else 0.0
    v, _, _, i_tie, sound = node(
        p.c_bus, p.g_bus, x[W_BUS], h, p_load + p_trickle - given, 0.0, 0.0, 0.0, e_tie, g_pack, tie
    )
    return v, i_tie, given, sound


def _crossing(v0: float, v1: float, threshold: float, share: float) -> float:
    """Return the share of a step after which a falling voltage is just below a threshold; `share` if it is not far off.

    By energy, which a load of constant power takes at a constant pace.
    """
    if v0 >= threshold and v1 < threshold * (1.0 - _CLOSE):
        aim = threshold * (1.0 - 0.5 * _CLOSE)
        return min(share, max((v0 * v0 - aim * aim) / (v0 * v0 - v1 * v1), 0.02))
    return share


def _target(
    p: Machine, m: Any, x: Any, on: bool, at: int, p_load: float, e_cells: float, fitted: bool
) -> tuple[float, float, float]:
    """Return where the regulation takes the stage, the range that this has, and the most that a narrow stage gives."""
    scale = p.p_most if p.narrow else max(p.i_charge_half, p.i_pack_most if p.helps else 0.0, 1e-3)
    if not on:
        return 0.0, scale, 0.0
    limit = source_limit(p, at) * _held_up(p, x[V_CONNECTOR], at)
    moves = m[SRC] == MOVES
    v_bus = x[V_BUS]
    wanted = 0.0
    if fitted and not moves and m[HELP] == ALONE:
        wanted = p.i_charge_flat if m[SOC] == FLAT else p.i_charge_half
        if m[SOC] == FULL:
            wanted = 0.0
    if p.narrow:
        most = min(p.p_most, (limit * x[V_IN] - p.loss_idle) / (1.0 + p.loss_share))
        if p.buck and fitted and m[BAT] == CLOSED and v_bus > p.duty_most * x[V_IN]:
            most = 0.0
        # Where the stage holds the bus, it is stepped together with it.
        return max(min(p_load + v_bus * wanted, most), 0.0), scale, max(most, 0.0)
    if not fitted or v_bus <= 0.0:
        return 0.0, scale, 0.0
    v_term = e_cells + p.r_pack * x[X]
    left = limit * v_bus - p_load
    if m[HELP] == HELPS or m[HELP] == LEAVES:
        lacks = (-left + p.loss_idle) / (1.0 - p.loss_share) if left < 0.0 else 0.0
        return -min(lacks / v_term, p.i_pack_most), scale, 0.0
    if v_bus * p.duty_most <= v_term:
        return 0.0, scale, 0.0
    return min(wanted, max(left - p.loss_idle, 0.0) / (v_term * (1.0 + p.loss_share))), scale, 0.0


def _held_up(p: Machine, v: float, at: int) -> float:
    """Return the share of the source limit that is drawn while the inlet is lower than it should be held [1].

    The line from source to inlet is in the limit itself; this is for a source that gives way by its own limit.
    """
    hold = p.v_hold_1 if at == 1 else p.v_hold_0
    if hold <= 0.0 or p.kind >= HICCUPS:
        return 1.0
    return max(0.0, min(1.0, 1.0 - (hold - v) / (_BAND * hold)))


def _most(p: Machine, m: Any, e: float, at: int, v: float, p_load: float) -> float:
    """Return the greatest current that the source gives at this instant [A]."""
    trip = p.i_trip_1 if at == 1 else p.i_trip_0
    most = trip * p.beyond
    if p.kind == CONSTANT:
        most = trip
    elif p.kind == FOLDS and e > 0.0:
        most = trip * (p.fold + (1.0 - p.fold) * min(v / e, 1.0))
    if m[IN] == RAMPS:
        ramp = p.slew * (p.c_in if p.narrow else p.c_bus)
        if not p.narrow and v > 0.0:
            ramp += p_load / v
        most = min(most, ramp)
    return most

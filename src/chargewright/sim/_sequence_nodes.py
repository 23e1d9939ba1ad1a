"""One capacitor and what hangs on it, over one step.

The step is an implicit one on the energy of the capacitor. It is stable however long it is, so that a bus which stiffly
follows its source costs nothing; a load of constant power and a source at its current limit are met exactly; and what
comes in, goes out, is lost and is stored balances to rounding, whatever the length of the step.
"""

import math

APART, BOTH_WAYS, ONE_WAY = range(3)
"""How a pack is tied to the bus: not, through a closed switch, through a body diode."""
_NOTHING, _FOLLOWS, _LIMITS = range(3)


def stored(c: float, w: float) -> float:
    """Return the voltage [V] of a capacitor `c` [F] that holds an energy `w` [J]."""
    return math.sqrt(2.0 * w / c) if w > 0.0 else 0.0


def node(
    c: float, g: float, w: float, h: float, p: float, e_source: float, g_source: float, i_most: float,
    e_pack: float, g_pack: float, tie: int,
) -> tuple[float, float, float, float, bool]:  # fmt: skip
    """Return the state after a step `h` [s], and whether there is one.

    Voltage [V], source current [A], mean voltage at which it comes in [V], pack current into the node [A].

    ½·c·v² − w = h·(v·i_source + v·i_pack − g·v² − p), a quadratic in v wherever each branch keeps its region: the
    source gives nothing, follows its line, or stands at `i_most`; the pack is tied both ways, or one way. A source at
    its limit comes in at the mean of old and new voltage, which is exact for a ramp. The currents fall with v, so
    that the region follows from where the line would lead. Derived here.
    """
    v_old = stored(c, w)
    conducts = tie == BOTH_WAYS or (tie == ONE_WAY and v_old < e_pack)
    v, region = -1.0, _NOTHING
    for k in range(2):
        region = _FOLLOWS if g_source > 0.0 else _NOTHING
        v = _root(c, g, w, h, p, e_source, g_source, i_most, e_pack, g_pack, conducts, region, v_old)
        if region == _FOLLOWS:
            slope = g_source * (e_source - v)
            if v < 0.0 or slope > i_most:
                region = _LIMITS
            elif slope < 0.0:
                region = _NOTHING
            if region != _FOLLOWS:
                v = _root(c, g, w, h, p, e_source, g_source, i_most, e_pack, g_pack, conducts, region, v_old)
        if tie != ONE_WAY or k == 1 or conducts == (v < e_pack):
            break
        conducts = not conducts
    if v < 0.0:
        return 0.0, 0.0, 0.0, 0.0, False
    i_source, v_at = 0.0, v
    if region == _FOLLOWS:
        i_source = g_source * (e_source - v)
    elif region == _LIMITS:
        i_source, v_at = i_most, 0.5 * (v + v_old)
    return v, i_source, v_at, g_pack * (e_pack - v) if conducts else 0.0, True


def _root(
    c: float, g: float, w: float, h: float, p: float, e_source: float, g_source: float, i_most: float,
    e_pack: float, g_pack: float, conducts: bool, region: int, v_old: float,
) -> float:  # fmt: skip
    """Return the voltage after a step with each branch in a given region; below zero where there is none."""
    a = 0.5 * c + h * g
    b = 0.0
    left = w - h * p
    if region == _FOLLOWS:
        a += h * g_source
        b += h * g_source * e_source
    elif region == _LIMITS:
        b += 0.5 * h * i_most
        left += 0.5 * h * i_most * v_old
    if conducts:
        a += h * g_pack
        b += h * g_pack * e_pack
    inside = b * b + 4.0 * a * left
    return (b + math.sqrt(inside)) / (2.0 * a) if inside >= 0.0 else -1.0

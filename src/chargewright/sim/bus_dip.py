"""A load peak on the bus, in microseconds: what capacitors, source, stage and pack bring, and how low the bus falls.

Four things feed the bus. Its capacitors give at once, less of them the higher the voltage (bias). A source that lies on
the bus follows through its cable's inductance. What comes through a regulated stage stays as it was until the
regulation has answered, then gives up to its greatest power. The pack follows through its lead's inductance: at once
where its switch is closed, else first through the switch's body diode and, some time after the bus has fallen below the
pack, through the closed switch.

The load takes constant power. Left out: the shape of the regulation's answer (it is a delay and a step), what the
regulators of the rails draw differently while the bus moves, and the capacitance behind them.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import OutOfRange
from chargewright.parts.cell import Array
from chargewright.physics.capacitor import biased_capacitance
from chargewright.physics.source import constant_power_voltage

_FINE = 0.1
"""Longest step over the shortest time constant [1]; the method is of fourth order."""
_MOST_STEPS = 40_000
_SETTLED = 8.0
"""Time constants after which what is quick has died away."""
_ANY_LEAD = 1e-9
"""Least inductance of any lead [H]: a few millimetres of copper (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """One or many load peaks; fields broadcast, SI."""

    c_bank: Any
    """Capacitors on the bus without bias, at the low end of their tolerance."""
    v_half: Any = np.inf
    """Bias that leaves half of `c_bank`; inf for none (`physics.capacitor.biased_capacitance`)."""
    bias_exponent: Any = 1.0
    c_rails: Any = 0.0
    """Further capacitance on the bus that does not fall with bias."""
    v_start: Any
    """Bus before the peak."""
    p_before: Any
    p_peak: Any
    """Power taken from the bus before and during the peak."""
    duration: Any
    i_held: Any = 0.0
    """Current of a regulated stage into the bus before the peak; kept for `t_regulate`."""
    p_feed: Any = 0.0
    """Greatest power of that stage afterwards."""
    t_regulate: Any = 0.0
    e_source: Any = 0.0
    """Open voltage of a source that lies on the bus; 0 for none."""
    r_source: Any = 1.0
    l_source: Any = _ANY_LEAD
    i_source_most: Any = np.inf
    """Greatest current that such a source gives before it folds back or trips."""
    e_pack: Any = 0.0
    """Voltage of the pack behind its resistance; 0 for no pack."""
    r_pack: Any = 1.0
    """Resistance to the bus at once, of a closed switch too."""
    r_pack_end: Any = None
    """The same at the end of the peak, polarisation included; `r_pack` if None."""
    l_pack: Any = _ANY_LEAD
    closed: Any = True
    """Whether the pack's switch is closed before the peak."""
    t_switch: Any = 0.0
    """From the bus falling below the pack to the switch being closed."""
    v_diode: Any = np.inf
    """Drop of the body diode of an open switch; inf for none that points to the bus."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dip:
    """How low the bus falls; arrays of one shape."""

    v_lowest: Array
    t_lowest: Array
    v_end: Array
    """At the end of the peak."""
    settles: npt.NDArray[np.bool_]
    """Whether source, stage and pack together can carry the peak to its end."""
    c_start: Array
    """Capacitance of the bus at its voltage before the peak."""


def bus_dip(peak: Peak) -> Dip:
    """Return how low the bus falls in each peak. Raises OutOfRange for a bus without capacitance or voltage."""
    values = {k: getattr(peak, k) for k in Peak.__dataclass_fields__}
    values["r_pack_end"] = values["r_pack"] if peak.r_pack_end is None else peak.r_pack_end
    shape = np.broadcast_shapes(*(np.shape(x) for x in values.values()), (1,))
    p = Peak(**{k: np.broadcast_to(np.asarray(x, dtype=float), shape) for k, x in values.items()})
    c_start = _capacitance(p, p.v_start)
    if np.any(c_start <= 0.0) or np.any(p.v_start <= 0.0):
        raise OutOfRange("a bus dip needs a capacitance on the bus and a bus voltage, both above zero")
    with np.errstate(all="ignore"):
        return _run(p, c_start)


def _capacitance(p: Peak, v: Any) -> Any:
    return biased_capacitance.raw(p.c_bank, v, p.v_half, p.bias_exponent) + p.c_rails


def _run(p: Peak, c_start: Array) -> Dip:
    step, count = _steps(p, c_start)
    with_pack, with_source = p.e_pack > 0.0, p.e_source > 0.0
    v, i_source, i_pack = p.v_start.copy(), np.zeros_like(p.v_start), np.zeros_like(p.v_start)
    # Before the peak the bus rests, so what the pack or the source brought follows from the powers.
    rest = p.p_before / p.v_start - p.i_held
    i_source = np.where(with_source, rest, i_source)
    i_pack = np.where(with_pack & (p.closed > 0.5) & ~with_source, rest, i_pack)
    below = np.full_like(v, np.inf)
    lowest, t_lowest = v.copy(), np.zeros_like(v)
    alive = np.ones(v.shape, dtype=bool)
    done = np.zeros_like(v)
    for k in range(count):
        h = np.minimum(step, np.maximum(p.duration - done, 0.0))
        below = np.where((v < p.e_pack) & ~np.isfinite(below), done, below)
        on = with_pack & ((p.closed > 0.5) | (done >= below + p.t_switch))
        regulated = done >= p.t_regulate
        v, i_source, i_pack = _advance(p, h, v, i_source, i_pack, on, regulated)
        i_pack = np.where(on, i_pack, np.maximum(i_pack, 0.0))
        alive &= np.isfinite(v) & (v > 0.05 * p.v_start)
        v = np.where(alive, v, 0.0)
        done = done + h
        lower = v < lowest
        lowest, t_lowest = np.where(lower, v, lowest), np.where(lower, done, t_lowest)
        if k % 64 == 0 and not np.any(alive & (done < p.duration)):
            break
    late = _late(p, with_pack & ((p.closed > 0.5) | np.isfinite(below + p.t_switch)), with_source)
    longer = alive & (done < p.duration * (1.0 - 1e-9))
    v_end = np.where(longer, np.where(np.isfinite(late), late, 0.0), v)
    lower = longer & (v_end < lowest)
    return Dip(
        v_lowest=np.where(lower, v_end, lowest),
        t_lowest=np.where(lower, p.duration, t_lowest),
        v_end=v_end,
        settles=v_end > 0.0,
        c_start=np.asarray(c_start),
    )


def _steps(p: Peak, c: Array) -> tuple[Array, int]:
    """Return the length of a step and how many there are at most: to the end, or until what is quick has died away."""
    l_pack, l_source = np.maximum(p.l_pack, _ANY_LEAD), np.maximum(p.l_source, _ANY_LEAD)
    pack, source = p.e_pack > 0.0, p.e_source > 0.0
    ring = np.fmin(np.where(pack, np.sqrt(l_pack * c), np.inf), np.where(source, np.sqrt(l_source * c), np.inf))
    lag = np.fmin(np.where(pack, l_pack / p.r_pack, np.inf), np.where(source, l_source / p.r_source, np.inf))
    held = 0.2 * c * p.v_start**2 / np.maximum(np.abs(p.p_peak), 1e-9)
    step = _FINE * np.fmin(np.fmin(ring, 3.0 * lag), 0.5 * held)
    slow = np.fmax(np.where(pack, p.r_pack * c + l_pack / p.r_pack + np.sqrt(l_pack * c), 0.0),
                   np.where(source, p.r_source * c + l_source / p.r_source + np.sqrt(l_source * c), 0.0))  # fmt: skip
    quick = p.t_regulate + np.where(pack, p.t_switch, 0.0) + _SETTLED * slow + np.where(pack | source, held, np.inf)
    length = np.fmin(p.duration, quick)
    longest = int(np.ceil(np.max(length / step)))
    count = min(longest, _MOST_STEPS)
    # With too many steps wanted, all become longer: the slowest case then has the coarsest, still stable, steps.
    return np.maximum(step, length / count), count + 1


def _advance(
    p: Peak, h: Array, v: Array, i_source: Array, i_pack: Array, on: Any, regulated: Any
) -> tuple[Array, Array, Array]:
    """One step of the classical Runge-Kutta method of fourth order."""
    state: tuple[Array, ...] = (v, i_source, i_pack)

    def moved(slope: tuple[Array, ...], share: float) -> tuple[Array, ...]:
        return tuple(x + share * h * s for x, s in zip(state, slope, strict=True))

    first = _slopes(p, state, on, regulated)
    second = _slopes(p, moved(first, 0.5), on, regulated)
    third = _slopes(p, moved(second, 0.5), on, regulated)
    fourth = _slopes(p, moved(third, 1.0), on, regulated)
    mean = [(a + 2.0 * b + 2.0 * c + d) / 6.0 for a, b, c, d in zip(first, second, third, fourth, strict=True)]
    v, i_source, i_pack = (x + h * s for x, s in zip(state, mean, strict=True))
    return v, np.clip(i_source, 0.0, p.i_source_most), i_pack


def _slopes(p: Peak, state: tuple[Array, ...], on: Any, regulated: Any) -> tuple[Array, ...]:
    v, i_source, i_pack = state
    # Regulation brings what is missing, but never lifts the bus beyond where it was.
    wanted = np.where(v < p.v_start, p.p_feed, np.minimum(p.p_feed, p.p_peak))
    stage = np.where(regulated, wanted / v, p.i_held)
    dv = (stage + i_source + i_pack - p.p_peak / v) / _capacitance(p, v)
    lead = np.maximum(p.l_source, _ANY_LEAD)
    d_source = np.where(p.e_source > 0.0, (p.e_source - p.r_source * i_source - v) / lead, 0.0)
    d_source = np.where((i_source >= p.i_source_most) & (d_source > 0.0), 0.0, d_source)
    push = p.e_pack - np.where(on, 0.0, p.v_diode) - p.r_pack * i_pack - v
    conducts = (p.e_pack > 0.0) & (on | (push > 0.0) | (i_pack > 0.0))
    d_pack = np.where(conducts, push / np.maximum(p.l_pack, _ANY_LEAD), 0.0)
    return dv, d_source, d_pack


def _late(p: Peak, with_pack: Any, with_source: Any) -> Array:
    """Return where the bus rests for the remainder of the peak; nan where it cannot."""
    by_source = np.where(with_source, constant_power_voltage.raw(p.e_source, p.r_source, p.p_peak - p.p_feed), np.nan)
    too_much = (p.p_peak - p.p_feed) / by_source > p.i_source_most
    left = p.p_peak - p.p_feed - np.where(too_much, p.i_source_most * p.e_pack, 0.0)
    by_pack = np.where(with_pack, constant_power_voltage.raw(p.e_pack, p.r_pack_end, left), np.nan)
    alone = np.where(p.p_feed >= p.p_peak, p.v_start, np.nan)
    rest = np.where(with_source & ~too_much, by_source, np.where(left > 0.0, by_pack, np.fmax(alone, by_pack)))
    return np.asarray(np.where(np.isfinite(rest), rest, alone))

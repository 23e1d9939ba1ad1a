"""What an inner amplifier's comparator makes of ripple and of its own edges: average current mode is sampled too.

The comparator meets the amplified coil current with its ripple, and meets it once a period. Two things follow, both
derived here; with a = 2·π·f_zero, b = 2·π·f_pole the amplifier is g·(a/s + (1 − a/b)/(1 + s/b)).

Slope: the ripple falls through the ramp, so that a volt moves the edge less. The slope of the amplified current is the
amplifier's answer to the coil's two voltages over l, in its periodic steady state at the edge.

Edges before: a moved edge makes a step of current, (v/l)·T for a whole period of duty, or in discontinuous conduction a
pulse of d_2·T. What the amplifier makes of it m·T later is g·h(m·T), and the comparator meets the sum over all m ≥ 1,
where the mean model has the part at the frequency itself. With E = exp(−s·T) and the step:

    T·Σ h(m·T)·E^m = (v·T/l)·(a·T·E/(1 − E)² + (1 − a/b)·(E/(1 − E) − q·E/(1 − q·E))),  q = exp(−b·T)

Between stiff voltages that is the whole inner loop gain, whose poles are those of the sampled current; as the pole
moves up and the zero down it becomes peak current mode's 1/(exp(s·T) − 1). An edge that is late by t is t nearer to the
next comparison.

Source for the effect: J. Sun, R. M. Bass, Modeling and practical design issues for average current control, IEEE APEC
1999; W. Tang, F. C. Lee, R. B. Ridley, Small-signal modeling of average current-mode control, IEEE Trans. Power
Electronics 8(2), 1993 (from memory).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from chargewright.base.errors import OutOfRange
from chargewright.loops.compensator import Transconductance
from chargewright.loops.near_unity import emptied_for
from chargewright.loops.stage import Operating, StagePoints, least_pulse
from chargewright.loops.within_period import flowing

_MOST = 1e9
"""Period over the time constant of the amplifier's pole that still counts as finite [1]; its share there is nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Inner:
    """The way from coil current to comparator: g·(1 + w_zero/s)/(1 + s/w_pole) volts per ampere."""

    g: Any
    w_zero: Any
    w_pole: Any

    @classmethod
    def of(cls, amplifier: Transconductance, r_sense: Any) -> "Inner":
        """Return it for an amplifier with its network and a sensed voltage per ampere [Ω]."""
        c_z, c_p = amplifier.c_z, amplifier.c_p
        with np.errstate(divide="ignore"):
            w_pole = (c_z + c_p) / (amplifier.r_z * c_z * np.asarray(c_p, dtype=float))
        gain = amplifier.gm * amplifier.r_z * c_z / (c_z + c_p)
        return cls(g=r_sense * gain, w_zero=1.0 / (amplifier.r_z * c_z), w_pole=w_pole)

    def gain(self, s: Any) -> Any:
        """Return the volts per ampere [Ω]."""
        return self.g * (1.0 + self.w_zero / s) / (1.0 + s / self.w_pole)


def steeper(inner: Inner, p: StagePoints, at: Operating, per_volt: Any) -> Any:
    """Return the duty per volt at the comparator where the ripple's slope adds to that of the ramp.

    per_volt : of the ramp alone: one over its height [1/V]
    """
    d, fall, k = at.duty, _fall(p, at), least_pulse(p)
    b = np.minimum(inner.w_pole * p.period, _MOST)
    on, off = (v / p.inductance for v in (at.v_rise, at.v_fall))
    whole = -1.0 / np.expm1(-b)
    quick = on * -np.expm1(-b * d) + off * np.exp(-b * (1.0 - fall)) * np.expm1(-b * fall)
    quick = quick + np.where(k > 0.0, p.v_out / p.inductance * (np.exp(-b * (d - k)) - np.exp(-b * d)), 0.0)
    top = np.where(at.discontinuous, on * d * p.period - p.i_coil, 0.5 * on * d * p.period)
    slope = inner.g * (inner.w_zero * top + (1.0 - inner.w_zero / inner.w_pole) * quick * whole)
    return per_volt / (1.0 + per_volt * p.period * slope)


def edges_before(inner: Inner, p: StagePoints, at: Operating, s: Any, t_delay: Any) -> Any:
    """Return the volts at the comparator per duty that the mean model leaves out [V].

    s : on the imaginary axis [1/s]; t_delay : from comparator to edge [s], below a period, else OutOfRange
    """
    x, fall, t = s * p.period, _fall(p, at), t_delay / p.period
    if np.any(np.asarray(t) >= 1.0):
        raise OutOfRange(
            f"the edge comes {np.max(t):.3g} of a period after its comparison; an inner current loop is modelled for "
            "less than one: take a lower switching frequency or a quicker controller"
        )
    step = (at.v_on + at.v_off) * p.period / p.inductance
    b = np.minimum(inner.w_pole * p.period, _MOST)
    before = np.exp(-x)
    once = before / -np.expm1(-x)
    quick = 1.0 - inner.w_zero / inner.w_pole
    fading = before / (1.0 - before * np.exp(-b))
    lasts = inner.w_zero * p.period * (once / -np.expm1(-x) - t * once)
    lasts = lasts + quick * (once - np.exp(-b * (1.0 - t)) * fading)
    mean = 1.0 / x
    if np.any(at.discontinuous):
        ended = np.maximum(1.0 - t - fall, 0.0)
        ends = inner.w_zero * p.period * fall * once
        ends = ends + quick * (np.exp(-b * ended) - np.exp(-b * (1.0 - t))) * fading
        lasts = np.where(at.discontinuous, ends, lasts)
        mean = np.where(at.discontinuous, flowing(fall, x), mean)
    late = np.exp(-s * t_delay) if np.any(t_delay) else 1.0
    return step * (inner.g * lasts - late * inner.gain(s) * mean)


def voltage_met(inner: Inner, p: StagePoints, at: Operating, share: Any, s: Any) -> Any:
    """Return the volts at the comparator, per volt on the coil, that the mean model leaves out [1].

    The voltage drives the coil for the last `share` of each period until the edge. Of a pulse of voltage an age a·T ago
    the amplifier holds (a·w_zero·T + (1 − w_zero/w_pole)·(1 − exp(−w_pole·T·a)))·g/l: summed over all such windows. In
    discontinuous conduction the coil forgets, and nothing is added.
    """
    x = s * p.period
    b = np.minimum(inner.w_pole * p.period, _MOST)
    before, own = np.exp(-x), flowing(share, x)
    once = 1.0 / -np.expm1(-x)
    aged = (own - share * np.exp(-x * share)) / x
    found = inner.w_zero * p.period * (own * before * once + aged) * once
    fading = flowing(share, x + b) / (1.0 - before * np.exp(-b))
    found = found + (1.0 - inner.w_zero / inner.w_pole) * (own * once - fading)
    more = inner.g * found - inner.gain(s) * share / x
    return np.where(at.discontinuous, 0.0, p.period / p.inductance * more)


def _fall(p: StagePoints, at: Operating) -> Any:
    """Return the share of the period in which the coil is emptied [1]."""
    k = least_pulse(p)
    with np.errstate(all="ignore"):
        lean = np.where(k > 0.0, emptied_for(p, at.duty, k), at.duty * at.v_on / at.v_off)
    return np.where(at.discontinuous, lean, 1.0 - at.duty)

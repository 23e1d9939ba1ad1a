"""Modulators: voltage mode, peak current mode with its sampling, average current mode, each with its inner loop."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Duty, Ratio, VoltsPerSecond
from chargewright.loops.stage import Linear, Operating, StagePoints


@relation
def sampling_quality(duty: Duty, slope: Ratio) -> Ratio:
    """Return the quality factor of the double pole at half the switching frequency that peak current mode has.

        q = 1/(π·(slope·(1 − duty) − 0.5))

    duty  : share of the period in which the coil is charged [1]
    slope : (rise of the sensed current + added ramp)/rise of the sensed current [1]
    returns the quality factor, negative where the current oscillates [1]; all arguments broadcast.

    Holds in continuous conduction. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. B. Ridley, A new continuous-time model for current-mode control, IEEE Trans. Power Electronics 6(2), 1991
    (title confirmed by look-up; formula from memory).
    """
    return 1.0 / (np.pi * (slope * (1.0 - duty) - 0.5))


@relation
def least_slope(duty: Duty) -> Ratio:
    """Return the slope factor at which peak current mode begins to oscillate at half the switching frequency.

        slope = 0.5/(1 − duty)

    duty : share of the period in which the coil is charged [1]
    returns (rise of the sensed current + added ramp)/rise of the sensed current [1].

    Holds in continuous conduction. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. B. Ridley, A new continuous-time model for current-mode control, IEEE Trans. Power Electronics 6(2), 1991
    (title confirmed by look-up; formula from memory).
    """
    return 0.5 / (1.0 - duty)


@relation
def slope_share(rise: VoltsPerSecond, ramp: VoltsPerSecond, fall: VoltsPerSecond) -> Ratio:
    """Return how much of its swing of slopes peak current mode compares with: one half is the edge of oscillation.

        share = (rise + ramp)/(rise + fall)

    rise : of the sensed current while the coil is charged, negative where it falls there too [V/s]
    ramp : that is added [V/s]
    fall : of the sensed current while the coil is emptied, counted positive [V/s]
    returns slope factor times (1 − duty), from both slopes themselves [1]; all arguments broadcast.

    Holds in continuous conduction.

    Source: R. B. Ridley, A new continuous-time model for current-mode control, IEEE Trans. Power Electronics 6(2), 1991
    (title confirmed by look-up; from memory), with 1 − duty = rise/(rise + fall).
    """
    return (rise + ramp) / (rise + fall)


@dataclass(frozen=True, slots=True, kw_only=True)
class VoltageMode:
    """The duty is control voltage over ramp."""

    v_ramp: Any = 1.0
    """Height of the ramp [V]."""
    by_input: bool = False
    """Whether the ramp grows with the voltage that the moved legs swing, so that the loop gain does not (feed-forward):
    the input voltage for a buck, the output voltage for a boost, their sum where both legs move; `v_ramp` at 1 V."""
    t_delay: Any = 0.0
    """Delay of comparator, driver and pulse [s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakCurrent:
    """The pulse ends when the sensed coil current plus a ramp meets the control voltage."""

    r_sense: Any
    """Sensed voltage per ampere of coil current [Ω]."""
    ramp: Any = 0.0
    """Slope of the added ramp [V/s]."""
    t_delay: Any = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AverageCurrent:
    """An inner amplifier compares the sensed coil current with the control voltage; its output meets a ramp."""

    r_sense: Any
    gain: Any
    """Gain of the inner amplifier above its zero [1]."""
    f_zero: Any
    """Below this its gain rises as an integrator's [Hz]."""
    f_pole: Any = np.inf
    v_ramp: Any = 1.0
    by_input: bool = False
    """As in voltage mode."""
    t_delay: Any = 0.0


def sampling(mod: PeakCurrent, p: StagePoints, at: Operating) -> Any:
    """Return the slope share of each point, where one half oscillates; nan where the mode does not sample.

    It does in continuous conduction only: a current that starts from zero each period remembers nothing.
    """
    rise, fall = (mod.r_sense * v / p.inductance for v in (at.v_rise, at.v_fall))
    return np.where(at.discontinuous, np.nan, slope_share.raw(rise, mod.ramp, fall))


Modulator = VoltageMode | PeakCurrent | AverageCurrent


def with_modulator(
    m: Linear, mod: Modulator, p: StagePoints, at: Operating, s: Any, *, counted: bool = False
) -> Linear:
    """Return the model by the control voltage instead of by the duty: modulator, delay and inner loop taken in.

    counted : for counting poles, all delays left out and the sampling of peak current mode as a polynomial

    The duty is d = g·v_c − h_i·i + h_g·v_in + h_o·v_out; substituted, it changes every coefficient.

    Sources: R. B. Ridley (1991) for the gains of peak current mode and its sampling, s·T/(exp(s·T) − 1) as it is
    instead of the paper's second-order form; R. D. Middlebrook, Modeling current-programmed buck and boost regulators,
    IEEE Trans. Power Electronics 4(1), 1989 for the discontinuous mode; average current mode as a loop around the
    averaged stage (derived here). From memory.
    """
    g, h_i, h_g, h_o = _duty_from(mod, p, at, s, counted)
    return Linear(
        m.inductance,
        a_i=_plus(m.a_i, m.a_d, h_i, -1.0),
        a_g=_plus(m.a_g, m.a_d, h_g),
        a_o=_plus(m.a_o, m.a_d, h_o),
        a_d=m.a_d * g,
        b_i=_plus(m.b_i, m.b_d, h_i, -1.0),
        b_g=_plus(m.b_g, m.b_d, h_g),
        b_o=_plus(m.b_o, m.b_d, h_o),
        b_d=m.b_d * g,
        c_i=_plus(m.c_i, m.c_d, h_i, -1.0),
        c_g=_plus(m.c_g, m.c_d, h_g),
        c_o=_plus(m.c_o, m.c_d, h_o),
        c_d=m.c_d * g,
    )


def _plus(own: Any, by_duty: Any, h: Any, sign: float = 1.0) -> Any:
    return own if isinstance(h, float) and h == 0.0 else own + sign * by_duty * h


def _none_or(x: Any) -> Any:
    """Return 0.0 for an array of zeros, so that what is not there costs nothing."""
    return x if np.any(x) else 0.0


def _late(t_delay: Any, s: Any, counted: bool) -> Any:
    return 1.0 if counted or not np.any(t_delay) else np.exp(-s * t_delay)


def _duty_from(mod: Modulator, p: StagePoints, at: Operating, s: Any, counted: bool) -> tuple[Any, Any, Any, Any]:
    if isinstance(mod, PeakCurrent):
        return _peak_current(mod, p, at, s, counted)
    g, by_in, by_out = _ramp(mod, p, at)
    g = g * _late(mod.t_delay, s, counted)
    if isinstance(mod, VoltageMode):
        return g, 0.0, by_in, by_out
    w_zero, w_pole = 2.0 * np.pi * mod.f_zero, 2.0 * np.pi * mod.f_pole
    inner = mod.gain * (1.0 + w_zero / s) / (1.0 + s / w_pole) * g
    return inner, inner * mod.r_sense, by_in, by_out


def _ramp(mod: VoltageMode | AverageCurrent, p: StagePoints, at: Operating) -> tuple[Any, Any, Any]:
    """Return duty per volt at the comparator, and per volt at input and output, which move a ramp that follows."""
    if not mod.by_input:
        return 1.0 / mod.v_ramp, 0.0, 0.0
    top = p.topology
    swing = top.u_d * p.v_in - top.w_d * p.v_out
    by_in, by_out = (_none_or(-k * at.duty / swing) for k in (top.u_d, -top.w_d))
    return 1.0 / (mod.v_ramp * swing), by_in, by_out


def _peak_current(mod: PeakCurrent, p: StagePoints, at: Operating, s: Any, counted: bool) -> tuple[Any, Any, Any, Any]:
    top = p.topology
    rise = mod.r_sense * at.v_rise / p.inductance
    f_m = _late(mod.t_delay, s, counted) / ((rise + mod.ramp) * p.period)
    x = s * p.period
    sampled = 1.0 - 0.5 * x + (x / np.pi) ** 2 if counted else x / np.expm1(x)
    sampling = np.where(at.discontinuous, 0.0, sampled)
    half = p.period * mod.r_sense / (2.0 * p.inductance)
    # Where the current returns to zero each period its mean no longer counts, only how fast it rises.
    by_on = -half * np.where(at.discontinuous, 2.0 * at.duty, at.duty * (2.0 - at.duty))
    by_off = half * np.where(at.discontinuous, 0.0, (1.0 - at.duty) ** 2)
    h_g = by_on - (1.0 - top.u_d) * by_off
    h_o = -(1.0 + top.w_d) * by_on + by_off
    return f_m, f_m * mod.r_sense * sampling, f_m * h_g, f_m * h_o

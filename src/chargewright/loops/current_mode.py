"""Modulators: voltage mode, peak current mode with its sampling, average current mode, each with its inner loop."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Duty, Ratio, VoltsPerSecond
from chargewright.loops.inner_loop import Inner, edges_before, steeper, voltage_met
from chargewright.loops.response import Response
from chargewright.loops.stage import Linear, Operating, StagePoints, least_pulse, losses
from chargewright.loops.within_period import exact, flowing


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
    """From the instant at which the control counts to the edge [s]: comparator, driver, and computing if it is sampled.
    A ramp has no delay of its own."""
    sampled: bool = False
    """Whether one sample a period makes the duty, so that ripple does not meet a ramp."""


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
    sampled: bool = False

    @property
    def inner(self) -> Inner:
        """The way from coil current to comparator."""
        return Inner(g=self.r_sense * self.gain, w_zero=2.0 * np.pi * self.f_zero, w_pole=2.0 * np.pi * self.f_pole)


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
    return _substituted(m if counted else exact(m, p, at, s), *_duty_from(mod, p, at, s, counted))


def with_inner_open(m: Linear, mod: VoltageMode, own: Inner, p: StagePoints, at: Operating, s: Any) -> Linear:
    """Return the model by the voltage at the comparator of an inner loop that is open at the frequency itself.

    own : from coil current to comparator; its ripple and what it samples of the edges before count as when it is closed
    """
    g, h_g, h_o = _compared(mod, own, p, at, s)
    return _substituted(exact(m, p, at, s), g, 0.0, h_g, h_o)


def _substituted(m: Linear, g: Any, h_i: Any, h_g: Any, h_o: Any) -> Linear:
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
    if isinstance(mod, VoltageMode):
        g, by_in, by_out = _ramp(mod, p, at)
        return g * _late(mod.t_delay, s, counted), 0.0, by_in, by_out
    own = mod.inner
    g, h_g, h_o = _compared(mod, own, p, at, s, counted)
    by_coil = own.gain(s) * g
    return by_coil / mod.r_sense, by_coil, h_g, h_o


def _compared(
    mod: VoltageMode | AverageCurrent, own: Inner, p: StagePoints, at: Operating, s: Any, counted: bool = False
) -> tuple[Any, Any, Any]:
    """Return duty by the voltage at an inner amplifier's comparator, and by input and output voltage."""
    g, by_in, by_out = _ramp(mod, p, at)
    late = _late(mod.t_delay, s, counted)
    if p.averaged:
        return g * late, by_in, by_out
    steep = g if mod.sampled else steeper(own, p, at, g)
    share = steep / g
    if counted:
        return steep, by_in * share, by_out * share
    share = late * share / (1.0 + steep * edges_before(own, p, at, s, mod.t_delay))
    h_g, h_o = _voltages_met(own, p, at, s)
    return g * share, (by_in - g * h_g) * share, (by_out - g * h_o) * share


def inner_gain(mod: VoltageMode, own: Inner, p: StagePoints, at: Operating, s: Any, found: Response) -> Any:
    """Return the gain of an inner loop as its comparator samples it: the sum over what all edges before bring.

    found : what coil current and ports answer to the control of the modulator, its delay in them

    It rises with the amplifier's gain as a loop gain does, its poles are those of the stage, and at half the switching
    frequency it is real: below −1 there, the current oscillates at half that frequency.
    """
    if p.averaged:
        return own.gain(s) * found.i_coil
    g = _ramp(mod, p, at)[0]
    steep = g if mod.sampled else steeper(own, p, at, g)
    h_g, h_o = _voltages_met(own, p, at, s)
    mean = own.gain(s) * found.i_coil + h_g * found.v_in + h_o * found.v_out
    return steep * (edges_before(own, p, at, s, mod.t_delay) + mean / g)


def _voltages_met(own: Inner, p: StagePoints, at: Operating, s: Any) -> tuple[Any, Any]:
    """Return the volts at the comparator per volt at input and output that are not in the mean of the coil current."""
    top, d, k = p.topology, at.duty, least_pulse(p)
    on = voltage_met(own, p, at, d, s)
    off = voltage_met(own, p, at, 1.0, s) - on
    h_o = -(1.0 + top.w_d) * on - off
    if np.any(k > 0.0):
        h_o = h_o + np.where(k > 0.0, on - voltage_met(own, p, at, d - k, s), 0.0)
    return on + (1.0 - top.u_d) * off, h_o


def compared(
    mod: VoltageMode | AverageCurrent, own: Inner, p: StagePoints, at: Operating, s: Any, g: Any, counted: bool = False
) -> Any:
    """Return what an inner amplifier's ripple and edges leave of the duty per volt `g` of the ramp alone, delay in."""
    late = _late(mod.t_delay, s, counted)
    if p.averaged:
        return late
    steep = g if mod.sampled else steeper(own, p, at, g)
    if counted:
        return steep / g
    return late * (steep / g) / (1.0 + steep * edges_before(own, p, at, s, mod.t_delay))


def _ramp(mod: VoltageMode | AverageCurrent, p: StagePoints, at: Operating) -> tuple[Any, Any, Any]:
    """Return duty per volt at the comparator, and per volt at input and output, which move a ramp that follows."""
    if not mod.by_input:
        return 1.0 / mod.v_ramp, 0.0, 0.0
    top = p.topology
    swing = top.u_d * p.v_in - top.w_d * p.v_out
    by_in, by_out = (_none_or(-k * at.duty / swing) for k in (top.u_d, -top.w_d))
    return 1.0 / (mod.v_ramp * swing), by_in, by_out


def _peak_current(mod: PeakCurrent, p: StagePoints, at: Operating, s: Any, counted: bool) -> tuple[Any, Any, Any, Any]:
    """Return duty by control voltage, coil current, input and output voltage: what the comparator meets at its instant.

    The current there is a step for each edge before, less than a period ago none: (T/l)·v/(exp(y) − 1) of the duty,
    y = s·T + r·T/l, which is y/(exp(y) − 1) of its mean over all times. A voltage that drives the coil for a share a of
    each period until the instant leaves (T/l)·e(a)/(1 − exp(−y)) there, with e of `within_period`; what the mean of the
    current already brings of it, times the share a, is taken off. An edge that comes late by t answers late, but meets
    only edges that are as late: the delay is in the gain, not in the inner loop. Derived here.
    """
    by_volt = mod.r_sense * p.period / p.inductance
    f_m = 1.0 / ((mod.r_sense * at.v_rise / p.inductance + mod.ramp) * p.period)
    lean, d, k = at.discontinuous, at.duty, least_pulse(p)
    x = s * p.period
    if counted:
        # The polynomial of second order in x, and of the voltages their limit at low frequency.
        memory = np.where(lean, 0.0, 1.0 - 0.5 * x + (x / np.pi) ** 2)
        by_on = np.where(lean, d, d * (1.0 - 0.5 * d))
        by_off = np.where(lean, 0.0, 0.5 * (1.0 - d) ** 2)
        by_kept = np.where(lean, k, k * (1.0 - d + 0.5 * k))
    else:
        # Where the current returns to zero each period nothing is left of the one before.
        y = x + np.where(lean, 0.0, losses(p, at) * p.period / p.inductance)
        before = np.where(lean, 0.0, np.exp(-y))
        over, charged = 1.0 / (1.0 - before), flowing(d, y)
        memory = y * before * over
        by_on = (charged - d * before) * over - _while(mod.t_delay, p, y)
        by_off = np.where(lean, 0.0, flowing(1.0, y) - charged - (1.0 - d) * before) * over
        by_kept = (charged - flowing(d - k, y) - k * before) * over if np.any(k > 0.0) else 0.0
    top = p.topology
    h_g = -by_on - (1.0 - top.u_d) * by_off
    h_o = (1.0 + top.w_d) * by_on + by_off - by_kept
    gain = f_m * by_volt
    return f_m * _late(mod.t_delay, s, counted), f_m * mod.r_sense * memory, gain * h_g, gain * h_o


def _while(t_delay: Any, p: StagePoints, y: Any) -> Any:
    """Return e of the time between the comparator's instant and its edge."""
    return flowing(t_delay / p.period, y) if np.any(t_delay) else 0.0

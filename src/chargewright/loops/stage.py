"""The averaged stage, made linear at its operating points: any topology, continuous or discontinuous conduction.

Each stage is three lines: the mean voltage on the coil, the mean current it takes at its input and gives at its output,
each a function of coil current, input voltage, output voltage and duty. Their twelve partial derivatives are the
small-signal model; `loops.response` turns them into transfer functions with whatever hangs on the ports.

Continuous conduction, u and w the shares of the period in which the coil is joined to input and output:

    l·di/dt = u·v_in − w·v_out − r·i        i_in = u·i        i_out = w·i

Discontinuous conduction, with the charge per period that the pulse itself carries, g = duty²·T·v_on/(2·l):

    l·di/dt = duty·(v_on + v_off) − q·v_off,  q = 2·l·i/(duty·T·v_on)
    i_in = g, and all of i for a boost        i_out = i − g, and all of i for a buck

Near unity gain a four-switch stage keeps the output leg's least pulse and moves the input leg: the discontinuous mode
of that is in `loops.near_unity`.

Sources: R. D. Middlebrook, S. Cuk, A general unified approach to modelling switching-converter power stages, IEEE PESC
1976; R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 7 and 11; for the
coil's own dynamics in discontinuous conduction J. Sun, D. M. Mitchell, M. F. Greuel, P. T. Krein, R. M. Bass, Averaged
modeling of PWM converters operating in discontinuous conduction mode, IEEE Trans. Power Electronics 16(4), 2001 (from
memory).
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from chargewright.base.errors import OutOfRange
from chargewright.loops.near_unity import pulse_derivatives, pulse_duty


class Topology(NamedTuple):
    """Shares of the period as straight lines of the duty: u = u_0 + u_d·duty, w = w_0 + w_d·duty. May be arrays."""

    u_0: Any
    u_d: Any
    w_0: Any
    w_d: Any


BUCK = Topology(0.0, 1.0, 1.0, 0.0)
BOOST = Topology(1.0, 0.0, 1.0, -1.0)
BUCK_BOOST = Topology(0.0, 1.0, 1.0, -1.0)
"""With its output counted positive: the four-switch stage with both legs switching at once, or the inverting one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StagePoints:
    """A stage at its operating points; all fields broadcast to (n, 1)."""

    topology: Topology
    v_in: Any
    v_out: Any
    i_coil: Any
    """Mean coil current, positive from input to output [A]."""
    inductance: Any
    """At that current [H]."""
    period: Any
    """Switching period [s]."""
    r_coil: Any = 0.0
    r_in_high: Any = 0.0
    r_in_low: Any = 0.0
    r_out_low: Any = 0.0
    r_out_high: Any = 0.0
    emulate: Any = True
    """Whether the current stops at zero (diode, or a low side that turns off there): only then a pulse ends early."""
    averaged: bool = False
    """Whether edges and pulses count by their mean over the period alone, as in textbooks; see `within_period`."""


class Linear(NamedTuple):
    """Partial derivatives of coil voltage (a), input current (b) and output current (c): by i, v_in, v_out, control."""

    inductance: Any
    a_i: Any
    a_g: Any
    a_o: Any
    a_d: Any
    b_i: Any
    b_g: Any
    b_o: Any
    b_d: Any
    c_i: Any
    c_g: Any
    c_o: Any
    c_d: Any


class Operating(NamedTuple):
    """Where the stage stands."""

    duty: Any
    discontinuous: Any
    v_on: Any
    """Voltage on the coil while it is charged [V]."""
    v_off: Any
    """The same while it is emptied, counted positive [V]."""
    v_rise: Any
    """On the coil itself at the end of the pulse, drops taken off [V]: what the slope of its current follows."""
    v_fall: Any


def operating(p: StagePoints) -> Operating:
    """Return duty, conduction mode and coil voltages.

    Raises OutOfRange where no duty between 0 and 1 exists.
    """
    at = _operating(p)
    if not np.all((at.duty > 0.0) & (at.duty < 1.0)):
        raise OutOfRange(
            f"a stage would need a duty of {np.nanmin(at.duty):.3g} … {np.nanmax(at.duty):.3g}: "
            "its voltages do not fit its topology"
        )
    return at


def reachable(p: StagePoints) -> Any:
    """Return where a duty between 0 and 1 exists."""
    duty = _operating(p).duty
    return (duty > 0.0) & (duty < 1.0)


def _operating(p: StagePoints) -> Operating:
    top = p.topology
    v_on = p.v_in - (1.0 + top.w_d) * p.v_out
    v_off = p.v_out - (1.0 - top.u_d) * p.v_in
    at_0 = _coil_voltage(p, top.u_0, top.w_0)
    full = _coil_voltage(p, top.u_0 + top.u_d, top.w_0 + top.w_d)
    with np.errstate(all="ignore"):
        continuous = at_0 / (at_0 - full)
        broken = np.sqrt(2.0 * p.inductance * p.i_coil * v_off / (p.period * v_on * (v_on + v_off)))
        lean = np.asarray(p.emulate, dtype=bool) & (v_on > 0.0) & (v_off > 0.0) & (broken < v_off / (v_on + v_off))
    kept = least_pulse(p)
    if np.any(kept > 0.0):
        held, rests = pulse_duty(p, kept)
        lean = np.where(kept > 0.0, np.asarray(p.emulate, dtype=bool) & rests, lean)
        broken = np.where(kept > 0.0, held, broken)
    drop_on = _resistance(p, top.u_0 + top.u_d, top.w_0 + top.w_d) * p.i_coil
    drop_off = _resistance(p, top.u_0, top.w_0) * p.i_coil
    v_rise, v_fall = np.where(lean, v_on, v_on - drop_on), np.where(lean, v_off, v_off + drop_off)
    return Operating(np.where(lean, broken, continuous), lean, v_on, v_off, v_rise, v_fall)


def least_pulse(p: StagePoints) -> Any:
    """Return the pulse that the output leg keeps while the input leg is moved, over the period [1]; 0 for most."""
    return np.where(np.asarray(p.topology.w_d) == 0.0, 1.0 - np.asarray(p.topology.w_0), 0.0)


def _coil_voltage(p: StagePoints, u: Any, w: Any) -> Any:
    return u * p.v_in - w * p.v_out - _resistance(p, u, w) * p.i_coil


def _resistance(p: StagePoints, u: Any, w: Any) -> Any:
    return p.r_coil + u * p.r_in_high + (1.0 - u) * p.r_in_low + w * p.r_out_high + (1.0 - w) * p.r_out_low


def losses(p: StagePoints, at: Operating) -> Any:
    """Return the mean resistance in the way of the coil current in continuous conduction [Ω]."""
    top = p.topology
    return _resistance(p, top.u_0 + top.u_d * at.duty, top.w_0 + top.w_d * at.duty)


def linear(p: StagePoints, at: Operating | None = None) -> Linear:
    """Return the small-signal model of every point, by the duty."""
    at = operating(p) if at is None else at
    full = _continuous(p, at)
    if not np.any(at.discontinuous):
        return full
    lean = _discontinuous(p, at)
    kept = least_pulse(p)
    if np.any(kept > 0.0):
        both = Linear(p.inductance, *pulse_derivatives(p, at.duty, kept))
        lean = Linear(*(np.where(kept > 0.0, x, y) for x, y in zip(both, lean, strict=True)))
    if np.all(at.discontinuous):
        return lean
    return Linear(*(np.where(at.discontinuous, x, y) for x, y in zip(lean, full, strict=True)))


def _continuous(p: StagePoints, at: Operating) -> Linear:
    top = p.topology
    u, w = top.u_0 + top.u_d * at.duty, top.w_0 + top.w_d * at.duty
    r_by_duty = top.u_d * (p.r_in_high - p.r_in_low) + top.w_d * (p.r_out_high - p.r_out_low)
    return Linear(
        p.inductance,
        a_i=-losses(p, at),
        a_g=u,
        a_o=-w,
        a_d=top.u_d * p.v_in - top.w_d * p.v_out - r_by_duty * p.i_coil,
        b_i=u,
        b_g=0.0,
        b_o=0.0,
        b_d=top.u_d * p.i_coil,
        c_i=w,
        c_g=0.0,
        c_o=0.0,
        c_d=top.w_d * p.i_coil,
    )


def _discontinuous(p: StagePoints, at: Operating) -> Linear:
    """Resistances are left out: the stage itself damps far more in this mode."""
    alpha, beta = 1.0 - p.topology.u_d, 1.0 + p.topology.w_d
    with np.errstate(all="ignore"):
        q = 2.0 * p.inductance * p.i_coil / (at.duty * p.period * at.v_on)
        q_by_on = -q / at.v_on
        g_by_duty = at.duty * p.period * at.v_on / p.inductance
        g_by_on = at.duty**2 * p.period / (2.0 * p.inductance)

        def by(on: Any, off: Any) -> Any:
            return at.duty * (on + off) - q * off - at.v_off * q_by_on * on

        return Linear(
            p.inductance,
            a_i=-q * at.v_off / p.i_coil,
            a_g=by(1.0, -alpha),
            a_o=by(-beta, 1.0),
            a_d=at.v_on + at.v_off + q * at.v_off / at.duty,
            b_i=alpha + 0.0 * at.duty,
            b_g=(1.0 - alpha) * g_by_on,
            b_o=-(1.0 - alpha) * g_by_on * beta,
            b_d=(1.0 - alpha) * g_by_duty,
            c_i=1.0 + 0.0 * at.duty,
            c_g=(beta - 1.0) * g_by_on,
            c_o=-(beta - 1.0) * g_by_on * beta,
            c_d=(beta - 1.0) * g_by_duty,
        )

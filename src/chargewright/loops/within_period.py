"""What the mean over the period leaves out: edges and pulses at their place in it, exact between stiff voltages.

A pulse begins at the clock and its end is moved. A moved edge shifts the coil's voltage for a moment: the current takes
a step there, and what is measured at a frequency follows from when that step begins and ends (natural sampling: an edge
answers to the control at its own instant, with no delay). With x = s·T, a window of the share a of the period, and

    e(a) = (1 − exp(−x·a))/x        f(a) = (a − e(a))/x

a current that flows for a has e(a)·T of its phasor; a voltage that drives the coil for a leaves (T/l)·f(a) in the mean
of that window and (T/l)·e(a)·e(b) in that of a window b right behind it.

Discontinuous conduction, charged for d, emptied for d_2; nothing is remembered from one period to the next:

    i = (T/l)·((v_on + v_off)·e(d_2)·duty + (f(d) + e(d)·e(d_2))·v_on − f(d_2)·v_off)

and what flows while it is charged, (T/l)·f(d)·v_on, goes into or past the ports as in `loops.stage`. Divided by
(T/l)·e(d_2) this has the form of `Linear`. To first order in x it is the averaged model of J. Sun et al. (2001):
1/(1 + x·d_2/2) for e(d_2)/d_2. A four-switch stage near unity gain joins its output only after the least pulse k: there
the output drives for d − k + d_2.

Continuous conduction: the current's step lasts, and meets the moved leg again each period from 1 − d to 1 after the
edge. What flows through that leg is then

    (peak + (v/l)·T·(exp(x·d) − 1)/(x·(exp(x) − 1)))·duty,  v the voltage that the edge moves

instead of (i + v·d/(s·l))·duty; the difference begins with x·d·(d − 1/2)·(d − 1)/6 + x²·d²·(1 − d)²/24, times v·T/l
(Bernoulli polynomials), and what follows is below 1 % of the ripple at a third of the switching frequency.

Sources: derived here; J. Sun, D. M. Mitchell, M. F. Greuel, P. T. Krein, R. M. Bass, IEEE Trans. Power Electronics
16(4), 2001, and V. Vorpérian, Simplified analysis of PWM converters using model of PWM switch, part II, IEEE Trans.
Aerospace and Electronic Systems 26(3), 1990, for the averaged mode; R. W. Erickson, D. Maksimovic, Fundamentals of
Power Electronics, 2nd ed., Kluwer 2001, ch. 11 (from memory).
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.loops.chosen import taken
from chargewright.loops.near_unity import emptied_for
from chargewright.loops.stage import Linear, Operating, StagePoints, least_pulse


def flowing(share: Any, x: Any) -> Any:
    """Return e(a) of a share of the period. x : s·T, or with losses s·T + r·T/l [1]."""
    if np.iscomplexobj(x) and np.any(np.real(x)):
        return -np.expm1(-x * share) / x
    half = 0.5 * np.imag(x)
    sine = np.sin(half * share)
    return sine * (np.cos(half * share) - 1j * sine) / half


def exact(m: Linear, p: StagePoints, at: Operating, s: Any) -> Linear:
    """Return the averaged model with edges and pulses at their places in the period.

    s : complex frequency, on the imaginary axis [1/s]
    """
    if p.averaged:
        return m
    if np.all(at.discontinuous):
        return m._replace(**_pulses(p, at, s))
    edges = _edges(m, p, at, s)
    if not np.any(at.discontinuous):
        return edges
    rows = np.nonzero(at.discontinuous)[0]
    lean = _pulses(taken(p, rows), taken(at, rows), taken(s, rows))
    n = len(at.discontinuous)
    return edges._replace(**{name: _mixed(getattr(edges, name), x, rows, n) for name, x in lean.items()})


def _edges(m: Linear, p: StagePoints, at: Operating, s: Any) -> Linear:
    """Return the model in continuous conduction: what the moved edge does to the currents of its own leg."""
    top, d, w = p.topology, at.duty, np.imag(s) * p.period
    by_step = m.a_d * p.period / p.inductance * np.where(at.discontinuous, 0.0, d * (1.0 - d))
    more = np.empty(np.broadcast_shapes(np.shape(by_step), np.shape(w)), dtype=complex)
    more.real = by_step * (d * (d - 1.0) / 24.0) * w**2
    more.imag = by_step * ((0.5 - d) / 6.0) * w
    b_d, c_d = _moved(m.b_d, top.u_d, more), _moved(m.c_d, top.w_d, more)
    if np.any((k := least_pulse(p)) > 0.0):
        corner, past = _beside_least_pulse(p, d, k, 1j * w)
        steps = np.where((k > 0.0) & ~np.asarray(at.discontinuous), p.period / p.inductance, 0.0)
        b_d, c_d = b_d + steps * (corner - 0.5 * m.a_d * d * (1.0 - d)), c_d - steps * m.a_d * past
    return m._replace(b_d=b_d, c_d=c_d)


def _beside_least_pulse(p: StagePoints, d: Any, k: Any, x: Any) -> tuple[Any, Any]:
    """Return by how much the current at the edge is above its mean, and what of the edge's step the output misses.

    In volts times l/T, and over the step: the mean of the current already has k/x of it.
    """
    rise, slow = k * p.v_in, (d - k) * (p.v_in - p.v_out)
    edge = rise + slow
    corner = edge - 0.5 * (rise * k + (rise + edge) * (d - k) + edge * (1.0 - d))
    missed = (flowing(1.0 - d + k, x) - flowing(1.0 - d, x)) / -np.expm1(-x) - k / x
    return corner, missed


def _moved(own: Any, leg: Any, more: Any) -> Any:
    if not np.any(leg):
        return own
    return own + more if np.all(leg == 1.0) else own + leg * more


def _pulses(p: StagePoints, at: Operating, s: Any) -> dict[str, Any]:
    """Return what changes in discontinuous conduction, resistances left out as in the averaged model."""
    x, d, k = s * p.period, at.duty, least_pulse(p)
    over = p.period / p.inductance
    alpha, beta = 1.0 - p.topology.u_d, 1.0 + p.topology.w_d
    fall, swing = at.v_on * d / at.v_off, at.v_on + at.v_off
    if keeps := np.any(k > 0.0):
        fall, swing = np.where(k > 0.0, emptied_for(p, d, k), fall), np.where(k > 0.0, p.v_in, swing)
    charged, empties = flowing(d, x), flowing(fall, x)
    each, x_less = 1.0 / empties, 1.0 / x
    left = (d - charged) * x_less
    on, off = left * each + charged, (fall * each - 1.0) * x_less
    found = {"a_i": s * p.inductance - each / over, "a_d": swing, "a_g": on + alpha * off, "a_o": -off - beta * on}
    through = over * left
    if np.any(alpha != 1.0):
        found |= {"b_g": (1.0 - alpha) * through, "b_o": -((1.0 - alpha) * beta) * through}
    if np.any(beta != 1.0):
        found |= {"c_g": (beta - 1.0) * through}
    if keeps:
        late, first, out = ((a - flowing(a, x)) * x_less for a in (d - k, k, d - k + fall))
        found["a_o"] = np.where(k > 0.0, -out * each, found["a_o"])
        found["b_o"] = np.where(k > 0.0, -over * late, found.get("b_o", 0.0))
        found["c_g"] = np.where(k > 0.0, -over * first, found.get("c_g", 0.0))
    return found


def _mixed(one: Any, other: Any, rows: Any, n: int) -> Any:
    """Return `one` with some of its rows exchanged."""
    wide = max(np.shape(x)[-1] if np.ndim(x) else 1 for x in (one, other))
    found: npt.NDArray[Any] = np.empty((n, wide), dtype=np.result_type(one, other))
    found[:] = one
    found[rows] = other
    return found

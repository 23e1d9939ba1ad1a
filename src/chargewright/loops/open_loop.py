"""Is the stage itself stable, before any loop is closed? A load of constant power can make it grow by itself.

The three equations of `loops.response` have a determinant; its zeros are the poles of the plant. With capacitors that
have a series resistance and branches that have some, the determinant has no poles in the right half-plane and grows as
s¹ (one more for each port whose capacitors have none, and for an inner current loop), so its phase from low to high
frequency counts its zeros there (argument principle): the whole rise is m·π/2 − zeros·π.

Source: derived here; the criterion is Cauchy's argument principle, as in H. W. Bode, Network analysis and feedback
amplifier design, Van Nostrand 1945, ch. 8 (from memory).
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.loops.chosen import taken
from chargewright.loops.current_mode import AverageCurrent, PeakCurrent, with_modulator
from chargewright.loops.loop import Model, Plant
from chargewright.loops.stage import linear, operating

_SWEEP = np.concatenate([[1e-6], np.geomspace(1.0, 1e8, 97), [1e12]])
"""Between slow and fast the determinant turns with poles and zeros of the first order only: a step there is no risk."""
_FINE = 65
_SURE = 0.8 * np.pi
"""A greater turn from one frequency to the next may be an undamped resonance, which is then looked at closely."""


def unstable_poles(plant: Plant) -> npt.NDArray[np.int64]:
    """Return how many right-half-plane poles the plant has at each point, (n,), its inner current loop closed.

    The delay of an inner loop is left out here: whether average current mode is stable inside is told by the margins of
    its own loop. Peak current mode samples: its sampling is counted in the second-order form of R. B. Ridley (1991),
    whose poles leave the left half-plane where the current begins to oscillate at half the switching frequency.
    """
    p = plant.points
    at = operating(p)
    shape = np.broadcast_shapes(*(np.shape(v) for v in (p.v_in, p.v_out, p.i_coil, p.inductance)))
    n = shape[0] if shape else 1
    model = Model(plant=plant, by_duty=linear(p, at), at=at)
    steps = _steps(model, _SWEEP, n)
    rows, cols = np.nonzero(np.abs(steps) > _SURE)
    if len(rows):
        between = np.geomspace(_SWEEP[cols], _SWEEP[cols + 1], _FINE, axis=1)
        steps[rows, cols] = np.sum(_steps(taken(model, rows) if n > 1 else model, between, len(rows)), axis=1)
    total = np.sum(steps, axis=1)
    order = 1.0 + _free(plant.input.esr, plant.input.c) + _free(plant.output.esr, plant.output.c)
    order = order + _of_inner_loop(plant, at.discontinuous, n)
    return np.asarray(np.rint(0.5 * order - total / np.pi), dtype=np.int64)


def _steps(model: Model, f: npt.NDArray[np.float64], n: int) -> npt.NDArray[np.float64]:
    """Return by how much the determinant turns from each frequency to the next [rad], (n, f - 1)."""
    plant, p = model.plant, model.plant.points
    s = 2j * np.pi * f
    m = with_modulator(model.by_duty, plant.modulator, p, model.at, s, counted=True)
    e = 1.0 / plant.input.impedance(s) + m.b_g
    i = 1.0 / plant.output.impedance(s) - m.c_o
    d = (s * m.inductance - m.a_i) * (e * i + m.b_o * m.c_g)
    d = d + m.a_g * (m.b_i * i + m.b_o * m.c_i) - m.a_o * (e * m.c_i - m.b_i * m.c_g)
    if isinstance(plant.modulator, AverageCurrent):
        d = d * s  # the integrator of the inner amplifier
    d = np.broadcast_to(d, (n, s.shape[-1]))
    return np.asarray(np.angle(d[:, 1:] * d[:, :-1].conj()))


def _of_inner_loop(plant: Plant, discontinuous: Any, n: int) -> Any:
    """Return by how much an inner loop raises the order of the determinant."""
    if isinstance(plant.modulator, PeakCurrent):
        return np.where(np.broadcast_to(discontinuous, (n, 1))[:, 0], 0.0, 1.0)
    return 1.0 if isinstance(plant.modulator, AverageCurrent) else 0.0


def _free(esr: Any, c: Any) -> float:
    return 1.0 if np.all(np.asarray(esr) == 0.0) and np.any(np.asarray(c) > 0.0) else 0.0

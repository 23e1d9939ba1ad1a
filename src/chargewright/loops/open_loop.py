"""Is the stage itself stable, before any loop is closed? A load of constant power can make it grow by itself.

The three equations of `loops.response` have a determinant; its zeros are the poles of the plant. With capacitors that
have a series resistance and branches that have some, the determinant has no poles in the right half-plane and grows as
s¹ (one more for each port whose capacitors have none), so its phase from low to high frequency counts its zeros there
(argument principle): the whole rise is m·π/2 − zeros·π.

Source: derived here; the criterion is Cauchy's argument principle, as in H. W. Bode, Network analysis and feedback
amplifier design, Van Nostrand 1945, ch. 8 (from memory).
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.loops.current_mode import VoltageMode, with_modulator
from chargewright.loops.loop import Plant
from chargewright.loops.stage import linear, operating

_SWEEP = np.geomspace(1e-4, 1e12, 500)


def unstable_poles(plant: Plant) -> npt.NDArray[np.int64]:
    """Return how many right-half-plane poles the plant has at each point, (n,).

    For voltage mode. An inner current loop samples, which this count does not cover: there 0 is returned, and its own
    stability is judged by `loops.current_mode.sampling_quality`.
    """
    p = plant.points
    shape = np.broadcast_shapes(*(np.shape(v) for v in (p.v_in, p.v_out, p.i_coil, p.inductance)))
    n = shape[0] if shape else 1
    if not isinstance(plant.modulator, VoltageMode):
        return np.zeros(n, dtype=np.int64)
    s = 2j * np.pi * _SWEEP
    at = operating(p)
    m = with_modulator(linear(p, at), plant.modulator, p, at, s)
    e = 1.0 / plant.input.impedance(s) + m.b_g
    i = 1.0 / plant.output.impedance(s) - m.c_o
    d = (s * m.inductance - m.a_i) * (e * i + m.b_o * m.c_g)
    d = d + m.a_g * (m.b_i * i + m.b_o * m.c_i) - m.a_o * (e * m.c_i - m.b_i * m.c_g)
    d = np.broadcast_to(d, (n, len(s)))
    steps = np.angle(d[:, 1:] / d[:, :-1])
    order = 1.0 + _free(plant.input.esr, plant.input.c) + _free(plant.output.esr, plant.output.c)
    return np.asarray(np.rint(0.5 * order - np.sum(steps, axis=1) / np.pi), dtype=np.int64)


def _free(esr: Any, c: Any) -> float:
    return 1.0 if np.all(np.asarray(esr) == 0.0) and np.any(np.asarray(c) > 0.0) else 0.0

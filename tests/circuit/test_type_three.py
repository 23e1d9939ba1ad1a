"""An amplifier of type 3 as circuit elements, against its transfer function."""

import numpy as np
import pytest
from scipy import signal

from chargewright.circuit.circuit import Circuit
from chargewright.circuit.control import Clamp, Loop, control_of, names_of
from chargewright.circuit.elements import Resistor, Source, v_node
from chargewright.circuit.flow import samples
from chargewright.circuit.run import run

R_1, R_2, C_1, C_2, R_3, C_3 = 10e3, 5.6e3, 3.3e-9, 100e-12, 300.0, 1.8e-9


def test_its_answer_to_a_step_is_that_of_its_transfer_function():
    # Second road: the amplifier's gain as a fraction of polynomials in s, stepped by scipy. With Y_in = 1/R1 +
    # s·C3/(1+s·R3·C3) and Z = (1+s·R2·C1)/(s·(C1+C2)·(1+s·R2·C1·C2/(C1+C2))) the gain is Y_in·Z (Erickson, Maksimovic,
    # Fundamentals of Power Electronics, 2nd ed. 2001, ch. 9.5: two zeros, two poles, an integrator; from memory).
    step = 0.2
    loop = Loop(
        name="x", terms=((1.0, v_node("sensed")),), reference=1.0, gain=1.0, gm=1.0 / R_1, r_z=R_2, c_z=C_1, c_p=C_2,
        lead=(R_3, C_3), settled=1.0, start=0.0,
    )  # fmt: skip
    control = control_of((loop,), Clamp(low=-1e3, high=1e3, margin=1e6, r=1.0))
    feed = (Source(name="feed", a="sensed", b="0", v=1.0 - step), Resistor(name="r", a="sensed", b="0", r=1.0))
    period = 1e-6
    done = run(Circuit(elements=(*feed, *control), period=period, signals=names_of(control)), cycles=60, compiled=False)
    t = np.linspace(0.0, 59e-6, 60)
    ours = samples(done, t).of(v_node("loop_x"))
    numerator = np.polymul([C_3 * (R_1 + R_3), 1.0], [R_2 * C_1, 1.0]) / R_1
    denominator = np.polymul(
        np.polymul([C_3 * R_3, 1.0], [R_2 * C_1 * C_2 / (C_1 + C_2), 1.0]), [C_1 + C_2, 0.0]
    )  # fmt: skip
    _, theirs = signal.step((numerator, denominator), T=t)
    # rel 1e-6: both are exact but for rounding; the stiff lead costs scipy some digits.
    assert ours == pytest.approx(step * theirs, rel=1e-6, abs=1e-9)


def test_a_loop_that_starts_settled_stands_still():
    loop = Loop(
        name="x", terms=((2.0, v_node("sensed")),), reference=1.6, gain=0.5, gm=1.0 / R_1, r_z=R_2, c_z=C_1, c_p=C_2,
        lead=(R_3, C_3), tau=1e-6, settled=1.6, start=0.4,
    )  # fmt: skip
    control = control_of((loop,), Clamp(low=-1e3, high=1e3, margin=1e6, r=1.0))
    feed = (Source(name="feed", a="sensed", b="0", v=0.8), Resistor(name="r", a="sensed", b="0", r=1.0))
    done = run(Circuit(elements=(*feed, *control), period=1e-6, signals=names_of(control)), cycles=10, compiled=False)
    assert samples(done, np.linspace(0.0, 9e-6, 10)).of(v_node("loop_x")) == pytest.approx(0.4, abs=1e-9)

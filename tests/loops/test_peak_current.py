"""Peak current mode where it is delicate: its slopes, its sampling counted as poles, its discontinuous mode."""

import numpy as np
import pytest

from chargewright.loops.current_mode import AverageCurrent, PeakCurrent, VoltageMode, least_slope, sampling, slope_share
from chargewright.loops.impedance import Branch, Port
from chargewright.loops.loop import Plant, responses
from chargewright.loops.open_loop import unstable_poles
from chargewright.loops.stage import BOOST, BUCK, BUCK_BOOST, StagePoints, operating

L, T, R_SENSE = 4.7e-6, 2e-6, 0.05
STIFF = Port(c=0.0, esr=0.0, branch=Branch(r=1e-9))
NAMES = {"buck": BUCK, "boost": BOOST, "buck-boost": BUCK_BOOST}
VOLTAGES = {"buck": (20.0, 8.0), "boost": (8.0, 20.0), "buck-boost": (12.0, 15.0)}


def at(x: float) -> np.ndarray:
    return np.array([[x]])


def stage(name: str, i: float, v_in: float | None = None, v_out: float | None = None) -> StagePoints:
    own = VOLTAGES[name]
    return StagePoints(
        topology=NAMES[name], v_in=at(v_in or own[0]), v_out=at(v_out or own[1]), i_coil=at(i), inductance=L, period=T
    )


def test_half_the_swing_of_slopes_is_the_edge():
    # SS16: at D 0.6 the edge is a slope factor of 1.25 (Ridley 1991, from memory; recomputed). A coil on 20 V to 12 V:
    # rise 8, fall 12 per henry; a ramp of a quarter of the rise is the edge.
    assert least_slope(0.6) == pytest.approx(1.25)
    assert slope_share(8.0, 0.25 * 8.0, 12.0) == pytest.approx(0.5, rel=1e-12)


@pytest.mark.parametrize("ramp_over_fall", [0.0, 0.3, 0.49, 0.51, 1.0])
def test_the_poles_that_are_counted_are_those_of_the_sampled_current(ramp_over_fall: float):
    # Second road: a deviation of the valley current is multiplied each period by −(fall − ramp)/(rise + ramp); beyond
    # one in size it grows (EM ch. 12.1, from memory). Duty 0.75: without ramp it does.
    p = stage("buck", 5.0, 16.0, 12.0)
    rise, fall = R_SENSE * 4.0 / L, R_SENSE * 12.0 / L
    ramp = ramp_over_fall * fall
    factor = (fall - ramp) / (rise + ramp)
    mod = PeakCurrent(r_sense=R_SENSE, ramp=ramp)
    assert (sampling(mod, p, operating(p))[0, 0] < 0.5) == (abs(factor) > 1.0)
    plant = Plant(points=p, input=STIFF, output=Port(c=4e-5, esr=2e-3, branch=Branch(r=0.1)), modulator=mod)
    assert unstable_poles(plant)[0] == (2 if abs(factor) > 1.0 else 0)


def test_drops_of_the_switches_count_in_the_slopes():
    # 17.5 V from 18.2 V through 100 mΩ at 4 A: the coil rises with 0.3 V and not with 0.7 V.
    p = StagePoints(
        topology=BUCK, v_in=at(18.2), v_out=at(17.5), i_coil=at(4.0), inductance=L, period=T, r_coil=0.06,
        r_in_high=0.04, r_in_low=0.04,
    )  # fmt: skip
    op = operating(p)
    assert float(op.v_rise[0, 0]) == pytest.approx(0.3, rel=1e-9)
    assert float(op.v_fall[0, 0]) == pytest.approx(17.9, rel=1e-9)
    assert float(op.duty[0, 0]) == pytest.approx(17.9 / 18.2, rel=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_discontinuous_peak_current_mode_obeys_its_static_law(name: str):
    # Second road: the current starts from zero, so control voltage = slope·duty·T + ramp·duty·T at any load. EM
    # ch. 12.4 (from memory).
    v_in, v_out = VOLTAGES[name]
    ramp = 3e4
    p = stage(name, 0.2)
    op = operating(p)
    assert op.discontinuous[0, 0]
    out = Port(c=4e-5, esr=0.0, branch=Branch(r=0.5))
    control = Plant(points=p, input=STIFF, output=out, modulator=PeakCurrent(r_sense=R_SENSE, ramp=ramp))
    by_duty = Plant(points=p, input=STIFF, output=out, modulator=VoltageMode())
    f = np.array([1e-2])
    v = responses(control, f).v_out[0, 0].real
    duty = float(op.duty[0, 0])

    def law(d: float, v_o: float) -> float:
        v_on = v_in - v_o if name == "buck" else v_in
        return (R_SENSE * v_on / L + ramp) * d * T

    # What duty makes that output move: output over control by output over duty.
    d = v / responses(by_duty, f).v_out[0, 0].real
    h = 1e-6
    slope = (law(duty + h * d, v_out + h * v) - law(duty - h * d, v_out - h * v)) / (2.0 * h)
    assert slope == pytest.approx(1.0, rel=1e-5)


@pytest.mark.parametrize(("m", "stable"), [(0.60, True), (0.65, True), (0.68, False), (0.75, False)])
def test_a_discontinuous_buck_without_ramp_runs_away_above_two_thirds(m: float, stable: bool):
    # EM ch. 12.4 (from memory): with a resistive load and no ramp the low-frequency pole of a buck in discontinuous
    # conduction crosses into the right half-plane at M = 2/3.
    v_in, i = 20.0, 0.05
    p = stage("buck", i, v_in, m * v_in)
    assert operating(p).discontinuous[0, 0]
    out = Port(c=4e-5, esr=2e-3, g_load=i / (m * v_in))
    bare = Plant(points=p, input=STIFF, output=out, modulator=PeakCurrent(r_sense=R_SENSE))
    assert unstable_poles(bare)[0] == (0 if stable else 1)


@pytest.mark.parametrize("g_load", [0.2, -2.0])
def test_the_poles_of_average_current_mode_are_those_of_its_polynomial(g_load: float):
    # Second road: buck on a stiff source, coil r + s·l, output y = s·c/(1 + s·c·e) + g, inner amplifier
    # a·(1 + w/s)/(1 + s/w_p) into the duty: roots of (r + s·l + 1/y + v·r_s·inner), multiplied out.
    p = StagePoints(topology=BUCK, v_in=at(20.0), v_out=at(8.0), i_coil=at(5.0), inductance=L, period=T, r_coil=0.02)
    c, e, gain, f_zero, f_pole = 2e-5, 1e-3, 0.5, 3e3, 2e5
    w, w_p = 2.0 * np.pi * f_zero, 2.0 * np.pi * f_pole
    y_num, y_den = [c * (1.0 + g_load * e), g_load], [c * e, 1.0]
    inner_num, inner_den = 20.0 * R_SENSE * gain * np.array([1.0, w]), [1.0 / w_p, 1.0, 0.0]
    coil = np.polyadd(np.polymul([L, 0.02], y_num), y_den)
    whole = np.polyadd(np.polymul(coil, inner_den), np.polymul(y_num, inner_num))
    expected = int(np.sum(np.roots(whole).real > 0.0))
    mod = AverageCurrent(r_sense=R_SENSE, gain=gain, f_zero=f_zero, f_pole=f_pole)
    plant = Plant(points=p, input=STIFF, output=Port(c=c, esr=e, g_load=g_load), modulator=mod)
    assert unstable_poles(plant)[0] == expected
    assert expected == (0 if g_load > 0.0 else 1)

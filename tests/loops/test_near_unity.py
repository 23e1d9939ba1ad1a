"""A four-switch stage near unity gain, where the output leg keeps a least pulse: waveform, edge, buck as a limit."""

import numpy as np
import pytest

from chargewright.loops.near_unity import least_current
from chargewright.loops.stage import BUCK, StagePoints, Topology, linear, operating

L, T, K = 4.7e-6, 2e-6, 0.08
NEAR = Topology(0.0, 1.0, 1.0 - K, 0.0)


def at(x: float) -> np.ndarray:
    return np.array([[x]])


def points(v_in: float, v_out: float, i: float, topology: Topology = NEAR) -> StagePoints:
    return StagePoints(topology=topology, v_in=at(v_in), v_out=at(v_out), i_coil=at(i), inductance=L, period=T)


def waveform(duty: float, i: float, v_in: float, v_out: float) -> tuple[float, float, float]:
    """Return mean coil voltage, input and output current of a period, summed over 1 000 000 midpoints of its time.

    Second road: the current is drawn in time, its fall lasting as long as the wanted mean current needs.
    """
    n = 1_000_000
    t = (np.arange(n) + 0.5) / n
    first = v_in * K * T / L
    second = first + (v_in - v_out) * (duty - K) * T / L
    charge_on = 0.5 * first * K + 0.5 * (first + second) * (duty - K)
    fall = 2.0 * (i - charge_on) / second
    rising = np.where(t < K, first * t / K, first + (second - first) * (t - K) / (duty - K))
    current = np.where(t < duty, rising, np.clip(second * (1.0 - (t - duty) / fall), 0.0, None))
    v = np.where(t < K, v_in, np.where(t < duty, v_in - v_out, np.where(t < duty + fall, -v_out, 0.0)))
    return float(np.mean(v)), float(np.mean(current * (t < duty))), float(np.mean(current * (t >= K)))


@pytest.mark.parametrize(("v_in", "v_out"), [(12.0, 12.3), (12.0, 11.6), (12.0, 12.0)])
def test_the_operating_point_is_that_of_the_waveform(v_in: float, v_out: float):
    p = points(v_in, v_out, 0.3)
    op = operating(p)
    assert op.discontinuous[0, 0]
    v, taken, given = waveform(float(op.duty[0, 0]), 0.3, v_in, v_out)
    # Midpoints of 1/1 000 000: edges are hit to 1e-6 of the period, times 24 V.
    assert v == pytest.approx(0.0, abs=2e-4)
    assert taken * v_in == pytest.approx(given * v_out, rel=1e-4)


@pytest.mark.parametrize(("v_in", "v_out"), [(12.0, 12.3), (12.0, 11.6), (12.0, 12.0)])
def test_the_coefficients_are_the_slopes_of_the_waveform(v_in: float, v_out: float):
    p = points(v_in, v_out, 0.15)
    m = linear(p)
    x = [float(operating(p).duty[0, 0]), 0.15, v_in, v_out]
    rows = {
        "d": (m.a_d, m.b_d, m.c_d),
        "i": (m.a_i, m.b_i, m.c_i),
        "g": (m.a_g, m.b_g, m.c_g),
        "o": (m.a_o, m.b_o, m.c_o),
    }
    for k, key in enumerate("digo"):
        step = 0.004 * x[k]
        up, down = list(x), list(x)
        up[k] += step
        down[k] -= step
        slope = (np.array(waveform(*up)) - np.array(waveform(*down))) / (2.0 * step)
        # 0.4 % steps, edges to 1e-6 of a period, some 10 V: 1 %, or 0.01 where a slope is nought.
        assert [float(np.ravel(c)[0]) for c in rows[key]] == pytest.approx(list(slope), rel=0.01, abs=0.01)


def test_without_a_least_pulse_it_is_the_buck():
    lean = points(12.0, 8.0, 0.2, BUCK)
    near = points(12.0, 8.0, 0.2, Topology(0.0, 1.0, 1.0 - 1e-9, 0.0))
    assert operating(near).duty == pytest.approx(operating(lean).duty, rel=1e-6)
    for a, b in zip(linear(near), linear(lean), strict=True):
        assert np.ravel(a)[0] == pytest.approx(np.ravel(b)[0], rel=1e-6, abs=1e-6)


def test_duty_passes_the_edge_of_conduction_without_a_step():
    currents = np.linspace(0.2, 2.0, 4001)[:, None]
    p = StagePoints(
        topology=NEAR, v_in=np.full_like(currents, 12.0), v_out=np.full_like(currents, 12.2), i_coil=currents,
        inductance=L, period=T,
    )  # fmt: skip
    op = operating(p)
    assert 0.0 < np.mean(op.discontinuous) < 1.0
    assert np.max(np.abs(np.diff(op.duty[:, 0]))) < 2e-3


def test_the_least_pulses_carry_the_least_current():
    # By hand: both legs on for k, peak v_in·k·T/l, emptied in k·v_in/v_out: half the peak times both shares.
    peak = 12.0 * K * T / L
    assert least_current(12.0, 12.3, K, T / L) == pytest.approx(0.5 * peak * (K + K * 12.0 / 12.3), rel=1e-12)
    op = operating(points(12.0, 12.3, float(least_current(12.0, 12.3, K, T / L)) * (1.0 + 1e-9)))
    assert op.duty[0, 0] == pytest.approx(K, rel=1e-6)

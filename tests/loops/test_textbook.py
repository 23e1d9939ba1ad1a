"""The worked examples of the books: hand formulas, the full model, crossovers and margins.

EM is R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001. Status of a row: "from
memory" means that the relation is standard and attributed to the source, which was not opened; "recomputed" means that
an independent script worked the number out. SS numbers are the rows of the project's collection of check values.
"""

import numpy as np
import pytest

from chargewright.loops.current_mode import PeakCurrent, VoltageMode, least_slope, sampling_quality
from chargewright.loops.impedance import Branch, Port, constant_power_resistance
from chargewright.loops.loop import Loop, LoopGain, Plant, responses
from chargewright.loops.margins import frequencies, margins
from chargewright.loops.response import input_impedance, output_impedance
from chargewright.loops.second_order import (
    boost_right_zero,
    buck_boost_control_gain,
    buck_boost_right_zero,
    closed_loop_quality,
    stage_quality,
    stage_resonance,
)
from chargewright.loops.shaping import k_factor_one_lead, k_factor_two_leads, lead_gain, lead_pole, lead_zero
from chargewright.loops.stage import BUCK, BUCK_BOOST, StagePoints, linear

STIFF = Port(c=0.0, esr=0.0, branch=Branch(r=1e-9))
"""A source without impedance."""


def at(x: float) -> np.ndarray:
    return np.array([[x]])


def buck_boost() -> Plant:
    """EM ch. 8.2.1: Vg 30 V, D 0.6, R 10 ohm, L 160 uH, C 160 uF; V = 45 V, coil current V/(R·D') = 11.25 A."""
    points = StagePoints(
        topology=BUCK_BOOST,
        v_in=at(30.0),
        v_out=at(45.0),
        i_coil=at(11.25),
        inductance=160e-6,
        period=1e-5,
        averaged=True,
    )
    return Plant(points=points, input=STIFF, output=Port(c=160e-6, esr=0.0, g_load=0.1), modulator=VoltageMode())


def regulator() -> LoopGain:
    """EM ch. 9.5.4: 28 V to 15 V, 3 ohm, 50 uH, 500 uF, sensor 1/3, ramp 4 V."""
    points = StagePoints(
        topology=BUCK, v_in=at(28.0), v_out=at(15.0), i_coil=at(5.0), inductance=50e-6, period=1e-5, averaged=True
    )
    output = Port(c=500e-6, esr=0.0, g_load=1.0 / 3.0)
    plant = Plant(points=points, input=STIFF, output=output, modulator=VoltageMode(v_ramp=4.0))
    return LoopGain(plant, Loop(sensed="stage-voltage", scale=1.0 / 3.0, amplifier=None))


def test_hand_formulas_of_the_buck_boost_example():
    # SS01 to SS05, EM ch. 8.2.1, from memory; recomputed. rel as given there.
    assert buck_boost_control_gain(-45.0, 0.6) == pytest.approx(187.5, rel=1e-6)
    assert stage_resonance(0.4, 160e-6, 160e-6) == pytest.approx(397.887, rel=1e-5)
    assert stage_quality(0.4, 10.0, 160e-6, 160e-6) == pytest.approx(4.000, rel=1e-6)
    assert buck_boost_right_zero(0.6, 10.0, 160e-6) == pytest.approx(2652.58, rel=1e-5)


def test_the_full_model_meets_the_buck_boost_example():
    # SS01 to SS05 again, by the twelve partial derivatives and two ports: gains at low frequency, Q as the peak of the
    # line response (which has no zero), the right-half-plane zero in the ratio of both responses. rel 1e-6: the stiff
    # source's nano-ohm and f/f0 = 1e-4 at "low frequency".
    plant, f_0, f_z = buck_boost(), 397.8873577, 2652.582385
    f = np.array([0.03, f_0])
    line = responses(plant, f, "source").v_out[0]
    control = responses(plant, f).v_out[0]
    assert abs(line[0]) == pytest.approx(1.5, rel=1e-6)
    assert abs(control[0]) == pytest.approx(187.5, rel=1e-6)
    assert abs(line[1] / line[0]) == pytest.approx(4.0, rel=1e-6)
    assert control[1] / line[1] == pytest.approx(125.0 * (1.0 - 1j * f_0 / f_z), rel=1e-6)


def test_the_full_model_gives_the_output_impedance_of_the_buck_boost():
    # Outside source: EM ch. 8.3: L/D'^2 in parallel with C and R. From memory.
    plant, f = buck_boost(), np.array([50.0, 397.887, 5e3])
    s = 2j * np.pi * f
    parallel = 1.0 / (0.1 + s * 160e-6 + 0.4**2 / (s * 160e-6))
    found = output_impedance(linear(plant.points), s, STIFF.impedance(s), plant.output.impedance(s))
    np.testing.assert_allclose(found[0], parallel, rtol=1e-5)


def test_the_uncompensated_regulator():
    # SS06 to SS08, EM ch. 9.5.4, from memory; recomputed.
    assert stage_resonance(1.0, 50e-6, 500e-6) == pytest.approx(1006.58, rel=1e-5)
    assert stage_quality(1.0, 3.0, 50e-6, 500e-6) == pytest.approx(9.48683, rel=1e-5)
    gain = regulator()
    assert abs(gain(np.array([0.1]))[0, 0]) == pytest.approx(2.33333, rel=1e-5)
    m = margins(gain, 1, frequencies(10.0, 1e5))
    assert m.f_cross[0] == pytest.approx(1835.58, rel=1e-4)
    assert np.degrees(m.phase[0]) == pytest.approx(4.725, rel=1e-3)  # three decimals are given


def test_the_lead_of_the_regulator():
    # SS09 to SS11, EM ch. 9.5.4, from memory; recomputed. The book rounds to 1.7 kHz, 14.5 kHz, 3.7.
    lead = np.radians(52.0)
    zero, pole = lead_zero(5e3, lead), lead_pole(5e3, lead)
    assert zero == pytest.approx(1721.64, rel=1e-5)
    assert pole == pytest.approx(14521.05, rel=1e-5)
    f_0 = stage_resonance(1.0, 50e-6, 500e-6)
    assert lead_gain(5e3, f_0, zero, pole, 7.0 / 3.0) == pytest.approx(3.64112, rel=1e-4)
    assert lead_gain(5e3, 1000.0, zero, pole, 7.0 / 3.0) == pytest.approx(3.7, rel=0.02)


@pytest.mark.parametrize(("inverted_zero", "f_cross", "margin"), [(0.0, 5272.07, 53.344), (500.0, 5290.33, 47.934)])
def test_the_compensated_regulator(inverted_zero: float, f_cross: float, margin: float):
    # SS12 and SS13, derived from EM ch. 9.5.4, recomputed.
    plain = regulator()

    def gain(f: np.ndarray, which: object) -> np.ndarray:
        lead = 3.7 * (1.0 + 1j * f / 1700.0) / (1.0 + 1j * f / 14500.0)
        return plain(f, which) * lead * (1.0 + inverted_zero / (1j * f))

    m = margins(gain, 1, frequencies(10.0, 1e6))
    assert m.f_cross[0] == pytest.approx(f_cross, rel=1e-4)
    assert np.degrees(m.phase[0]) == pytest.approx(margin, rel=1e-4)


def test_closed_loop_quality():
    # SS14, EM ch. 9.4.2, from memory; recomputed (the book: 1 and 0.5).
    assert closed_loop_quality(np.radians(52.0)) == pytest.approx(0.99572, rel=1e-5)
    assert closed_loop_quality(np.radians(76.0)) == pytest.approx(0.50691, rel=1e-5)


def test_peak_current_mode_formulas():
    # SS15, SS16: R. B. Ridley, IEEE Trans. PE 6(2), 1991, from memory; recomputed.
    assert sampling_quality(0.4, 1.0) == pytest.approx(3.18310, rel=1e-6)
    assert least_slope(0.6) == pytest.approx(1.25, rel=1e-9)


@pytest.mark.parametrize(("duty", "slope"), [(0.4, 1.0), (0.3, 1.5), (0.6, 1.6)])
def test_the_full_model_meets_the_sampling_pole(duty: float, slope: float):
    # SS15 through the whole model: with both port voltages stiff, coil current over control voltage has the double pole
    # at half the switching frequency, and its size there is the quality factor (the sampled form gives the same number
    # as Ridley's second-order one exactly there). rel 1e-6: the ports' nano-ohms.
    v_in, period, r = 20.0, 2e-6, 0.05
    rise = r * v_in * (1.0 - duty) / 5e-6
    points = StagePoints(
        topology=BUCK,
        v_in=at(v_in),
        v_out=at(v_in * duty),
        i_coil=at(10.0),
        inductance=5e-6,
        period=period,
        averaged=True,
    )
    stiff_out = Port(c=0.0, esr=0.0, branch=Branch(r=1e-9))
    modulator = PeakCurrent(r_sense=r, ramp=(slope - 1.0) * rise)
    plant = Plant(points=points, input=STIFF, output=stiff_out, modulator=modulator)
    at_half = responses(plant, np.array([0.5 / period])).i_coil[0, 0]
    assert abs(r * at_half) == pytest.approx(sampling_quality(duty, slope), rel=1e-6)
    at_low = responses(plant, np.array([10.0])).i_coil[0, 0]
    assert abs(r * at_low) == pytest.approx(1.0, rel=1e-6)


def test_k_factors():
    # SS17, SS18: H. D. Venable, Powercon 10, 1983, from memory; recomputed.
    assert k_factor_one_lead(np.radians(60.0)) == pytest.approx(3.732051, rel=1e-6)
    assert k_factor_two_leads(np.radians(120.0)) == pytest.approx(13.92820, rel=1e-6)
    assert k_factor_two_leads(np.radians(90.0)) == pytest.approx(5.828427, rel=1e-6)


def test_right_half_plane_zero_of_a_pack_boost():
    # SS19, EM ch. 8.2.2 table, from memory; recomputed: 7.4 V to 20 V, 10 ohm, 4.7 uH.
    assert boost_right_zero(7.4 / 20.0, 10.0, 4.7e-6) == pytest.approx(46.358e3, rel=1e-5)


def test_input_resistance_of_a_regulated_buck():
    # TR02: EM ch. 10.3, −R/D² = −12 ohm and open-loop resonance 1591.55 Hz, from memory; recomputed. Here with the duty
    # moved so that the output stands still: what Middlebrook calls Z_N, at low frequency.
    points = StagePoints(
        topology=BUCK, v_in=at(30.0), v_out=at(15.0), i_coil=at(5.0), inductance=1e-4, period=1e-5, averaged=True
    )
    plant = Plant(points=points, input=STIFF, output=Port(c=1e-4, esr=0.0, g_load=1.0 / 3.0), modulator=VoltageMode())
    f = np.array([1e-2])
    line, control = responses(plant, f, "source"), responses(plant, f)
    duty = -line.v_out / control.v_out
    assert (line.v_in / (line.i_in + duty * control.i_in))[0, 0].real == pytest.approx(-12.0, rel=1e-6)
    s = 2j * np.pi * f
    assert input_impedance(linear(points), s, plant.output.impedance(s))[0, 0].real == pytest.approx(12.0, rel=1e-6)
    assert stage_resonance(1.0, 1e-4, 1e-4) == pytest.approx(1591.55, rel=1e-6)


@pytest.mark.parametrize(("v", "p", "r"), [(20.0, 60.0, -6.66667), (9.0, 60.0, -1.35000), (20.0, 100.0, -4.0)])
def test_a_constant_power_is_a_negative_resistance(v: float, p: float, r: float):
    # TR06, derived; recomputed.
    assert constant_power_resistance(v, p) == pytest.approx(r, rel=1e-6)

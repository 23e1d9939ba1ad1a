"""Source and cable against the stage: closed forms, and the loop that the filter really upsets."""

from dataclasses import replace

import numpy as np
import pytest

from chargewright.loops.compensator import Transconductance
from chargewright.loops.current_mode import VoltageMode
from chargewright.loops.impedance import Branch, Port
from chargewright.loops.loop import Loop, LoopGain, Plant
from chargewright.loops.margins import frequencies, margins
from chargewright.loops.source_filter import damped, damper, interaction
from chargewright.loops.stage import BUCK, StagePoints


def at(x: float) -> np.ndarray:
    return np.array([[x]])


def charger(l_cable: float, c: float) -> tuple[Plant, Loop]:
    points = StagePoints(
        topology=BUCK,
        v_in=at(12.0),
        v_out=at(8.0),
        i_coil=at(8.0),
        inductance=2.2e-6,
        period=1.25e-6,
        r_coil=0.02,
        averaged=True,
    )
    plant = Plant(
        points=points,
        input=Port(c=c, esr=2e-3, branch=Branch(r=0.01, l=l_cable)),
        output=Port(c=30e-6, esr=2e-3, branch=Branch(r=0.06), r_sense=0.005),
        modulator=VoltageMode(),
    )
    amplifier = Transconductance(gm=1e-4, r_z=4.7e3, c_z=4.7e-9, c_p=1e-10)
    return plant, Loop(sensed="output-current", scale=0.1, amplifier=amplifier)


def test_the_three_impedances_have_their_closed_forms():
    # EM ch. 10.3 for a buck (from memory): Z_D = (s·L + r + Z_load)/D², Z_N = −V_g/(D·I) for a held output.
    plant, loop = charger(1e-6, 10e-6)
    f = np.array([1e3, 2e4])
    s = 2j * np.pi * f
    found = interaction(plant, loop, f)
    duty = float(LoopGain(plant, loop).duty[0, 0])
    z_load = plant.output.impedance(s)
    np.testing.assert_allclose(found.z_open[0], (s * 2.2e-6 + 0.02 + z_load) / duty**2, rtol=1e-9)
    # With the output held, all of the output stands still, coil current included.
    np.testing.assert_allclose(found.z_held[0], -12.0 / (duty * 8.0), rtol=1e-9)


def test_a_fast_loop_shows_its_source_a_negative_resistance_at_low_frequency():
    plant, loop = charger(1e-6, 10e-6)
    low = interaction(plant, loop, np.array([1.0])).z_closed[0, 0]
    duty = float(LoopGain(plant, loop).duty[0, 0])
    assert low.real == pytest.approx(-12.0 / (duty * 8.0), rel=0.01)


def test_the_minor_loop_tells_the_same_as_the_loop_itself():
    # Second road: 1 + Z_filter/Z_closed = (1 + T)/(1 + T_0)·(what the filter does with the loop open), so the loop gain
    # with filter follows from that without: R. D. Middlebrook's extra element theorem, T = T_0·(1 + Z/Z_N)/(1 + Z/Z_D).
    plant, loop = charger(3e-6, 10e-6)
    f = np.geomspace(1e3, 3e5, 40)
    found = interaction(plant, loop, f)
    stiff = replace(plant, input=Port(c=0.0, esr=0.0, branch=Branch(r=1e-12)))
    t, t_0 = LoopGain(plant, loop)(f)[0], LoopGain(stiff, loop)(f)[0]
    corrected = t_0 * (1.0 + found.z_filter[0] / found.z_held[0]) / (1.0 + found.z_filter[0] / found.z_open[0])
    np.testing.assert_allclose(t, corrected, rtol=1e-8)


def test_a_damper_quietens_a_filter_that_rings_against_the_stage():
    plant, loop = charger(10e-6, 10e-6)
    f = frequencies(300.0, 4e5, 60)
    before = interaction(plant, loop, f)
    k = int(np.argmax(np.abs(before.z_filter[0] / before.z_closed[0])))
    made = damper(10e-6, 10e-6, float(np.abs(before.z_closed[0, k])))
    quiet = replace(plant, input=damped(plant.input, made))
    after = interaction(quiet, loop, f)
    assert before.ratio[0] > 1.0
    assert before.distance[0] < 0.5
    assert after.distance[0] > 0.5
    # The filter's peak is what was aimed at, within the preferred values (E6, E12) and the cable's own 10 mohm.
    assert np.max(np.abs(after.z_filter)) == pytest.approx(made.z_peak, rel=0.25)
    assert margins(LoopGain(quiet, loop), 1, f).modulus[0] > margins(LoopGain(plant, loop), 1, f).modulus[0]

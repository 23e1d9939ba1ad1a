"""Edges and pulses at their place in the period: waveforms summed in time, an iterated comparator, low frequency."""

from dataclasses import replace

import numpy as np
import pytest

from chargewright.base.errors import OutOfRange
from chargewright.loops.chosen import taken
from chargewright.loops.compensator import Transconductance
from chargewright.loops.current_mode import AverageCurrent, PeakCurrent, VoltageMode, inner_gain, with_modulator
from chargewright.loops.impedance import Branch, Port
from chargewright.loops.inner_loop import Inner, steeper
from chargewright.loops.loop import Loop, LoopGain, Plant, injected_inner_gain, responses
from chargewright.loops.stage import BOOST, BUCK, BUCK_BOOST, StagePoints, Topology, least_pulse, linear, operating
from chargewright.studies.loop_control import ControllerModel

L, T, K = 4.7e-6, 2e-6, 0.08
STIFF = Port(c=0.0, esr=0.0, branch=Branch(r=1e-9))
STAGES = {
    "buck": (BUCK, 20.0, 8.0, 0.2),
    "boost": (BOOST, 8.0, 20.0, 0.2),
    "buck-boost": (BUCK_BOOST, 12.0, 15.0, 0.2),
    "near unity": (Topology(0.0, 1.0, 1.0 - K, 0.0), 12.0, 12.3, 0.2),
}


def stage(name: str, i: float | None = None) -> StagePoints:
    topology, v_in, v_out, lean = STAGES[name]
    x = [np.array([[v]]) for v in (v_in, v_out, lean if i is None else i)]
    return StagePoints(topology=topology, v_in=x[0], v_out=x[1], i_coil=x[2], inductance=L, period=T)


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.parametrize("share", [0.05, 1.0 / 3.0])
def test_a_discontinuous_stage_answers_as_its_waveform_summed_in_time(name: str, share: float):
    # Second road: the current's change is the integral of exp(s·t) over the windows in which a voltage drives the coil,
    # step by step through the period; its phasor, and that of what passes the ports, is a sum. 40 000 midpoints: 1e-4.
    p = stage(name)
    at = operating(p)
    assert at.discontinuous[0, 0]
    d, v_in, v_out = (float(np.ravel(v)[0]) for v in (at.duty, p.v_in, p.v_out))
    k = float(np.ravel(least_pulse(p))[0]) if name == "near unity" else {"buck": 0.0}.get(name, d)
    whole_in = name == "boost"
    end = d + (d * v_in - (d - k) * v_out) / (v_out - v_in if whole_in else v_out)
    n = 40_000
    t = (np.arange(n) + 0.5) / n
    s = 2j * np.pi * share / T
    windows = {"g": t < (end if whole_in else d), "o": (t >= k) & (t < end)}
    turn, flows = np.exp(s * T * t), t < end

    def current(drive: np.ndarray) -> np.ndarray:
        return (np.cumsum(drive) - 0.5 * drive) * T / n / L * flows

    moved = {"g": current(turn * windows["g"]), "o": current(-turn * windows["o"])}
    swing = v_out if whole_in else v_in + (v_out if name == "buck-boost" else 0.0)
    moved["d"] = np.where((t >= d) & flows, swing * T / L * np.exp(s * T * d), 0.0)
    m = with_modulator(linear(p, at), VoltageMode(), p, at, np.array([s]))
    at_coil = s * L - m.a_i
    for by, i in moved.items():
        mean = np.mean(i / turn)
        a, b, c = (np.ravel(getattr(m, f"{of}_{by}") + np.zeros((1, 1)))[0] for of in "abc")
        here = np.ravel(a / at_coil)[0]
        assert here == pytest.approx(mean, rel=2e-4)
        if by != "d":  # the edge's own step of current at a port is no sum over midpoints
            taken_in, given = np.mean(i / turn * windows["g"]), np.mean(i / turn * windows["o"])
            assert np.ravel(m.b_i)[0] * here + b == pytest.approx(taken_in, rel=2e-4, abs=1e-6)
            assert np.ravel(m.c_i)[0] * here + c == pytest.approx(given, rel=2e-4, abs=1e-6)


@pytest.mark.parametrize(("name", "i"), [*((n, None) for n in STAGES), *((n, 5.0) for n in STAGES if n[0] == "b")])
def test_at_low_frequency_the_averaged_model_is_left(name: str, i: float | None):
    # Limit. Not near unity gain in continuous conduction: there the ripple has three slopes, so that its mean while the
    # output is joined differs from the whole, which the averaged model leaves out even at rest.
    p = stage(name, i)
    f, out = np.array([10.0]), Port(c=4e-5, esr=2e-3, g_load=0.1)
    exact, mean = (
        responses(Plant(points=one, input=STIFF, output=out, modulator=VoltageMode()), f)
        for one in (p, replace(p, averaged=True))
    )
    for one, other in zip(exact, mean, strict=True):
        if abs(other[0, 0]) > 1e-6:
            assert one[0, 0] == pytest.approx(other[0, 0], rel=2e-4)


def test_points_of_both_conduction_modes_together_are_what_each_is_alone():
    # Definition: a plant of many points is the plants of each.
    topology, v_in, v_out, _ = STAGES["buck"]
    i = np.array([[0.1], [4.0], [0.3], [6.0]])
    p = StagePoints(topology=topology, v_in=np.full((4, 1), v_in), v_out=v_out, i_coil=i, inductance=L, period=T)
    f, out = np.array([1e3, 1e5, 1.6e5]), Port(c=4e-5, esr=2e-3, g_load=0.1)
    source = Port(c=1e-5, esr=2e-3, branch=Branch(r=0.05, l=5e-7))
    plant = Plant(points=p, input=source, output=out, modulator=PeakCurrent(r_sense=0.05, ramp=3e4))
    whole = responses(plant, f)
    for k in range(4):
        for one, all_of in zip(responses(taken(plant, slice(k, k + 1)), f), whole, strict=True):
            assert one[0] == pytest.approx(all_of[k], rel=1e-12)


@pytest.mark.parametrize("t_delay", [0.0, 50e-9, 200e-9])
@pytest.mark.parametrize("share", [0.1, 1.0 / 3.0])
def test_peak_current_mode_answers_as_an_iterated_comparator(t_delay: float, share: float):
    # Second road: the valley current followed from period to period between stiff voltages, the comparator met by
    # Newton, its edge late by t_delay. î = (v_on + v_off)/(s·l)·(phasor of the edges). Small-signal: 1e-6 V of 1 V.
    r_sense, ramp = 0.05, 4e4
    p = stage("buck", 5.0)
    rise, fall, d = r_sense * 12.0 / L, r_sense * 8.0 / L, 0.4
    n, size = (30, 1e-6), 1e-6
    w = 2.0 * np.pi * share / T
    level = 0.25 + (rise + ramp) * (d * T - t_delay)
    valley, edges, weights = 0.25, [], []
    for k in range(4 * n[0]):
        t = d * T - t_delay
        for _ in range(4):
            miss = valley + (rise + ramp) * t - level - size * np.cos(w * (k * T + t))
            t -= miss / (rise + ramp)
        valley += rise * (t + t_delay) - fall * (T - t - t_delay)
        edges.append(t + t_delay - d * T)
        weights.append(np.exp(-1j * w * (k + d) * T))
    last = slice(3 * n[0], None)  # a whole number of cycles, settled
    phasor = 2.0 * np.mean(np.array(edges)[last] * np.array(weights)[last]) / T / size
    mod = PeakCurrent(r_sense=r_sense, ramp=ramp, t_delay=t_delay)
    found = responses(Plant(points=p, input=STIFF, output=STIFF, modulator=mod), np.array([share / T]))
    # Newton's 1e-6 steps are linear to 1e-5; the ports' 1 nΩ is nothing.
    assert found.i_coil[0, 0] == pytest.approx(20.0 / (1j * w * L) * phasor, rel=1e-4)


def test_average_current_mode_becomes_peak_current_mode_with_a_plain_amplifier():
    # Limit: no zero, a pole far up, and the ramp of one over the gain: what the comparator meets is the current itself.
    p = stage("buck", 5.0)
    f, out = np.array([1e4, 1e5, 1.6e5]), Port(c=4e-5, esr=2e-3, g_load=0.1)
    r_sense, ramp, gain = 0.05, 4e4, 3.0
    peak = PeakCurrent(r_sense=r_sense, ramp=ramp)
    average = AverageCurrent(r_sense=r_sense, gain=gain, f_zero=1e-3, f_pole=1e12, v_ramp=gain * ramp * T)
    one, other = (responses(Plant(points=p, input=STIFF, output=out, modulator=m), f) for m in (peak, average))
    # Resistances are none here; the zero at 1 mHz is 1e-7 of the lowest frequency.
    assert one.i_coil[0] == pytest.approx(other.i_coil[0], rel=1e-4)


def test_an_inner_loop_that_is_a_period_late_is_refused_with_words():
    p = stage("buck", 5.0)
    late = AverageCurrent(r_sense=0.05, gain=1.0, f_zero=3e3, f_pole=2e5, t_delay=1.1 * T)
    with pytest.raises(OutOfRange, match="quicker controller"):
        responses(Plant(points=p, input=STIFF, output=STIFF, modulator=late), np.array([1e4]))


def test_an_analogue_ramp_has_no_delay_of_its_own_and_says_so():
    # Natural sampling: tests/circuit/test_injection.py measures it on the switched circuit.
    ramp, careful = ControllerModel(duty="ramp"), ControllerModel()
    assert ramp.modulator(6e5).t_delay == ramp.t_comparator
    assert careful.modulator(6e5).t_delay == pytest.approx(careful.t_comparator + 0.5 / 6e5)
    assert "none of the analogue ramp" in ramp.words
    assert "sampled once" in careful.words


@pytest.mark.parametrize("gain", [0.5, 2.0, 6.0])
def test_an_inner_loop_closed_is_what_its_sampled_gain_says(gain: float):
    # Second road: closed by hand with the loop that an injection sees, T/(1 + T), and with the sampled one, forward
    # gain over 1 + T: both come to the current per volt of demand of the model with its inner loop. Rounding only.
    p = stage("buck", 5.0)
    out = Port(c=4e-5, esr=2e-3, g_load=0.1)
    amplifier = Transconductance(gm=1e-4, r_z=1e4 * gain, c_z=4e-10, c_p=6e-12)
    loop = Loop(sensed="coil-current", scale=0.05, amplifier=amplifier)
    plain = Plant(points=p, input=STIFF, output=out, modulator=VoltageMode(v_ramp=1.0))
    f = np.array([3e3, 5e4, 1.6e5])
    seen, whole = injected_inner_gain(plain, loop, f)[0], LoopGain(plain, loop)(f)[0]
    both = amplifier.c_z * amplifier.c_p / (amplifier.c_z + amplifier.c_p)
    mode = AverageCurrent(
        r_sense=0.05,
        gain=amplifier.gm * amplifier.r_z * amplifier.c_z / (amplifier.c_z + amplifier.c_p),
        f_zero=1.0 / (2.0 * np.pi * amplifier.r_z * amplifier.c_z),
        f_pole=1.0 / (2.0 * np.pi * amplifier.r_z * both),
    )
    closed = responses(replace(plain, modulator=mode), f).i_coil[0]
    assert 0.05 * closed == pytest.approx(seen / (1.0 + seen), rel=1e-6)
    own, bare = Inner.of(amplifier, 0.05), responses(plain, f).i_coil[0]
    forward = own.gain(2j * np.pi * f) * bare * steeper(own, p, operating(p), 1.0)[0]
    assert 0.05 * closed == pytest.approx(forward / (1.0 + whole), rel=1e-6)


def test_a_sampled_inner_loop_turns_unstable_at_half_the_switching_frequency_as_its_current_does():
    # Second road: with a plain amplifier the comparator meets current and ramp, so that the edge is the one of peak
    # current mode, (rise + ramp)/(rise + fall) = 1/2: there the sampled gain at half the frequency is −1.
    p = stage("buck", 5.0)
    rise, fall = 12.0 / L, 8.0 / L
    r_sense, gain = 0.05, 3.0
    for ratio, sign in ((0.99, -1.0), (1.01, 1.0)):
        slope = r_sense * (0.5 * (rise + fall) * ratio - rise)  # negative: a ramp that helps the current
        own = Inner(g=r_sense * gain, w_zero=1e-3, w_pole=1e13)
        mod = VoltageMode(v_ramp=gain * slope * T)
        plant = Plant(points=p, input=STIFF, output=STIFF, modulator=mod)
        s = 2j * np.pi * np.array([0.5 / T])
        at = operating(p)
        whole = inner_gain(mod, own, p, at, s, responses(plant, np.array([0.5 / T])))
        assert np.sign(1.0 + whole[0, 0].real) == sign
        assert abs(1.0 + whole[0, 0]) < 0.05

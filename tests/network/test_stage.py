"""The switched stage at its limits, at printed numbers, and by second roads.

EM is R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001. Rows CV, RM, SW are those
of the project's list of outside check values: "from memory" means that the source was not opened, "recomputed" that an
independent script worked the number out of the relation.
"""

from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from chargewright.network.stage import CoilAt, Setting, StageLosses, StageWaveform, SwitchAt, drive_supply, stage_point

Floats = npt.NDArray[np.float64]

IDEAL = SwitchAt(0.0, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0)
REAL = SwitchAt(10e-3, 8e-9, 2e-9, 2.2, 3.0, 250e-12, 10e-9, 15e-9, 0.8)
BARE_COIL = CoilAt(4.7e-6, 1e9, 2.0, 0.0, 1.0, 1e6, 0.0, 1.5, 2.5, 1e-9, 1e-4)
COIL = CoilAt(4.7e-6, 8.0, 2.5, 15e-3, 1.5, 1e6, 1.0, 1.35, 2.3, 1e-7, 2e-4)
BARE = Setting(0.0, 600e3, 0.0, 5.0, 0.0, 0.92, 0.5, 0.0, 0.3, 0.0, 0.0)
DRIVEN = Setting(0.0, 600e3, 25e-9, 5.0, 1e-3, 0.92, 0.5, 1.0, 0.3, 3e-3, 2e-3)
SWITCHED = ("overlap", "capacitance", "recovery", "dead_time")
STILL = BARE_COIL._replace(l_0=1.0, turns_area=1.0)
"""So much inductance that there is no ripple."""


def stage(
    v_in: Any,
    v_out: Any,
    i_l: Any,
    setting: Setting = BARE,
    coil: CoilAt = BARE_COIL,
    switch: SwitchAt = IDEAL,
    low: SwitchAt | None = None,
) -> tuple[StageLosses, StageWaveform]:
    """Return the stage with the same switch in all four places, or another in the low ones."""
    low = switch if low is None else low
    return stage_point(v_in, v_out, i_l, switch, low, low, switch, coil, setting)


# Printed numbers, through the whole stage


def test_a_buck_at_the_printed_numbers():
    # CV13, RM05, RM06, RM07, RM10 (EM ch. 2 and derived; recomputed): 20 V to 8.4 V, 4.7 µH, 600 kHz, 5 A.
    # Half of the last digit each.
    _, wave = stage(20.0, 8.4, 5.0, BARE._replace(legs=1.0))
    assert float(wave.d_in) == pytest.approx(0.42, abs=1e-12)
    assert float(wave.di_pp) == pytest.approx(1.72766, abs=5e-6)
    assert float(wave.rms_coil) == pytest.approx(5.024812, abs=5e-7)
    assert float(wave.i_peak) == pytest.approx(5.863830, abs=5e-7)
    assert float(wave.rms_in_high) == pytest.approx(3.256450, abs=5e-7)
    assert float(wave.rms_in_low) == pytest.approx(3.826783, abs=5e-7)
    assert float(wave.rms_in_capacitor) == pytest.approx(2.488869, abs=5e-7)
    assert float(wave.rms_out_capacitor) == pytest.approx(0.498732, abs=5e-7)


def test_a_boost_at_the_printed_numbers():
    # CV16, CV17, RM12 (EM ch. 2.3 and derived; recomputed): 7.4 V to 20 V, 2 A, 4.7 µH, 600 kHz. Half of a last digit.
    _, wave = stage(7.4, 20.0, 5.40541, BARE._replace(legs=-1.0))
    assert float(wave.d_out) == pytest.approx(0.63, abs=1e-12)
    assert 5.40541 * (1.0 - float(wave.d_out)) == pytest.approx(2.0, abs=2e-6)
    assert float(wave.di_pp) == pytest.approx(1.65319, abs=5e-6)
    assert float(wave.rms_out_capacitor) == pytest.approx(2.625848, abs=3e-6)


def test_both_legs_at_the_printed_numbers():
    # CV18 (standard relation, from memory; recomputed): D1 0.9, D2 0.2 make 1.12500.
    _, wave = stage(16.0, 16.0 * 1.125, 4.0, BARE._replace(duty_turn=0.8))
    assert float(wave.d_in) == pytest.approx(0.9, abs=1e-12)
    assert float(wave.d_out) == pytest.approx(0.2, abs=1e-12)


def test_a_buck_in_discontinuous_conduction_at_the_printed_numbers():
    # CV11 (EM ch. 5.2, from memory; recomputed): D 0.5, K 0.1 make 0.765564. K = 2·l·f/R, D the high switch's share.
    v_in, gain = 10.0, 0.765564
    r = 2.0 * 4.7e-6 * 600e3 / 0.1
    _, wave = stage(v_in, gain * v_in, gain * v_in / r, BARE._replace(legs=1.0, emulate=1.0, skip=0.01))
    # Half of the last digit of the gain, six digits, moves the duty by about as much.
    assert float(wave.d_in * wave.active) == pytest.approx(0.5, abs=2e-6)


def test_a_boost_in_discontinuous_conduction_at_the_printed_numbers():
    # CV07, CV09 (EM ch. 5.3, from memory; recomputed): 5 µH, 100 kHz, 12 Ω, D 0.6, 24 V make 63.306 V, where the
    # formula of continuous conduction would say 60 V. Half of the last digit is 8e-6 of output and duty.
    v_in, v_out = 24.0, 63.306
    i_in = v_out**2 / 12.0 / v_in
    coil = BARE_COIL._replace(l_0=5e-6)
    _, wave = stage(v_in, v_out, i_in, BARE._replace(legs=-1.0, f_sw=100e3, emulate=1.0, skip=0.01), coil)
    assert float(wave.d_out * wave.active) == pytest.approx(0.6, abs=1e-5)


@pytest.mark.parametrize("leg", ["in", "out"])
def test_switching_losses_at_the_printed_numbers(leg: str):
    # SW01 to SW05 (EM ch. 4.3, from memory; SW05 derived; recomputed), all at 20 V, 5 A, 600 kHz, without ripple, once
    # in the input leg of a buck and once in the output leg of a boost. Gate and plateau are chosen so that the edges
    # take 10 ns and 8 ns. The switches of the other leg would lose other amounts. Exact but for 1e-5 of ripple.
    q_sw = 5.0 / (1.0 / 10e-9 + 1.0 / 8e-9)
    hard = SwitchAt(0.0, 12e-9, q_sw, q_sw / 8e-9, 1.0, 200e-12, 0.0, 0.0, 0.0)
    diode = SwitchAt(0.0, 12e-9, 0.0, 1.0, 1.0, 100e-12, 15e-9, 0.0, 0.75)
    other = SwitchAt(0.0, 99e-9, 9e-9, 1.0, 1.0, 999e-12, 99e-9, 99e-9, 0.99)
    setting = BARE._replace(t_dead=20e-9)
    if leg == "in":
        losses, _ = stage_point(20.0, 8.0, 5.0, hard, diode, other, other, STILL, setting._replace(legs=1.0))
    else:
        losses, _ = stage_point(8.0, 20.0, 5.0, other, other, hard, diode, STILL, setting._replace(legs=-1.0))
    found = losses._asdict()
    assert float(found[f"{leg}_overlap"]) == pytest.approx(0.540, rel=1e-4)
    assert float(found[f"{leg}_capacitance"]) == pytest.approx(0.036, rel=1e-9)
    assert float(found[f"{leg}_recovery"]) == pytest.approx(0.180, rel=1e-4)
    assert float(found[f"{leg}_dead_time"]) == pytest.approx(0.090, rel=1e-4)
    still = {"in": "out", "out": "in"}[leg]
    for name in SWITCHED:
        assert float(found[f"{still}_{name}"]) == 0.0, "a leg that stands still switches nothing"
    # SW04's current term, v·i·t_rr·f, comes on top: 20 V · 5 A · 10 ns · 600 kHz are 0.6 W, by hand.
    slow = diode._replace(t_rr=10e-9)
    if leg == "in":
        losses, _ = stage_point(20.0, 8.0, 5.0, hard, slow, other, other, STILL, setting._replace(legs=1.0))
    else:
        losses, _ = stage_point(8.0, 20.0, 5.0, other, other, hard, slow, STILL, setting._replace(legs=-1.0))
    assert float(losses._asdict()[f"{leg}_recovery"]) == pytest.approx(0.780, rel=1e-4)


def test_gates_are_driven_from_the_lower_side_that_is_high_enough():
    # SW02 (EM ch. 4.3, from memory; recomputed): two gates of 12 nC from 5 V at 600 kHz take 72.0 mW.
    driven = IDEAL._replace(q_gate=12e-9)
    fed, _ = stage(20.0, 5.0, 5.0, BARE._replace(legs=1.0, v_drive=4.7), STILL, driven)
    assert float(fed.gate_drive) == pytest.approx(0.072, rel=1e-9)
    # Common practice: a linear drive supply needs 0.3 V; below that it takes the higher side.
    supply = drive_supply(20.0, np.array([5.29, 5.30, 8.0, 25.0]), 5.0)
    np.testing.assert_array_equal(supply, [20.0, 5.30, 8.0, 20.0])


# Limits

RATIOS = np.linspace(0.2, 3.0, 57)


@pytest.mark.parametrize("scale", [1e-3, 1e-5, 1e-7])
def test_without_resistance_the_stage_is_the_ideal_ratio(scale: float):
    # EM ch. 2: M = D of a buck, 1/(1 - D) of a boost; D1/(1 - D2) where both legs switch (CV18). At scale 1, 3 A
    # through 35 mΩ and 3 % of 0.8 V in dead time are 0.13 V, which is 6.5 % of the least output.
    small = REAL._replace(r_on=REAL.r_on * scale)
    coil = COIL._replace(r_dc=COIL.r_dc * scale)
    setting = DRIVEN._replace(t_dead=DRIVEN.t_dead * scale)
    _, wave = stage(10.0, 10.0 * RATIOS, 3.0, setting, coil, small)
    np.testing.assert_allclose(wave.d_in / (1.0 - wave.d_out), RATIOS, rtol=0.08 * scale)


def test_without_load_the_efficiency_goes_to_nothing():
    # A stage that leaves pulses out loses what its controller draws, and that alone, when it delivers nothing.
    i = np.array([1e-3, 1e-5, 1e-7, 1e-9])
    for v_out, wasted in ((5.0, 12.0), (12.0, 12.0), (20.0, 12.0)):
        losses, wave = stage(12.0, v_out, i, DRIVEN, COIL, REAL)
        total = sum(losses)
        p_out = v_out * i * (1.0 - wave.d_out)
        efficiency = p_out / (p_out + total)
        assert np.all(np.diff(efficiency) < 0.0)
        assert efficiency[-1] < 1e-5
        supply = min(v_out, wasted) if min(v_out, wasted) >= 5.3 else max(v_out, wasted)
        # At 1 nA some 1e-9 of the pulses are left.
        assert total[-1] == pytest.approx(1e-3 * supply, rel=1e-4)


def test_forced_conduction_loses_the_same_at_every_light_load():
    # Without diode emulation ripple and switching go on: the loss without load is that of a small load, within 1 %.
    losses, _ = stage(12.0, 5.0, np.array([1e-9, 1e-3]), DRIVEN._replace(emulate=0.0), COIL, REAL)
    total = sum(losses)
    assert total[0] > 0.05
    assert total[0] == pytest.approx(total[1], rel=0.01)


def boundary(v_in: float, v_out: float, share: float) -> float:
    """Return the coil current at which `active` reaches a share, by halving; 1 ends discontinuous conduction."""
    low, high = 1e-6, 50.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        wave = stage(v_in, v_out, middle, DRIVEN, COIL, REAL)[1]
        below = float(wave.active) < share if share < 1.0 else float(wave.i_valley) <= 0.0
        low, high = (middle, high) if below else (low, middle)
    return 0.5 * (low + high)


@pytest.mark.parametrize("v_out", [4.0, 11.9, 25.0], ids=["buck", "both legs", "boost"])
@pytest.mark.parametrize("share", [1.0, DRIVEN.skip], ids=["to discontinuous", "to skipping"])
@pytest.mark.parametrize("step", [1e-9, 1e-6])
def test_losses_are_continuous_where_the_conduction_changes(v_out: float, share: float, step: float):
    # A step of 1e-9 in current moves each loss by at most 1e-6 of the total, one of 1e-6 by 1e-3: no term comes or goes
    # in one step, nor just beside the edge.
    edge = boundary(12.0, v_out, share)
    losses, wave = stage(12.0, v_out, edge * (1.0 + np.array([-step, 0.0, step])), DRIVEN, COIL, REAL)
    total = float(sum(losses)[1])
    assert total > 0.0
    for name, values in losses._asdict().items():
        assert np.ptp(np.asarray(values) + np.zeros(3)) <= 1e3 * step * total, name
    # It is the edge: on one side there is a valley or every pulse is left in, on the other not.
    if share == 1.0:
        assert wave.i_valley[0] == 0.0
        assert wave.i_valley[2] > 0.0
    else:
        assert wave.rate[0] < DRIVEN.f_sw
        assert wave.rate[2] == pytest.approx(DRIVEN.f_sw, rel=1e-12)


def test_between_the_regions_nothing_jumps_but_what_begins_to_switch():
    # From buck over both legs to boost at one coil current. A region's edge adds or ends the switching of one leg, and
    # moves the duties of the other a little: what is left of a jump is within 5 % of the total, and smooth elsewhere.
    v_out = np.linspace(8.0, 17.0, 20001)
    losses, wave = stage(12.0, v_out, 4.0, DRIVEN, COIL, REAL)
    found = losses._asdict()
    total = sum(losses)
    region = np.where(wave.d_out == 0.0, 0, np.where(wave.d_in == 1.0, 2, 1))
    edges = np.flatnonzero(np.diff(region))
    assert region[edges].tolist() == [0, 1]
    assert region[edges + 1].tolist() == [1, 2]
    jumps = np.diff(total)
    smooth = np.delete(jumps, edges)
    assert np.max(np.abs(smooth)) < 1e-3 * np.min(total)
    legs = {leg: sum(found[f"{leg}_{name}"] for name in SWITCHED) for leg in ("in", "out")}
    switching = np.diff(legs["in"] + legs["out"] + found["gate_drive"])
    for edge, leg, sign in ((edges[0], "out", 1.0), (edges[1], "in", -1.0)):
        assert np.diff(legs[leg])[edge] * sign > 0.0
        assert abs(jumps[edge] - switching[edge]) < 0.05 * total[edge]


def test_the_input_leg_never_needs_more_than_the_whole_period():
    # With dead time there is a narrow band where both legs would ask for more than the period; one leg takes over.
    v_out = np.linspace(11.0, 14.0, 30001)
    _, wave = stage(12.0, v_out, 4.0, DRIVEN._replace(t_dead=40e-9, f_sw=1.2e6), COIL, REAL)
    assert np.max(wave.d_in) <= 1.0
    # 4 A through 45 mΩ and the diodes' 1.6 V for 10 % of the time are 0.34 V of 12 V.
    np.testing.assert_allclose(wave.d_in / (1.0 - wave.d_out), v_out / 12.0, atol=0.03)


def test_a_buck_below_its_output_says_that_it_drops_out():
    _, wave = stage(5.0, 8.4, 2.0, DRIVEN._replace(legs=1.0), COIL, REAL)
    assert float(wave.d_in) > 1.0


# Second roads


def walked(v_in: float, v_out: float, wave: StageWaveform, setting: Setting, l_coil: float) -> dict[str, float]:
    """Walk through one repetition of an ideal stage, interval by interval, from the waveform's valley.

    Knows nothing of the stage but which switches are closed when: samples the current and averages.
    """
    share = float(wave.active) * setting.f_sw / float(wave.rate)
    d_in, d_out = float(wave.d_in), float(wave.d_out)
    between = d_in - d_out
    intervals = [
        (setting.phase * between, 1, 1),
        (d_out, 1, 0),
        ((1.0 - setting.phase) * between, 1, 1),
        (1.0 - d_in, 0, 1),
    ]
    steps = 40_000
    at = (np.arange(steps) + 0.5) / steps
    ends = np.cumsum([length for length, _, _ in intervals])
    which = np.minimum(np.searchsorted(ends, at), 3)
    from_in = np.array([k[1] for k in intervals])[which]
    to_out = np.array([k[2] for k in intervals])[which]
    slope = (from_in * v_in - to_out * v_out) / l_coil
    i = np.cumsum(slope) * share / setting.f_sw / steps
    i += float(wave.i_valley) - np.min(i)
    active = float(wave.active)
    return {
        "mean": active * float(np.mean(i)),
        "peak": float(np.max(i)),
        "rms_coil": np.sqrt(active * np.mean(i**2)),
        "rms_in_high": np.sqrt(active * np.mean(from_in * i**2)),
        "rms_in_low": np.sqrt(active * np.mean((1 - from_in) * i**2)),
        "rms_out_low": np.sqrt(active * np.mean((1 - to_out) * i**2)),
        "rms_out_high": np.sqrt(active * np.mean(to_out * i**2)),
        "i_in": active * float(np.mean(from_in * i)),
        "i_out": active * float(np.mean(to_out * i)),
        "ends_where_it_began": float(i[-1] - i[0]),
    }


@given(
    v_in=st.floats(5.0, 28.0),
    ratio=st.floats(0.2, 4.0),
    i_l=st.floats(0.02, 8.0),
    phase=st.floats(0.0, 1.0),
    emulate=st.sampled_from([0.0, 1.0]),
    turn=st.floats(0.7, 0.97),
)
def test_walking_through_the_period_finds_the_same_currents(
    v_in: float, ratio: float, i_l: float, phase: float, emulate: float, turn: float
):
    v_out = ratio * v_in
    setting = BARE._replace(phase=phase, emulate=emulate, duty_turn=turn)
    losses, wave = stage(v_in, v_out, i_l, setting)
    found = walked(v_in, v_out, wave, setting, BARE_COIL.l_0)
    # 40 000 samples a period, four edges that may fall anywhere between two of them: 4e-4 of ripple and current.
    near = 4e-4 * (float(wave.di_pp) + float(wave.i_peak))
    assert found["mean"] == pytest.approx(i_l, abs=near)
    assert found["peak"] == pytest.approx(float(wave.i_peak), abs=near)
    assert found["ends_where_it_began"] == pytest.approx(0.0, abs=near)
    for name in ("rms_coil", "rms_in_high", "rms_in_low", "rms_out_low", "rms_out_high"):
        # A square root near zero makes more of an edge: one sample's share of the peak is √(1/40000) of it.
        assert found[name] == pytest.approx(float(getattr(wave, name)), abs=5e-3 * float(wave.i_peak), rel=1e-3), name
    # Nothing is lost in an ideal stage, so what comes in goes out.
    assert sum(float(loss) for loss in losses) == pytest.approx(0.0, abs=1e-12)
    assert v_in * found["i_in"] == pytest.approx(v_out * found["i_out"], abs=near * (v_in + v_out))


@given(
    v_in=st.floats(6.0, 28.0),
    ratio=st.floats(0.1, 0.9),
    i_l=st.floats(0.5, 8.0),
    l_0=st.floats(2e-6, 1e-3),
    legs=st.sampled_from([1.0, -1.0]),
)
def test_power_in_less_power_out_is_conduction_and_dead_time(
    v_in: float, ratio: float, i_l: float, l_0: float, legs: float
):
    # Second road for duties and losses: input current from the waveform (mean square less what the capacitor takes) and
    # output current from the duty give the power that is lost. The duties balance the mean current, the losses hold the
    # ripple too: di²/12 in every resistance, but for the dead times at peak and valley, where the channel is off.
    v_out = ratio * v_in if legs > 0.0 else v_in / ratio
    r, r_dc = 10e-3, 15e-3
    setting = BARE._replace(legs=legs, t_dead=20e-9)
    losses, wave = stage(
        v_in, v_out, i_l, setting, BARE_COIL._replace(l_0=l_0, r_dc=r_dc), IDEAL._replace(r_on=r, v_f=0.8)
    )
    dead = 2.0 * setting.t_dead * setting.f_sw
    # A valley below zero sends the current of one dead time through the other diode; off-times below the dead times are
    # not a working point.
    assume(float(wave.i_valley) > 0.0 and (float(wave.d_in) < 1.0 - dead or legs < 0.0))
    i_in = np.sqrt(float(wave.rms_in_high) ** 2 - float(wave.rms_in_capacitor) ** 2)
    i_out = i_l * (1.0 - float(wave.d_out))
    ripple = float(wave.di_pp) ** 2 * ((2.0 * r + r_dc) / 12.0 - r * dead / 4.0)
    lost = v_in * i_in - v_out * i_out
    # Differences of powers of up to 1 kW: rounding.
    assert lost + ripple == pytest.approx(float(sum(losses)), rel=1e-8, abs=1e-10)


@pytest.mark.parametrize("ratio", [0.4, 0.97, 1.01, 2.0])
def test_power_in_less_power_out_without_ripple(ratio: float):
    # The same road where both legs switch, too; a henry leaves a microampere of ripple.
    setting, lossy = BARE._replace(t_dead=20e-9), IDEAL._replace(r_on=10e-3, v_f=0.8)
    losses, wave = stage(12.0, ratio * 12.0, 5.0, setting, STILL._replace(r_dc=15e-3), lossy)
    lost = 12.0 * 5.0 * float(wave.d_in) - ratio * 12.0 * 5.0 * (1.0 - float(wave.d_out))
    assert lost == pytest.approx(float(sum(losses)), rel=1e-9)


@pytest.mark.parametrize("v_out", [4.0, 11.9, 25.0], ids=["buck", "both legs", "boost"])
@pytest.mark.parametrize("i_l", [0.005, 0.1, 4.0], ids=["skipping", "discontinuous", "continuous"])
def test_core_loss_is_the_integral_over_the_flux(v_out: float, i_l: float):
    # Second road: the improved generalised Steinmetz equation is k·Δb^(β-α)·mean(|db/dt|^α) per volume (Venkatachalam
    # et al., IEEE COMPEL 2002, from memory). The flux slope is the coil's voltage over turns times area, as the closed
    # switches set it; pauses between pulses count as no slope.
    setting = BARE._replace(emulate=1.0)
    coil = BARE_COIL._replace(k_i=COIL.k_i, alpha=COIL.alpha, beta=COIL.beta, volume=COIL.volume, turns_area=2e-4)
    losses, wave = stage(12.0, v_out, i_l, setting, coil)
    d_in, d_out = float(wave.d_in), float(wave.d_out)
    shares = np.array([d_out, d_in - d_out, 1.0 - d_in])
    volts = np.array([12.0, 12.0 - v_out, -v_out])
    swing = coil.l_0 * float(wave.di_pp) / coil.turns_area
    mean_power = float(wave.active) * np.sum(shares * np.abs(volts / coil.turns_area) ** coil.alpha)
    expected = coil.volume * coil.k_i * swing ** (coil.beta - coil.alpha) * mean_power
    assert expected > 0.0
    assert float(losses.coil_core) == pytest.approx(expected, rel=1e-9)


def test_capacitors_and_winding_lose_by_their_own_resistance():
    setting = BARE._replace(esr_in=3e-3, esr_out=7e-3)
    coil = BARE_COIL._replace(r_dc=15e-3, ac_ratio=3.0, f_ref=600e3)
    for v_out in (5.0, 11.9, 25.0):
        losses, wave = stage(12.0, v_out, 3.0, setting, coil)
        assert float(losses.in_capacitor) == pytest.approx(3e-3 * float(wave.rms_in_capacitor) ** 2, rel=1e-12)
        assert float(losses.out_capacitor) == pytest.approx(7e-3 * float(wave.rms_out_capacitor) ** 2, rel=1e-12)
        assert float(losses.coil_winding) == pytest.approx(15e-3 * 9.0, rel=1e-12)
        # At its reference frequency the winding has three times its resistance for what is not direct current.
        assert float(losses.coil_ac) == pytest.approx(45e-3 * (float(wave.rms_coil) ** 2 - 9.0), rel=1e-9)


def test_a_stage_turned_round_is_the_same_stage():
    # Sides exchanged: the buck of 12 V to 5 V run backwards is the boost of 5 V to 12 V with the same coil current,
    # ripple and switch currents, leg by leg.
    _, buck = stage(12.0, 5.0, 3.0, BARE._replace(legs=1.0))
    _, boost = stage(5.0, 12.0, 3.0, BARE._replace(legs=-1.0))
    assert float(boost.d_out) == pytest.approx(1.0 - float(buck.d_in), rel=1e-12)
    for there, back in (
        ("di_pp", "di_pp"),
        ("rms_coil", "rms_coil"),
        ("rms_in_high", "rms_out_high"),
        ("rms_in_low", "rms_out_low"),
        ("rms_in_capacitor", "rms_out_capacitor"),
        ("rms_out_capacitor", "rms_in_capacitor"),
    ):
        assert float(getattr(boost, back)) == pytest.approx(float(getattr(buck, there)), rel=1e-9), there


def test_arrays_and_floats_give_the_same():
    v_out = np.array([4.0, 11.9, 25.0])
    losses, wave = stage(12.0, v_out, 2.0, DRIVEN, COIL, REAL)
    for k, v in enumerate(v_out):
        alone = stage(12.0, float(v), 2.0, DRIVEN, COIL, REAL)
        for many, one in zip((*losses, *wave), (*alone[0], *alone[1]), strict=True):
            assert (np.asarray(many) + np.zeros(3))[k] == pytest.approx(float(one), rel=1e-14)


def test_saturation_raises_the_ripple():
    # 70 % of the inductance is left at i_sat, by the definition of the catalogue's curve: so 1/0.7 of the ripple.
    hard = BARE_COIL._replace(i_sat=5.0, sat_exponent=4.0)
    soft, _ = (stage(20.0, 8.4, 5.0, BARE, coil)[1] for coil in (hard, BARE_COIL))
    assert float(soft.di_pp) == pytest.approx(1.72766 / 0.7, rel=1e-5)

"""Conduction, ripple and rms values by second roads: sampled waveforms, volt-seconds, limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import OutOfRange
from chargewright.physics.conduction import ramp_mean_square, resistance_at, resistive_loss, switch_conduction_loss
from chargewright.physics.discontinuous import (
    boost_critical_parameter,
    boost_dcm_gain,
    buck_boost_critical_parameter,
    buck_boost_dcm_gain,
    buck_critical_parameter,
    buck_dcm_gain,
    conduction_parameter,
)
from chargewright.physics.waveform import (
    dcm_conduction_share,
    dcm_peak_current,
    offset_ripple_rms,
    pulsed_ac_rms,
    pulsed_rms,
    triangle_rms,
    triangular_pulse_rms,
    two_slope_ripple,
)

MIDPOINTS = (np.arange(4000) + 0.5) / 4000
"""Middles of equal steps of one period; the midpoint rule on a parabola errs by 1/(12·4000²) of its span."""

AMPS = st.floats(-20.0, 20.0)
RIPPLE = st.floats(0.0, 20.0)
DUTY = st.floats(0.001, 0.999)


def ramp(i_mid: float, di_pp: float) -> np.ndarray:
    """Return the samples of a ramp that lasts a whole period."""
    return i_mid + di_pp * (MIDPOINTS - 0.5)


def test_conduction_loss_agrees_with_the_book_for_dc_with_ripple():
    # Outside source: Kusko & Thompson (2007), ch. 4, fig. 4.9 (from memory): I0·√(1 + ⅓(Δi_pp/(2·I0))²).
    # I0 = 3 A, Δi_pp = 1.2 A give 9.12 A² (by hand); times 10 mΩ is 91.2 mW. Exact, so rel is rounding only.
    assert switch_conduction_loss(3.0, 1.2, 1.0, 0.010) == pytest.approx(0.0912, rel=1e-12)


@given(i_on=AMPS, di_pp=RIPPLE, duty=DUTY)
def test_conduction_loss_is_the_mean_of_the_sampled_power(i_on, di_pp, duty):
    # Definition of mean power. abs covers the midpoint rule: 20²·10 mΩ/(12·4000²).
    sampled = duty * np.mean(0.010 * ramp(i_on, di_pp) ** 2)
    assert switch_conduction_loss(i_on, di_pp, duty, 0.010) == pytest.approx(sampled, rel=1e-9, abs=1e-7)


@given(i_mid=AMPS, di_pp=RIPPLE, duty=DUTY)
def test_switch_and_resistor_lose_the_same_for_the_same_current(i_mid, di_pp, duty):
    # Conservation: two ways to the same loss, by the waveform and by its rms value. Rounding only.
    by_rms = resistive_loss(pulsed_rms(i_mid, di_pp, duty), 0.025)
    assert switch_conduction_loss(i_mid, di_pp, duty, 0.025) == pytest.approx(by_rms, rel=1e-12)


@given(i_mid=AMPS, di_pp=RIPPLE)
def test_the_mean_square_of_a_ramp_is_that_of_its_samples(i_mid, di_pp):
    # Definition; abs as above without the resistance.
    assert ramp_mean_square(i_mid, di_pp) == pytest.approx(np.mean(ramp(i_mid, di_pp) ** 2), rel=1e-9, abs=1e-5)


@given(i_mid=AMPS, di_pp=RIPPLE, duty=DUTY)
def test_a_pulse_s_rms_splits_into_mean_and_alternating_part(i_mid, di_pp, duty):
    # Parseval: rms² = mean² + ac rms². Rounding only.
    whole = pulsed_rms(i_mid, di_pp, duty) ** 2
    parts = (duty * i_mid) ** 2 + pulsed_ac_rms(i_mid, di_pp, duty) ** 2
    assert parts == pytest.approx(whole, rel=1e-12, abs=1e-12)


def test_the_capacitor_current_of_a_leg_is_that_of_its_samples():
    # Definition: rms of a sampled pulse train without its mean; 1600 of 4000 samples. rel: midpoint rule.
    pulse = np.zeros(4000)
    pulse[:1600] = 5.0 + 1.7 * ((np.arange(1600) + 0.5) / 1600 - 0.5)
    assert pulsed_ac_rms(5.0, 1.7, 0.4) == pytest.approx(np.std(pulse), rel=1e-6)


def test_the_special_rms_values_are_those_of_samples():
    # Definition. rel: midpoint rule on 4000 samples.
    triangle = np.abs(2.0 * MIDPOINTS - 1.0) * 3.0 - 1.5
    assert triangle_rms(3.0) == pytest.approx(np.sqrt(np.mean(triangle**2)), rel=1e-6)
    assert offset_ripple_rms(4.0, 1.5) == pytest.approx(np.sqrt(np.mean((4.0 + triangle) ** 2)), rel=1e-6)
    pulse = np.where(MIDPOINTS < 0.25, 5.0 * MIDPOINTS / 0.25, 0.0)
    assert triangular_pulse_rms(5.0, 0.25) == pytest.approx(np.sqrt(np.mean(pulse**2)), rel=1e-6)


@given(v_in=st.floats(5.0, 50.0), ratio=st.floats(0.05, 0.95), l=st.floats(1e-6, 1e-4), f_sw=st.floats(1e5, 2e6))
def test_ripple_fits_the_volt_seconds_of_both_slopes(v_in, ratio, l, f_sw):  # noqa: E741
    # Conservation: times of rise and fall from v·t = L·Δi fill the period. Rounding only.
    v_out = ratio * v_in
    di_pp = two_slope_ripple(v_in - v_out, v_out, l, f_sw)
    t_rise, t_fall = l * di_pp / (v_in - v_out), l * di_pp / v_out
    assert t_rise + t_fall == pytest.approx(1.0 / f_sw, rel=1e-12)
    assert t_rise * f_sw == pytest.approx(ratio, rel=1e-9)


def test_ripple_vanishes_where_one_voltage_does():
    assert two_slope_ripple(0.0, 12.0, 4.7e-6, 600e3) == 0.0
    assert two_slope_ripple(12.0, 0.0, 4.7e-6, 600e3) == 0.0


@given(di_ccm=st.floats(0.01, 20.0))
def test_discontinuous_current_meets_the_continuous_one_at_the_boundary(di_ccm):
    # Limit: at a mean of half the ripple the current just touches zero. Rounding only.
    edge = di_ccm / 2.0
    assert dcm_peak_current(edge, di_ccm) == pytest.approx(di_ccm, rel=1e-12)
    assert dcm_conduction_share(edge, di_ccm) == pytest.approx(1.0, rel=1e-12)
    share, peak = dcm_conduction_share(-edge, di_ccm), dcm_peak_current(-edge, di_ccm)
    discontinuous = pulsed_rms(peak / 2.0, peak, share)
    assert discontinuous == pytest.approx(offset_ripple_rms(edge, di_ccm / 2.0), rel=1e-12)


@given(di_ccm=st.floats(0.01, 20.0), part=st.floats(0.001, 0.999))
def test_a_discontinuous_triangle_has_the_mean_it_was_made_for(di_ccm, part):
    # Conservation of charge: half of peak times share is the mean. Rounding only.
    i_mean = part * di_ccm / 2.0
    assert dcm_peak_current(i_mean, di_ccm) * dcm_conduction_share(i_mean, di_ccm) / 2.0 == pytest.approx(i_mean)
    assert triangular_pulse_rms(dcm_peak_current(i_mean, di_ccm), dcm_conduction_share(i_mean, di_ccm)) > i_mean


@given(duty=st.floats(0.05, 0.95))
def test_discontinuous_gains_meet_the_continuous_ones_at_the_critical_parameter(duty):
    # Limit. rel 1e-9: the boost's root loses digits where 4·D²/K is large.
    assert buck_dcm_gain(duty, buck_critical_parameter(duty)) == pytest.approx(duty, rel=1e-9)
    assert boost_dcm_gain(duty, boost_critical_parameter(duty)) == pytest.approx(1.0 / (1.0 - duty), rel=1e-9)
    inverting = buck_boost_dcm_gain(duty, buck_boost_critical_parameter(duty))
    assert inverting == pytest.approx(duty / (1.0 - duty), rel=1e-9)


def test_the_buck_s_discontinuous_gain_follows_from_its_charge_per_period():
    # Second road through currents: the load current v/R must be the mean of the triangle that starts from zero.
    v_in, duty, l_buck, r, f_sw = 20.0, 0.5, 2e-6, 40.0, 100e3
    v_out = v_in * buck_dcm_gain(duty, conduction_parameter(l_buck, r, f_sw))
    peak = (v_in - v_out) / l_buck * duty / f_sw
    fall = l_buck * peak / v_out
    assert peak / 2.0 * (duty + fall * f_sw) == pytest.approx(v_out / r, rel=1e-9)


def test_resistance_doubles_where_the_slope_says():
    # By hand: 0.4 %/K takes 250 K to double. 25 °C is 298.15 K.
    assert resistance_at(0.010, 0.004, 298.15) == 0.010
    assert resistance_at(0.010, 0.004, 548.15) == pytest.approx(0.020, rel=1e-12)


def test_per_cent_and_degrees_celsius_are_refused():
    with pytest.raises(OutOfRange, match=r"duty leaves 0 … 1 \(got 42 … 42\)"):
        switch_conduction_loss(3.0, 1.2, 42.0, 0.010)
    with pytest.raises(OutOfRange, match="temp leaves 100"):
        resistance_at(0.010, 0.004, np.array([25.0, 85.0]))

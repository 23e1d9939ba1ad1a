"""Magnetics and capacitors by second roads: numerical integrals, flux from volts, charge balance."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from chargewright.physics.capacitor import (
    biased_capacitance,
    esr_ripple,
    life_at,
    switched_voltage_ripple,
    triangle_voltage_ripple,
)
from chargewright.physics.magnetics import (
    flux_swing,
    igse_coefficient,
    igse_coefficient_exact,
    saturating_inductance,
    skin_limited_resistance,
    triangle_core_loss,
    winding_ac_loss,
)
from chargewright.physics.waveform import triangle_rms, two_slope_ripple


@given(exponent=st.floats(1.0, 12.0))
def test_seventy_per_cent_is_left_at_the_saturation_current_whatever_the_exponent(exponent):
    # Definition of i_sat. Rounding only.
    assert saturating_inductance(4.7e-6, 8.0, 8.0, exponent) == pytest.approx(0.7 * 4.7e-6, rel=1e-12)
    assert saturating_inductance(4.7e-6, -8.0, 8.0, exponent) == pytest.approx(0.7 * 4.7e-6, rel=1e-12)
    assert saturating_inductance(4.7e-6, 0.0, 8.0, exponent) == 4.7e-6


@given(i=st.lists(st.floats(0.0, 30.0), min_size=2, max_size=20))
def test_inductance_never_rises_with_current(i):
    left = saturating_inductance(4.7e-6, np.sort(i), 8.0, 4.0)
    assert np.all(np.diff(left) <= 0.0)
    assert np.all(left > 0.0)


def test_flux_swing_is_the_volt_seconds_per_turn():
    # Faraday's law, second road: volts times time over turns times area. Rounding only.
    v_rise, v_fall, l_core, f_sw, turns_area = 11.6, 8.4, 4.7e-6, 600e3, 8 * 12e-6
    di_pp = two_slope_ripple(v_rise, v_fall, l_core, f_sw)
    t_rise = v_fall / (v_rise + v_fall) / f_sw
    assert flux_swing(l_core, di_pp, turns_area) == pytest.approx(v_rise * t_rise / turns_area, rel=1e-12)


@given(alpha=st.floats(0.5, 3.0), beta=st.floats(1.5, 3.5))
def test_the_exact_coefficient_is_its_defining_integral(alpha, beta):
    # Outside source: Venkatachalam et al. 2002 (from memory): k/((2π)^(a−1)·∫|cos|^a·2^(b−a)), by quadrature over a
    # quarter. rel 1e-6: the quadrature meets a root at its end.
    integral = 4.0 * quad(lambda theta: np.cos(theta) ** alpha, 0.0, np.pi / 2.0)[0]
    expected = 1.0 / ((2.0 * np.pi) ** (alpha - 1.0) * integral * 2.0 ** (beta - alpha))
    assert igse_coefficient_exact(1.0, alpha, beta) == pytest.approx(expected, rel=1e-6)


def test_the_closed_coefficient_is_as_near_to_the_exact_one_as_its_docstring_says():
    alphas = np.linspace(0.5, 3.0, 251)
    exact = np.array([igse_coefficient_exact(1.0, float(a), 2.5) for a in alphas])
    assert np.max(np.abs(igse_coefficient(1.0, alphas, 2.5) / exact - 1.0)) < 2e-3


def test_the_core_loss_of_a_triangle_is_the_mean_of_the_sampled_loss_density():
    # Definition of iGSE, by sampling: mean of k_i·|dB/dt|^a·ΔB^(b−a). 4000 samples meet the corner exactly at 30 %.
    k_i, alpha, beta, db, f, duty, volume = 0.4, 1.5, 2.5, 0.12, 600e3, 0.3, 1.1e-6
    samples = (np.arange(4000) + 0.5) / 4000
    slope = np.where(samples < duty, db * f / duty, -db * f / (1.0 - duty))
    mean = volume * np.mean(k_i * np.abs(slope) ** alpha * db ** (beta - alpha))
    loss = triangle_core_loss(k_i, alpha, beta, db, duty / f, (1.0 - duty) / f, f, volume)
    assert loss == pytest.approx(mean, rel=1e-12)


def test_core_loss_is_finite_and_zero_without_flux_even_where_times_vanish():
    for t in (0.0, 1e-300, 1e-15):
        assert triangle_core_loss(0.4, 1.8, 2.5, 0.0, t, t, 600e3, 1e-6) == 0.0
        assert np.isfinite(triangle_core_loss(0.4, 1.8, 2.5, 0.1, t, 1e-6, 600e3, 1e-6))


def test_the_floor_of_the_times_moves_no_real_number():
    # 1 ps is far below any slope; at 1 ns the formula must stand as printed.
    plain = 1e-6 * 0.4 * 0.1**2.5 * 600e3 * (1e-9**-0.8 + 2e-9**-0.8)
    assert triangle_core_loss(0.4, 1.8, 2.5, 0.1, 1e-9, 2e-9, 600e3, 1e-6) == pytest.approx(plain, rel=1e-12)


def test_winding_loss_is_rms_squared_times_resistance():
    assert winding_ac_loss(2.4, 0.030) == pytest.approx(triangle_rms(2.4) ** 2 * 0.030, rel=1e-12)


def test_ac_resistance_follows_the_root_of_frequency_and_never_falls_below_dc():
    # By hand: ratio 4 at 1 MHz is 2 at 250 kHz and would be 0.4 at 10 kHz, where dc resistance rules.
    assert skin_limited_resistance(0.010, 4.0, 250e3, 1e6) == pytest.approx(0.020, rel=1e-12)
    assert skin_limited_resistance(0.010, 4.0, 10e3, 1e6) == 0.010


def test_half_of_the_capacitance_is_left_at_the_half_voltage():
    # Definition of v_half. Rounding only.
    assert biased_capacitance(22e-6, 0.0, 12.0, 2.0) == 22e-6
    assert biased_capacitance(22e-6, -12.0, 12.0, 2.0) == pytest.approx(11e-6, rel=1e-12)


@pytest.mark.parametrize("duty", [0.2, 0.5, 0.7])
def test_ripple_of_a_triangle_is_its_integral_over_capacitance(duty):
    # Second road: integrate a sampled triangle of this rise and fall. rel: trapezoidal rule on 20 000 steps.
    di_pp, c, f = 1.7, 22e-6, 600e3
    t = np.linspace(0.0, 1.0, 20_001)
    current = np.interp(t, [0.0, duty, 1.0], [-di_pp / 2.0, di_pp / 2.0, -di_pp / 2.0])
    v = np.concatenate([[0.0], np.cumsum((current[1:] + current[:-1]) / 2.0)]) * (t[1] / f) / c
    assert triangle_voltage_ripple(di_pp, c, f) == pytest.approx(np.ptp(v), rel=1e-6)


@pytest.mark.parametrize("duty", [0.2, 0.5, 0.7])
def test_ripple_beside_a_switched_leg_is_its_integral_over_capacitance(duty):
    # Second road: integrate leg current less its mean; both duties fall on sample edges. Rounding only.
    i, c, f, n = 5.0, 10e-6, 600e3, 1000
    leg = np.where(np.arange(n) < round(duty * n), i, 0.0)
    v = np.concatenate([[0.0], np.cumsum(duty * i - leg)]) / (n * f * c)
    assert switched_voltage_ripple(i, duty, c, f) == pytest.approx(np.ptp(v), rel=1e-9)
    assert switched_voltage_ripple(i, 1.0, c, f) == 0.0


def test_ripple_of_the_series_resistance_is_ohm_s_law():
    # By hand: 2 A through 5 mΩ.
    assert esr_ripple(2.0, 0.005) == pytest.approx(0.010, rel=1e-12)


def test_life_doubles_every_ten_kelvin():
    # Common practice (10 K rule), by hand: 2000 h at 105 °C is 16 000 h at 75 °C and 1000 h at 115 °C.
    hours = 3600.0
    assert life_at(2000 * hours, 378.15, 348.15) == pytest.approx(16000 * hours, rel=1e-12)
    assert life_at(2000 * hours, 378.15, 388.15) == pytest.approx(1000 * hours, rel=1e-12)

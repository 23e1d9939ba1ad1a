"""Transients and dampers by second roads: integrated circuits, frequency sweeps, energy balance."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from chargewright.physics.resonance import (
    characteristic_impedance,
    damper_capacitance_ratio,
    damper_resistance,
    lc_resonance,
    ring_frequency,
    series_damping_ratio,
)
from chargewright.physics.transient import (
    charging_energy,
    hold_up_time,
    hot_plug_peak,
    hot_plug_peak_current,
    hot_plug_peak_time,
    inductor_energy,
    inrush_current,
    rc_voltage,
    unplug_voltage,
)

V_SOURCE, L_CABLE, C_BUS = 20.0, 1e-6, 10e-6


def plugged_in(r: float, v_start: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return time, voltage and current of the capacitor after the contact closes, integrated past the first peak."""

    def slopes(t: float, state: np.ndarray) -> list[float]:
        v, i = state
        return [i / C_BUS, (V_SOURCE - v - r * i) / L_CABLE]

    t = np.linspace(0.0, 15e-6, 15_001)
    found = solve_ivp(slopes, (0.0, t[-1]), [v_start, 0.0], method="DOP853", t_eval=t, rtol=1e-10, atol=1e-10)
    return t, found.y[0], found.y[1]


@pytest.mark.parametrize("r", [0.0, 0.03, 0.1, 0.4])
@pytest.mark.parametrize("v_start", [0.0, 5.0])
def test_hot_plug_peaks_are_those_of_the_integrated_circuit(r, v_start):
    # Second road: the differential equation, sampled every nanosecond. rel and abs: the sampling at a flat top.
    t, v, i = plugged_in(r, v_start)
    circuit = {"r": r, "l": L_CABLE, "c": C_BUS}
    assert hot_plug_peak(V_SOURCE, v_start, **circuit) == pytest.approx(np.max(v), rel=1e-6)
    assert hot_plug_peak_current(V_SOURCE, v_start, **circuit) == pytest.approx(np.max(i), rel=1e-6)
    assert hot_plug_peak_time(**circuit) == pytest.approx(t[np.argmax(v)], abs=2e-9)


def test_a_circuit_that_does_not_ring_never_passes_the_source():
    # Critical damping is at r = 2·√(L/C) = 0.632 Ω.
    _, v, _ = plugged_in(0.8, 0.0)
    assert np.max(v) < V_SOURCE
    circuit = {"r": np.array([0.6325, 0.8, 5.0]), "l": L_CABLE, "c": C_BUS}
    assert np.all(hot_plug_peak(V_SOURCE, 0.0, **circuit) == V_SOURCE)
    assert np.all(np.isnan(hot_plug_peak_time(**circuit)))
    assert np.all(np.isnan(hot_plug_peak_current(V_SOURCE, 0.0, **circuit)))
    assert np.all(ring_frequency(**circuit) == 0.0)


def test_resonance_is_where_both_reactances_are_the_characteristic_impedance():
    w = 2.0 * np.pi * lc_resonance(330e-6, 470e-6)
    assert w * 330e-6 == pytest.approx(characteristic_impedance(330e-6, 470e-6), rel=1e-12)
    assert 1.0 / (w * 470e-6) == pytest.approx(characteristic_impedance(330e-6, 470e-6), rel=1e-12)


def test_the_ringing_is_the_root_of_the_characteristic_equation():
    # Second road: roots of L·C·s² + R·C·s + 1. Rounding of the root finder.
    root = np.roots([L_CABLE * C_BUS, 0.1 * C_BUS, 1.0])[0]
    assert ring_frequency(0.1, L_CABLE, C_BUS) == pytest.approx(abs(root.imag) / (2.0 * np.pi), rel=1e-9)
    assert series_damping_ratio(0.1, L_CABLE, C_BUS) == pytest.approx(-root.real / abs(root), rel=1e-9)


def damped_peak(r: float, n: float) -> float:
    """Return the greatest output impedance of a 330 uH, 470 uF filter with an R-C damper, by a frequency sweep."""
    s = 2j * np.pi * np.geomspace(50.0, 5000.0, 200_001)
    damper = r + 1.0 / (s * n * 470e-6)
    return float(np.max(np.abs(1.0 / (1.0 / (s * 330e-6) + s * 470e-6 + 1.0 / damper))))


@pytest.mark.parametrize("z_peak", [0.6, 1.0, 2.0])
def test_the_damper_holds_the_impedance_that_was_asked_for_and_none_does_better(z_peak):
    # TR04 (derived; recomputed): sweep the circuit itself, then try resistors beside the best. rel: the sweep's steps.
    r_0 = characteristic_impedance(330e-6, 470e-6)
    n = damper_capacitance_ratio(r_0, z_peak)
    best = damper_resistance(r_0, n)
    assert damped_peak(best, n) == pytest.approx(z_peak, rel=1e-6)
    assert min(damped_peak(factor * best, n) for factor in (0.8, 0.95, 1.05, 1.25)) > z_peak


def test_charging_through_a_resistance_turns_as_much_into_heat_as_it_stores():
    # Conservation: integrate i²·r of the exponential. rel: trapezoidal rule.
    r, c, v = 2.0, 100e-6, 20.0
    t = np.linspace(0.0, 40.0 * r * c, 400_001)
    heat = (v - rc_voltage(0.0, v, t, r * c)) ** 2 / r
    assert np.sum((heat[1:] + heat[:-1]) / 2.0) * t[1] == pytest.approx(charging_energy(c, v), rel=1e-6)


def test_charging_along_a_ramp_turns_as_much_into_heat_in_the_switch():
    # Conservation: constant current c·slew times the switch's voltage, which falls evenly from v to zero.
    c, v, slew = 100e-6, 20.0, 30e3
    assert inrush_current(c, slew) * (v / 2.0) * (v / slew) == pytest.approx(charging_energy(c, v), rel=1e-12)


def test_unplugging_moves_the_cable_s_energy_into_the_capacitor():
    # Conservation of energy. Rounding only.
    after = unplug_voltage(20.0, 1e-6, 5.0, 22e-6)
    gained = charging_energy(22e-6, after) - charging_energy(22e-6, 20.0)
    assert gained == pytest.approx(inductor_energy(1e-6, 5.0), rel=1e-9)


def test_hold_up_ends_when_the_energy_is_used_up():
    # Conservation of energy, and the differential equation c·v·dv/dt = −p in 10 000 steps.
    t = hold_up_time(100e-6, 20.0, 9.0, 60.0)
    assert 60.0 * t == pytest.approx(charging_energy(100e-6, 20.0) - charging_energy(100e-6, 9.0), rel=1e-12)
    v = 20.0
    for _ in range(10_000):
        v -= 60.0 / (100e-6 * v) * t / 10_000
    assert v == pytest.approx(9.0, rel=1e-3)

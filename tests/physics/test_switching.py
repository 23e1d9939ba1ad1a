"""Switching losses by second roads: sampled products of voltage and current, energy balance."""

import numpy as np
import pytest

from chargewright.physics.switching import (
    dead_time_loss,
    gate_drive_loss,
    output_capacitance_loss,
    overlap_loss,
    recovery_loss,
    turn_off_time,
    turn_on_time,
)

SAMPLES = (np.arange(10_000) + 0.5) / 10_000


def test_overlap_loss_is_the_energy_of_the_sampled_changes_times_frequency():
    # Definition: ∫ v·i dt with current ramping first (30 % of the time) and voltage falling after. rel: midpoint rule.
    v, i_on, t_on, i_off, t_off, f = 20.0, 4.0, 12e-9, -6.0, 8e-9, 600e3
    current = np.minimum(SAMPLES / 0.3, 1.0)
    voltage = np.minimum((1.0 - SAMPLES) / 0.7, 1.0)
    energy = np.mean(voltage * current) * v * (i_on * t_on + abs(i_off) * t_off)
    assert overlap_loss(v, i_on, t_on, i_off, t_off, f) == pytest.approx(energy * f, rel=1e-6)


def test_a_soft_change_costs_no_overlap():
    assert overlap_loss(20.0, 0.0, 10e-9, 0.0, 8e-9, 600e3) == 0.0


def test_overlap_times_carry_the_switching_charge_at_the_driver_s_current():
    # Conservation of charge: driver current over the plateau times the time. By hand: (8 − 3) V over 2 Ω is 2.5 A.
    assert turn_on_time(5e-9, 2.0, 8.0, 3.0) * 2.5 == pytest.approx(5e-9, rel=1e-12)
    assert turn_off_time(5e-9, 2.0, 3.0) * 1.5 == pytest.approx(5e-9, rel=1e-12)


def test_the_capacitance_s_loss_is_its_stored_energy_times_frequency():
    # Second road: integrate v·C dv from zero, once per period. rel: midpoint rule.
    energy = 300e-12 * np.mean(SAMPLES * 20.0) * 20.0
    assert output_capacitance_loss(300e-12, 20.0, 600e3) == pytest.approx(energy * 600e3, rel=1e-9)


def test_recovery_takes_the_supply_s_charge_at_full_voltage():
    # Conservation: the supply gives v·(recovered charge + load charge during recovery) each period. By hand:
    # 20 V·(15 nC + 5 A·20 ns)·600 kHz = 20·115e-9·6e5 = 1.38 W.
    assert recovery_loss(15e-9, 5.0, 20e-9, 20.0, 600e3) == pytest.approx(1.38, rel=1e-12)
    assert recovery_loss(15e-9, -5.0, 20e-9, 20.0, 600e3) == pytest.approx(1.38, rel=1e-12)


def test_each_dead_time_counts_with_its_own_current():
    # By hand: 0.75 V·(4 + 6) A·20 ns·600 kHz = 90 mW; reversed current conducts through the other diode alike.
    assert dead_time_loss(0.75, 4.0, 6.0, 20e-9, 600e3) == pytest.approx(0.090, rel=1e-12)
    assert dead_time_loss(0.75, 4.0, -6.0, 20e-9, 600e3) == pytest.approx(0.090, rel=1e-12)


def test_gate_power_is_the_supply_s_current_times_its_voltage():
    # By hand: 12 nC at 600 kHz is 7.2 mA; from a 12 V supply 86.4 mW, whatever the gate's own voltage.
    assert gate_drive_loss(12e-9, 12.0, 600e3) == pytest.approx(7.2e-3 * 12.0, rel=1e-12)

"""Charges that have a closed form."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from chargewright.parts.pack import Pack
from chargewright.physics.cell import charge_at_voltage_limit, ohmic_and_rc_voltage, taper_time_constant
from chargewright.sim.charge import ChargeRun, run_charge
from chargewright.sim.charge_setup import QUICK, ChargeSettings

ROOM = 298.15
Make = Callable[..., Pack]

CHARGER = ChargeSettings(
    v_set=4.2,
    i_charge=5.0,
    v_precharge=1.0,
    i_precharge=0.5,
    i_termination=0.25,
    timer=36000.0,
    precharge_timer=1800.0,
)


@pytest.fixture
def straight(make_table_pack: Make) -> Pack:
    """Return the straight-line cell of PB01: 3.5 V + 0.14 V/Ah, 50 mΩ."""
    return make_table_pack(amp_hours=5.0, soc=[0.0, 1.0], ocv=[3.5, 4.2], r0=0.05)


@pytest.fixture
def straight_run(straight: Pack) -> ChargeRun:
    return run_charge(straight, CHARGER, soc_start=0.0, temp_ambient=ROOM)


def test_constant_current_ends_where_the_closed_form_says(straight_run: ChargeRun):
    # Outside check PB01: 3.214286 Ah after 0.642857 h. 1e-4 asked; the charge is exact under constant current.
    assert straight_run.t_voltage == pytest.approx(0.642857 * 3600.0, rel=1e-6)
    at = np.searchsorted(straight_run.trace.t, straight_run.t_voltage)
    q = charge_at_voltage_limit(v_max=4.2, v_empty=3.5, i=5.0, r=0.05, ocv_slope=0.14 / 3600.0)
    assert straight_run.trace.soc[at] * 5.0 == pytest.approx(float(q) / 3600.0, rel=1e-6)


def test_the_taper_takes_as_long_as_the_closed_form_says(straight_run: ChargeRun):
    # Outside check PB02: taper 1.069904 h and 1.696429 Ah, in all 1.712762 h and 4.910714 Ah, to 1e-4.
    run = straight_run
    assert (run.t_end - run.t_voltage) / 3600.0 == pytest.approx(1.069904, rel=1e-4)
    assert run.t_end / 3600.0 == pytest.approx(1.712762, rel=1e-4)
    assert run.charge / 3600.0 == pytest.approx(4.910714, rel=1e-6)
    assert (run.charge - 5.0 * run.t_voltage) / 3600.0 == pytest.approx(1.696429, rel=1e-6)
    assert run.ended_by == "termination"


def test_the_taper_is_an_exponential(straight_run: ChargeRun):
    # Second road for PB02: the current at any instant of the taper, tau = r/slope. A step's time constant is 1.2e-5 off
    # (FINE), and over three of them that is 3.6e-5 of the current.
    run, tau = straight_run, taper_time_constant(r=0.05, ocv_slope=0.14 / 3600.0)
    tapering = run.trace.limit == 2
    expected = 5.0 * np.exp(-(run.trace.t[tapering] - run.t_voltage) / tau)
    np.testing.assert_allclose(run.trace.i[tapering], expected, rtol=5e-5)


def test_the_heat_and_energy_of_the_straight_line_are_met(straight_run: ChargeRun):
    # By hand: heat of R over both phases, r·i²·t_cc + r·τ·(i² − i_end²)/2; stored energy is the area under the line.
    tau = float(taper_time_constant(r=0.05, ocv_slope=0.14 / 3600.0))
    heat = 0.05 * (25.0 * 0.6428571428571429 * 3600.0 + tau * (25.0 - 0.0625) / 2.0)
    q = 4.910714285714286
    assert straight_run.heat_cells == pytest.approx(heat, rel=3e-5)
    assert straight_run.energy_stored == pytest.approx((3.5 * q + 0.07 * q**2) * 3600.0, rel=1e-6)
    assert straight_run.energy_in == pytest.approx(heat + (3.5 * q + 0.07 * q**2) * 3600.0, rel=1e-6)


def test_quick_accuracy_is_still_within_the_tolerance_of_a_study(straight: Pack):
    # 0.1 %: what a value that is dragged needs; PB02 at 1e-4 is met with the fine accuracy above.
    run = run_charge(straight, CHARGER, soc_start=0.0, temp_ambient=ROOM, accuracy=QUICK)
    assert run.t_end / 3600.0 == pytest.approx(1.712762, rel=1e-3)
    assert len(run.trace.t) < 150


def test_one_pair_follows_its_closed_form_under_constant_current(make_table_pack: Make):
    # Outside check CE18: 2.5 A, 25 mΩ, 15 mΩ, 30 s give 73.130 mV after 10 s, to 1e-4; rest voltage all but flat.
    settings = replace(CHARGER, i_charge=2.5, timer=10.0)
    steep = make_table_pack(
        amp_hours=1e4, soc=[0.0, 0.9, 1.0], ocv=[3.7, 3.7 + 1e-6, 4.2], r0=0.025, r1=0.015, tau=30.0
    )
    run = run_charge(steep, settings, soc_start=0.1, temp_ambient=ROOM)
    expected = ohmic_and_rc_voltage(i=2.5, r_0=0.025, r_1=0.015, tau=30.0, t=run.trace.t[1:-1])
    np.testing.assert_allclose(run.trace.v_pack[1:-1] - 3.7, expected, atol=1e-6)
    assert run.trace.v_pack[-1] - 3.7 == pytest.approx(0.073130, rel=1e-4)
    assert run.trace.t[-1] == pytest.approx(10.0)


def test_a_constant_heat_warms_by_its_closed_form(make_table_pack: Make):
    # Second road: T − T_ambient = P·R·(1 − exp(−t/(R·C))) for 2 A through 0.1 Ω, 10 K/W, 50 J/K.
    pack = make_table_pack(
        amp_hours=50.0, soc=[0.0, 1.0], ocv=[3.0, 4.2], r0=0.1, heat_capacity=50.0, thermal_resistance=10.0
    )
    settings = replace(CHARGER, i_charge=2.0, timer=2400.0)
    run = run_charge(pack, settings, soc_start=0.1, temp_ambient=ROOM)
    expected = 0.4 * 10.0 * (1.0 - np.exp(-run.trace.t / 500.0))
    np.testing.assert_allclose(run.trace.temp - ROOM, expected, atol=1e-6)


def test_a_source_of_constant_power_charges_at_that_power(straight: Pack):
    # Second road: energy at the terminals is power times time, while the source rules throughout.
    run = run_charge(
        straight, replace(CHARGER, timer=1800.0), soc_start=0.0, temp_ambient=ROOM, available=lambda v: 10.0 / v
    )
    assert run.seconds["source"] == pytest.approx(1800.0)
    assert run.energy_in == pytest.approx(18000.0, rel=1e-6)
    np.testing.assert_allclose(run.trace.i[:-1] * run.trace.v_pack[:-1], 10.0, rtol=1e-6)


def test_leads_inside_the_loop_shorten_the_constant_current(straight: Pack):
    # By hand: sensed at the converter, 30 mΩ of leads act like the cell's own, (4.2 − 3.5 − 5·0.08)/0.14 = 2.142857 Ah;
    # sensed at the cells they do not (PB01).
    led = replace(straight, protection=replace(straight.protection, typ=0.03, low=0.03, high=0.03))
    at_converter = run_charge(replace(led, sensed_at="converter"), CHARGER, soc_start=0.0, temp_ambient=ROOM)
    at_cells = run_charge(replace(led, sensed_at="cells"), CHARGER, soc_start=0.0, temp_ambient=ROOM)
    assert at_converter.t_voltage / 3600.0 == pytest.approx(2.142857 / 5.0, rel=1e-6)
    assert at_cells.t_voltage / 3600.0 == pytest.approx(3.214286 / 5.0, rel=1e-6)
    assert at_cells.trace.v_pack.max() == pytest.approx(4.2 + 5.0 * 0.03)
    # τ = (50 + 30) mΩ over the slope, so the taper is longer by 8/5.
    assert (at_converter.t_end - at_converter.t_voltage) / 3600.0 == pytest.approx(1.069904 * 1.6, rel=1e-4)

"""Usage in steps where the answer is known in closed form, and where a rule of the charger has to act."""

from dataclasses import replace

import numpy as np
import pytest
from ideal_path import TEMP, count, path_of, rows_of, run, seconds, settings_of

from chargewright.parts.cell import ChargeZone
from chargewright.physics.cell import hysteresis_after
from chargewright.sim import usage_rules as code
from chargewright.sim._usage_pack import AHEAD

HOUR = 3600.0


@pytest.fixture
def make_pack(make_table_pack):
    """Return a function that makes a pack of one cell of any voltage, charged and emptied without other limits."""

    def made(**given):
        pack = make_table_pack(**given)
        zones = (ChargeZone(temp_low=200.0, temp_high=400.0, rate=10.0 / HOUR, v_max=1e3),)
        cell = replace(pack.cell, limits=replace(pack.cell.limits, zones=zones))
        return replace(pack, cell=cell, i_discharge_max=20.0, v_cell_min=0.9 * pack.v_cell_min)

    return made


@pytest.fixture
def stiff(make_pack):
    """A pack of nearly constant voltage: 20 V, 0.2 Ω, 5 Ah."""
    return make_pack(amp_hours=5.0, soc=[0.0, 1.0], ocv=[20.0 - 1e-7, 20.0], r0=0.2, v_max=20.5)


@pytest.fixture
def sloped(make_table_pack):
    """The cell of PB01: rest voltage 3.5 V + 0.14 V per Ah, 50 mΩ, 5 Ah."""
    return make_table_pack(amp_hours=5.0, soc=[0.0, 1.0], ocv=[3.5, 4.2], r0=0.05, v_max=4.2)


def test_a_load_of_constant_power_meets_its_closed_form(stiff):
    # Check value TR07 (derived, recomputed): 20 V behind 0.2 Ω and 90 W rest at 19.05539 V and 4.72307 A; 1e-6.
    found = rows_of(run(stiff, path_of(), [(60.0, 90.0, -1)], soc=1.0))
    np.testing.assert_allclose(found["v"], 19.05539, rtol=1e-6)
    np.testing.assert_allclose(found["i"], -4.72307, rtol=2e-6)
    # Second road: the charge that is gone is current times time.
    assert (found["soc"][0] - found["soc"][-1]) * 5.0 * HOUR == pytest.approx(4.72307 * found["t"][-1], rel=2e-6)


def test_the_pack_runs_until_its_charge_is_gone(stiff):
    # 5 Ah at 4.72307 A last 3811.08 s; steps of one second.
    found = run(stiff, path_of(), [(2 * HOUR, 90.0, -1)], soc=1.0)
    assert 2 * HOUR - found.total(code.T_UNSERVED) == pytest.approx(5 * HOUR / 4.72307, abs=1.0)
    assert count(found, "pack empty") == 1


def test_more_than_the_pack_can_give_is_not_served(stiff):
    # v²/(4 r) = 500 W is the most that 20 V give through 0.2 Ω (Jacobi).
    pack = replace(stiff, i_discharge_max=1e3, v_cell_min=5.0)
    path = path_of(loads=(0.0, 1000.0))
    assert run(pack, path, [(10.0, 490.0, -1)], soc=1.0).total(code.T_UNSERVED) == 0.0
    assert run(pack, path, [(10.0, 510.0, -1)], soc=1.0).total(code.T_UNSERVED) == 10.0


def test_constant_current_constant_voltage_meets_its_closed_form(sloped):
    # Check values PB01, PB02 (derived, recomputed): at 5 A the hold begins after 0.642857 h and 3.214286 Ah; with
    # 0.25 A it ends after 1.712762 h and 4.910714 Ah in all. 1e-3: steps of one second at the ends of both.
    wanted = settings_of(sloped, i_charge=5.0, i_termination=0.25, v_precharge=1.0)
    found = run(sloped, path_of(), [(2 * HOUR, 0.0, 0)], soc=0.0, settings=wanted)
    t_cc = seconds(found, state="charging", limit="charge current")
    t_cv = seconds(found, state="charging", limit="charge voltage")
    assert t_cc == pytest.approx(0.642857 * HOUR, rel=1e-3)
    assert t_cc + t_cv == pytest.approx(1.712762 * HOUR, rel=1e-3)
    assert found.total(code.Q_IN) / HOUR == pytest.approx(4.910714, rel=1e-4)
    rows = rows_of(found)
    assert rows["i"].max() == 5.0
    assert rows["v"].max() <= 4.2 + 1e-9
    assert count(found, "charge ended") == 1


def test_longer_steps_lead_to_the_same_charge(sloped):
    wanted = settings_of(sloped, i_charge=5.0, i_termination=0.25, v_precharge=1.0)
    fine, coarse = (
        run(sloped, path_of(), [(2 * HOUR, 0.0, 0)], soc=0.0, settings=wanted, longest=step) for step in (1.0, 60.0)
    )
    # The taper has a time constant of 1286 s; a step of a minute, with its current held, is 2 % of that at its end.
    assert coarse.total(code.Q_IN) == pytest.approx(fine.total(code.Q_IN), rel=2e-3)
    assert coarse.total(code.E_SOURCE) == pytest.approx(fine.total(code.E_SOURCE), rel=2e-3)
    assert rows_of(coarse)["v"].max() <= 4.2 + 1e-6


def test_polarisation_follows_its_closed_form(make_table_pack):
    # Check value CE18 (circuit, recomputed): 2.5 A on 25 mΩ and a pair of 15 mΩ, 30 s drop 73.130 mV after 10 s; 1e-4.
    pack = make_table_pack(amp_hours=500.0, soc=[0.0, 1.0], ocv=[3.7, 3.7 + 1e-7], r0=0.025, r1=0.015, tau=30.0)
    wanted = settings_of(pack, i_charge=2.5, i_termination=0.1, v_precharge=1.0)
    for step in (1.0, 10.0):  # a step of constant current is exact, however long
        found = run(pack, path_of(), [(10.0, 0.0, 0)], soc=0.5, settings=wanted, longest=step)
        assert found.end.polarisation[0] + 2.5 * 0.025 == pytest.approx(73.130e-3, rel=1e-4)


@pytest.mark.parametrize(("load", "amps"), [(40.0, 2.900267), (60.0, 0.550267), (64.0, 0.080267)])
def test_the_charge_gets_what_the_source_leaves_over(make_pack, load, amps):
    # Check values PB03 to PB05 (derived, recomputed): 65 W less 0.316875 W on the way, a load, a charger of 94 %, and a
    # pack at 8.0 V leave these currents; six decimals are printed.
    pack = make_pack(amp_hours=500.0, soc=[0.0, 1.0], ocv=[8.0, 8.0 + 1e-8], r0=1e-9, v_max=9.0)
    wanted = settings_of(pack, i_charge=5.0, i_termination=0.01, v_precharge=1.0)
    path = path_of(limits=(65.0,), fixed=0.316875, eta_charge=0.94)
    found = rows_of(run(pack, path, [(60.0, load, 0)], soc=0.5, settings=wanted))
    np.testing.assert_allclose(found["i"], amps, atol=5e-7)
    np.testing.assert_allclose(found["p_source"], 65.0, rtol=1e-9)


def test_the_pack_brings_what_the_source_may_not(make_pack):
    # Check value PB06 (derived, recomputed): 80 W with 64.683125 W there and a boost of 93 % take 16.469758 W; 1e-6.
    pack = make_pack(amp_hours=500.0, soc=[0.0, 1.0], ocv=[8.0, 8.0 + 1e-8], r0=1e-9, v_max=9.0)
    path = path_of(limits=(65.0,), fixed=0.316875, eta_charge=0.94, eta_help=0.93)
    wanted = settings_of(pack, i_charge=5.0, i_termination=0.01, v_precharge=1.0)
    found = run(pack, path, [(60.0, 80.0, 0)], soc=0.5, settings=wanted)
    np.testing.assert_allclose(-rows_of(found)["i"] * 8.0, 16.469758, rtol=1e-6)
    assert seconds(found, state="supplement") == 60.0
    assert found.total(code.E_HELP) == pytest.approx(60.0 * 16.469758, rel=1e-6)


def test_a_path_that_cannot_help_lets_the_load_down(make_pack):
    pack = make_pack(amp_hours=50.0, soc=[0.0, 1.0], ocv=[8.0, 8.1], r0=0.05, v_max=9.0)
    path = path_of(limits=(60.0,), helps=False, trip=70.0, trip_time=3.0)
    found = run(pack, path, [(10.0, 65.0, 0), (120.0, 30.0, 0)], soc=0.5)
    # Three seconds of overload are stood, then the product is down for the rest and until a minute has passed.
    assert found.total(code.T_OVER) == 3.0
    assert found.total(code.T_BEYOND) == found.total(code.T_UNSERVED) == 60.0
    assert count(found, "source overloaded") == 1
    assert rows_of(found)["p_source"].max() <= 65.0 + 1e-9


def test_supplement_ends_only_with_headroom_and_after_its_dwell(make_pack):
    pack = make_pack(amp_hours=50.0, soc=[0.0, 1.0], ocv=[8.0, 8.1], r0=0.05, v_max=9.0)
    to_and_fro = [(1.0, 66.0, 0), (1.0, 55.0, 0)] * 300
    eager = run(pack, path_of(), to_and_fro, soc=0.5, headroom=0.0, dwell=0.0)
    patient = run(pack, path_of(), to_and_fro, soc=0.5, headroom=0.0, dwell=30.0)
    wide = run(pack, path_of(), to_and_fro, soc=0.5, headroom=0.1, dwell=0.0)
    # Eager: the pack turns with every change of the load. Patient: at most once in 30 s each way. Wide: 55 W of 60 W
    # leave 8 %, less than 10 % headroom, so it never charges in between.
    assert eager.total(code.FLIPS) == 599.0
    assert 0.0 < patient.total(code.FLIPS) <= 2 * 600.0 / 30.0
    assert wide.total(code.FLIPS) == 0.0
    assert eager.total(code.Q_IN) > patient.total(code.Q_IN) > wide.total(code.Q_IN) == 0.0
    for found in (eager, patient, wide):
        assert rows_of(found)["p_source"].max() <= 60.0 * (1.0 + 1e-6)


def test_a_full_pack_rests_until_it_has_fallen_by_the_recharge_drop(sloped):
    # 1 % an hour by itself; 70 mV of 3.5 V … 4.2 V are 10 % of the charge: charged again after some ten hours.
    wanted = settings_of(sloped, i_charge=2.5, i_termination=0.1, v_precharge=1.0)
    rate = 0.01 / HOUR
    found = run(
        sloped, path_of(), [(30 * HOUR, 0.0, 0)], soc=1.0, settings=wanted, recharge_drop=0.07, longest=60.0,
        self_discharge=rate,
    )  # fmt: skip
    rows = rows_of(found)
    begins = rows["t"][np.flatnonzero(rows["i"] > 0.0)[0]]
    assert begins == pytest.approx(10 * HOUR, abs=700.0)  # a pack at rest takes steps of ten minutes
    assert count(found, "charge resumed") >= 2
    assert rows["soc"].min() > 0.89
    assert found.total(code.Q_SELF) == pytest.approx(0.3 * 5.0 * HOUR, rel=1e-9)


def test_a_cold_pack_is_not_charged_until_it_is_warm(sloped):
    zones = (ChargeZone(temp_low=273.15, temp_high=318.15, rate=1.0 / HOUR, v_max=4.2),)
    cell = replace(
        sloped.cell, limits=replace(sloped.cell.limits, zones=zones), heat_capacity=60.0, thermal_resistance=20.0
    )
    pack = replace(sloped, cell=cell)
    wanted = settings_of(pack, i_charge=2.0, i_termination=0.1, v_precharge=1.0)
    # Ambient steps from −10 °C to 20 °C within minutes after midnight: the cell follows with 1200 s.
    ambient = [263.15, *[293.15] * 287, 263.15]
    found = run(
        pack, path_of(), [(2 * HOUR, 0.0, 0)], soc=0.2, settings=wanted, temp=263.15, ambient=ambient,
    )  # fmt: skip
    rows = rows_of(found)
    first = int(np.flatnonzero(rows["i"] > 0.0)[0])
    assert rows["temp"][first] >= 275.15  # zone edge and 2 K of hysteresis
    assert rows["temp"][first] == pytest.approx(275.15, abs=0.05)
    # Exponential approach after a ramp of 300 s: from −10 °C it meets 2 °C after 150 s + 1200 s · ln(30/18), nearly.
    assert rows["t"][first] == pytest.approx(150.0 + 1200.0 * np.log(30.0 / 18.0), rel=0.02)
    assert count(found, "too cold to charge") == 1
    assert found.total(code.T_BLOCKED) == rows["t"][first]


def test_heat_warms_the_pack_as_a_lumped_mass(make_table_pack):
    # 5 A through 50 mΩ are 1.25 W; with 20 K/W and 60 J/K the rise is 25 K·(1 − exp(−t/1200 s)).
    pack = make_table_pack(
        amp_hours=500.0, soc=[0.0, 1.0], ocv=[3.7, 3.7 + 1e-7], r0=0.05, heat_capacity=60.0, thermal_resistance=20.0
    )
    wanted = settings_of(pack, i_charge=5.0, i_termination=0.1, v_precharge=1.0)
    found = run(pack, path_of(), [(1200.0, 0.0, 0)], soc=0.5, settings=wanted)
    assert found.end.temp - TEMP == pytest.approx(25.0 * (1.0 - np.exp(-1.0)), rel=1e-6)


def test_the_enclosure_lets_the_pack_feel_the_path(make_table_pack):
    pack = make_table_pack(amp_hours=500.0, soc=[0.0, 1.0], ocv=[3.7, 3.8], r0=1e-6, heat_capacity=60.0)
    found = run(pack, path_of(fixed=4.0), [(4 * HOUR, 5.0, 0)], soc=1.0, enclosure=3.0, longest=60.0)
    assert found.end.temp - TEMP == pytest.approx(12.0, rel=1e-6)  # 4 W at 3 K/W, settled


def test_a_pack_left_flat_falls_asleep_and_is_woken(sloped):
    wanted = settings_of(sloped, i_charge=2.5, i_termination=0.1, v_precharge=1.0)
    stretches = [(30 * HOUR, 0.5, -1), (2 * HOUR, 0.5, 0)]
    found = run(sloped, path_of(), stretches, soc=0.1, settings=wanted, standby=0.1, longest=10.0, wake=20.0)
    assert count(found, "pack empty") == count(found, "pack fell asleep") == count(found, "pack woken") == 1
    rows = rows_of(found)
    asleep = rows["state"] == code.STATES.index("pack asleep")
    assert np.all(rows["i"][asleep] == 0.0)
    woken = rows["t"] >= 30 * HOUR
    state = [code.STATES[int(k)] for k in rows["state"][woken][:4]]
    assert state[:2] == ["no pack", "no pack"]  # 20 s in steps of ten
    assert state[2] == "charging"
    assert found.end.charge > 0.5 * sloped.charge_span


def test_the_charge_timer_ends_a_charge_that_takes_too_long(sloped):
    wanted = settings_of(sloped, i_charge=0.5, i_termination=0.1, v_precharge=1.0, timer=HOUR)
    found = run(sloped, path_of(), [(3 * HOUR, 0.0, 0)], soc=0.1, settings=wanted, longest=10.0)
    assert count(found, "charge timer ran out") == 1
    assert found.total(code.Q_IN) == pytest.approx(0.5 * HOUR, rel=0.01)
    assert seconds(found, limit="timer") == pytest.approx(2 * HOUR, abs=20.0)


def test_the_current_follows_its_steps(sloped):
    wanted = settings_of(sloped, i_charge=1.0, i_termination=0.1, v_precharge=1.0, steps=((3.7, 3.0), (3.9, 2.0)))
    found = rows_of(run(sloped, path_of(), [(1.6 * HOUR, 0.0, 0)], soc=0.0, settings=wanted, longest=5.0))
    rest = 3.5 + 0.7 * found["soc"]
    np.testing.assert_allclose(found["i"][rest + 0.15 < 3.69], 3.0)
    np.testing.assert_allclose(found["i"][(rest + 0.15 > 3.71) & (rest + 0.1 < 3.89)], 2.0)
    np.testing.assert_allclose(found["i"][(rest + 0.1 > 3.91) & (rest + 0.05 < 4.19)], 1.0)


def test_a_product_that_was_shut_down_waits_for_more_than_the_pack_s_recovery(sloped):
    # At rest the emptied pack rises above its end again; it must not start and fall over and over.
    pack = replace(sloped, v_cell_min=3.6, i_discharge_max=10.0)
    found = run(pack, path_of(), [(3 * HOUR, 8.0, -1)], soc=0.6, standby=0.0)
    assert count(found, "pack empty") == 1
    lighter = run(pack, path_of(), [(2 * HOUR, 8.0, -1), (600.0, 1.0, -1)], soc=0.6, standby=0.0)
    assert lighter.total(code.T_UNSERVED) < 2 * HOUR  # less load: less drop, so it runs again
    assert rows_of(lighter)["p_load"][-1] == 1.0


def test_rails_that_brown_out_are_told_apart_from_an_empty_pack(sloped):
    pack = replace(sloped, i_discharge_max=10.0)
    found = run(pack, path_of(bus_fails_below=3.7), [(3 * HOUR, 8.0, -1)], soc=0.9, standby=0.0)
    assert count(found, "bus too low") == 1
    assert count(found, "pack empty") == 0
    assert rows_of(found)["v"][rows_of(found)["p_load"] > 0.0].min() >= 3.7 - 1e-3


def with_branches(pack, apart):
    cell = pack.cell
    return replace(pack, cell=replace(cell, ocv_charge=cell.ocv + apart, ocv_discharge=cell.ocv - apart))


def test_a_rest_voltage_with_hysteresis_turns_to_its_lower_branch_and_stays_there(sloped):
    # By hand: 50 mV apart from the mean; after a charge of 2 % of 5 Ah, 360 C, all but exp(-1) of the way is gone.
    # 2 W from some 3.9 V: line, resistance and branch make the voltage; 0.04 mV for the half step of the line.
    stretches = [(1800.0, 2.0, -1)]
    apart = rows_of(run(with_branches(sloped, 0.05), path_of(), stretches, soc=0.6))
    gone = 5.0 * HOUR * (apart["soc"][0] - apart["soc"])
    mean = 3.5 + 0.7 * apart["soc"] + 0.05 * apart["i"]
    # The mean over a step of a second stands half a step later than the state of charge of its row.
    expected = hysteresis_after(0.0, gone - 0.5 * apart["i"], 360.0)
    np.testing.assert_allclose(apart["v"] - mean, -0.05 * expected, atol=4e-5)


def test_hysteresis_costs_the_area_between_the_branches(sloped):
    # Second road: round a closed loop the cells take more than they give by twice 50 mV times the charge, but for the
    # two turns: each, from branch to branch, saves 2·50 mV·360 C. What is left over is r·i², which the same pack
    # without hysteresis has too. 3 % for the charge current's end at the charge voltage.
    pack = replace(sloped, v_cell_min=2.0)
    stretches = [(4000.0, 4.0, -1), (4000.0, 0.0, 0)]
    wanted = settings_of(pack, i_charge=1.0, i_termination=0.01, v_precharge=1.0, v_set=4.19)
    found = run(with_branches(pack, 0.05), path_of(), stretches, soc=0.6, settings=wanted, length=24000.0)
    t = found.total
    ohmic = 0.05 * float(np.sum(rows_of(found)["i"] ** 2 * np.diff(np.append(rows_of(found)["t"], 24000.0))))
    turns = 6.0
    by_area = 0.05 * (t(code.Q_IN) + t(code.Q_OUT)) - turns * 2.0 * 0.05 * 360.0
    assert t(code.HEAT_CELLS) - ohmic == pytest.approx(by_area, rel=0.03)
    kept = t(code.S_IN) - t(code.S_OUT) + t(code.HEAT_CELLS) + t(code.HEAT_LEADS)
    assert t(code.E_IN) - t(code.E_OUT) == pytest.approx(kept, rel=1e-9)


def test_balancing_takes_its_current_for_as_long_as_the_highest_cell_is_high(sloped):
    # Three cells, 6 % apart in state of charge: the one is 4 % of 5 Ah, 720 C, ahead. It passes 3.85 V at half its
    # charge; from there to the end of the charge it is bled with 0.1 A. By hand: charge over time, and the mean cell
    # loses a third of what the one loses. One step of a second each way.
    pack = replace(sloped, series=3, spread_soc=0.06, spread_capacity=0.0, spread_resistance=0.0)
    pack = replace(pack, balance_current=0.1, balance_from=3.85)
    wanted = settings_of(pack, i_charge=2.5, i_termination=0.1, v_precharge=1.0, v_set=3 * 4.1)
    found = run(pack, path_of(), [(4 * HOUR, 0.0, 0)], soc=0.3, settings=wanted)
    rows = rows_of(found)
    r = float(pack.cell.r0_charge[0, 0])
    one = rows["soc"] + 0.04 + np.zeros(len(rows["t"]))
    above = (rows["i"] > 0.0) & (3.5 + 0.7 * one + r * rows["i"] >= 3.85)
    time = float(np.sum(above * np.diff(np.append(rows["t"], 4 * HOUR))))
    assert found.total(code.Q_SELF) == pytest.approx(0.1 * time / 3.0, rel=0.01)
    assert found.end.now[AHEAD] == pytest.approx(720.0 - 0.1 * time * 2.0 / 3.0, rel=0.01)


def test_balancing_stops_where_the_highest_cell_is_no_longer_ahead(sloped):
    pack = replace(sloped, series=3, spread_soc=0.006, spread_capacity=0.0, spread_resistance=0.0, balance_current=0.5)
    wanted = settings_of(pack, i_charge=2.5, i_termination=0.1, v_precharge=1.0, v_set=3 * 4.1)
    found = run(replace(pack, balance_from=3.6), path_of(), [(4 * HOUR, 0.0, 0)], soc=0.3, settings=wanted)
    # One step of a second at 0.5 A may go too far.
    assert -0.5 <= found.end.now[AHEAD] <= 0.0

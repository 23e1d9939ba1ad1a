"""Sources that trip, contracts that change, packs that refuse to give, cells that differ: against closed forms."""

from dataclasses import replace

import numpy as np
import pytest
from ideal_path import TEMP, count, path_of, rows_of, run, seconds, settings_of

from chargewright.parts.cell import ChargeZone
from chargewright.sim import usage_rules as code

HOUR = 3600.0


@pytest.fixture
def make_pack(make_table_pack):
    """Return a function that makes a pack of cells with a straight rest voltage, charged and emptied without limits."""

    def made(*, series=1, v_upper=None, discharge=(200.0, 400.0), **given):
        pack = make_table_pack(**({"soc": [0.0, 1.0], "ocv": [3.5, 4.2], "r0": 1e-6, "v_max": 4.2} | given))
        zones = (ChargeZone(temp_low=200.0, temp_high=400.0, rate=10.0 / HOUR, v_max=1e3),)
        limits = replace(
            pack.cell.limits, zones=zones, temp_discharge_low=discharge[0], temp_discharge_high=discharge[1],
            v_upper=v_upper or pack.cell.limits.v_upper,
        )  # fmt: skip
        return replace(
            pack, cell=replace(pack.cell, limits=limits), series=series, i_discharge_max=50.0, v_cell_min=3.0,
            spread_capacity=0.0, spread_resistance=0.0, spread_soc=0.0,
        )  # fmt: skip

    return made


def exposed(**given):
    """Return the tables of a path whose bus hangs on the source, which cannot be helped: it trips from 66 W on."""
    return path_of(**({"helps": False, "exposed": True, "trip": 66.0, "trip_kind": code.RETRIES} | given))


@pytest.mark.parametrize("step", [1.0, 60.0])
def test_a_source_that_tries_again_trips_once_in_each_off_time(make_pack, step):
    # 80 W on 60 W: the source is off but for instants, the pack carries all; a minute of 5 s each is 12 trips.
    pack = make_pack(amp_hours=50.0)
    found = run(pack, exposed(), [(60.0, 80.0, 0)], soc=0.9, retry=5.0, longest=step)
    assert found.total(code.TRIPS) == pytest.approx(12.0)
    assert found.total(code.T_OUT) == 60.0
    assert found.total(code.E_SOURCE) == 0.0
    assert found.total(code.T_UNSERVED) == 0.0
    assert found.total(code.E_OUT) == pytest.approx(60.0 * 80.0, rel=1e-9)
    assert seconds(found, state="battery") == 60.0
    assert count(found, "source tripped") == 1


def test_a_source_that_tries_again_is_back_after_its_off_time(make_pack):
    # Trips at 0, 5 and 10 s; at 12 s the load falls, at 15 s the next try holds.
    found = run(make_pack(amp_hours=50.0), exposed(), [(12.0, 80.0, 0), (60.0, 30.0, 0)], soc=0.9, retry=5.0)
    rows = rows_of(found)
    assert found.total(code.TRIPS) == 3.0
    assert found.total(code.T_OUT) == 15.0
    assert rows["t"][np.flatnonzero(rows["p_source"] > 0.0)[0]] == 15.0
    assert count(found, "source back") == 1


def test_a_source_that_latches_waits_to_be_plugged_in_again(make_pack):
    path = exposed(trip_kind=code.LATCHES)
    stretches = [(10.0, 80.0, 0), (100.0, 30.0, 0), (10.0, 30.0, -1), (100.0, 30.0, 0)]
    found = run(make_pack(amp_hours=50.0), path, stretches, soc=0.9)
    assert found.total(code.TRIPS) == 1.0
    assert found.total(code.T_OUT) == 110.0
    rows = rows_of(found)
    assert np.all((rows["p_source"] > 0.0) == (rows["t"] >= 120.0))


def test_a_source_that_folds_back_returns_with_the_lighter_load(make_pack):
    path = exposed(trip_kind=code.RETURNS)
    found = run(make_pack(amp_hours=50.0), path, [(10.0, 80.0, 0), (100.0, 30.0, 0)], soc=0.9, retry=5.0)
    assert found.total(code.TRIPS) == 1.0
    assert found.total(code.T_OUT) == 10.0


def test_an_overload_is_stood_for_its_time_and_one_inside_the_rating_for_ever(make_pack):
    # Limit 60 W, rating 62 W, trip 70 W after 3 s: 65 W are on for 3 s and off for 2 s; 61 W stay.
    path = exposed(rated=[62.0], trip=70.0, trip_time=3.0)
    pack = make_pack(amp_hours=50.0)
    found = run(pack, path, [(50.0, 65.0, 0)], soc=0.9, retry=2.0)
    assert found.total(code.T_OVER) == 30.0
    assert found.total(code.T_OUT) == 20.0
    assert found.total(code.TRIPS) == 10.0
    assert found.total(code.E_SOURCE) == pytest.approx(30.0 * 65.0)
    inside = run(pack, path, [(50.0, 61.0, 0)], soc=0.9)
    assert inside.total(code.TRIPS) == 0.0
    assert inside.total(code.T_OVER) == 50.0  # above the margin that the design keeps, all the time
    assert inside.total(code.E_OUT) == 0.0


def test_a_trip_with_an_empty_pack_shuts_the_product_down_and_the_source_returns(make_pack):
    found = run(make_pack(amp_hours=50.0), exposed(), [(50.0, 80.0, 0)], soc=0.0, standby=1.0)
    assert count(found, "source overloaded") == 1
    assert found.total(code.T_UNSERVED) == 50.0
    rows = rows_of(found)
    assert rows["p_load"].max() == 1.0
    assert np.all(rows["p_source"][2:] >= 1.0)  # standby, and what charges the pack


def test_a_path_that_holds_its_source_never_trips_it(make_pack):
    path = path_of(exposed=False, helps=True, trip=66.0, trip_kind=code.RETRIES)
    found = run(make_pack(amp_hours=50.0), path, [(60.0, 80.0, 0)], soc=0.9)
    assert found.total(code.TRIPS) == found.total(code.T_OUT) == 0.0
    assert seconds(found, state="supplement") == 60.0


def test_another_contract_of_the_same_source_is_no_new_plug(make_pack):
    # A charge timer of an hour against contracts that change every ten minutes.
    pack = make_pack(amp_hours=50.0)
    wanted = settings_of(pack, i_charge=2.0, i_termination=0.1, v_precharge=1.0, timer=HOUR)
    stretches = [(600.0, 0.0, k % 2) for k in range(18)]

    def lived(feed):
        path = path_of(limits=(60.0, 60.0), feed=feed)
        return run(pack, path, stretches, soc=0.1, settings=wanted, longest=10.0)

    same, other = lived((0, 0)), lived((0, 1))
    assert count(same, "charge timer ran out") == 1
    assert same.total(code.Q_IN) == pytest.approx(2.0 * HOUR, rel=0.01)
    assert count(other, "charge timer ran out") == 0
    assert other.total(code.Q_IN) == pytest.approx(6.0 * HOUR, rel=1e-9)


def test_a_pack_that_cools_below_its_end_of_discharge_goes_dark_and_comes_back(make_pack):
    # τ = 60 J/K · 20 K/W = 1200 s. From 25 °C towards −30 °C the cells pass −10 °C after 1200 s · ln(55/20).
    cold, edge = 243.15, 263.15
    pack = make_pack(amp_hours=50.0, discharge=(edge, 333.15), heat_capacity=60.0, thermal_resistance=20.0)
    found = run(pack, path_of(), [(2 * HOUR, 1.0, -1)], soc=0.9, temp=TEMP, ambient=cold, longest=1.0)
    t_dark = 1200.0 * np.log(55.0 / 20.0)
    assert 2 * HOUR - found.total(code.T_UNSERVED) == pytest.approx(t_dark, abs=1.5)
    assert count(found, "pack too cold to give") == 1
    assert count(found, "pack fell asleep") == 0  # it is cold, not empty: no source has to wake it
    rows = rows_of(found)
    assert np.all(rows["i"][rows["temp"] < edge - 1e-9] == 0.0)
    # Warming from −30 °C towards 25 °C it serves again at −8 °C: 2 K of hysteresis, 1200 s · ln(55/33), and no sooner.
    warm = run(pack, path_of(), [(2 * HOUR, 1.0, -1)], soc=0.9, temp=cold, ambient=TEMP, restart=0.0)
    assert warm.total(code.T_UNSERVED) == pytest.approx(1200.0 * np.log(55.0 / 33.0), abs=1.5)
    assert warm.total(code.T_REFUSED) == warm.total(code.T_UNSERVED)


def test_a_hot_pack_gives_no_help_to_a_source(make_pack):
    pack = make_pack(amp_hours=50.0, discharge=(253.15, 333.15))
    found = run(pack, path_of(), [(60.0, 80.0, 0), (60.0, 40.0, 0)], soc=0.9, temp=335.0, restart=10.0, standby=0.5)
    assert count(found, "pack too hot to give") == 1
    assert found.total(code.Q_OUT) == 0.0
    assert found.total(code.E_LOAD) == pytest.approx(60.0 * 0.5 + 60.0 * 40.0, rel=1e-9)


def test_the_lowest_cell_ends_the_run(make_pack):
    # Three cells, 6 % apart: the weak one holds 1 − 0.06·2/3 = 96 % of a mean one (parts.pack.cell_kinds), so 96 % of
    # the charge flows. Second road: 3 W on cells of nearly constant 3.6 V.
    flat = {"amp_hours": 5.0, "ocv": [3.6, 3.6 + 1e-6], "v_max": 4.2}
    even, apart = (replace(make_pack(series=3, **flat), spread_capacity=c) for c in (0.0, 0.06))
    for pack, share, what in ((even, 1.0, "pack empty"), (apart, 0.96, "lowest cell empty")):
        found = run(pack, path_of(), [(24 * HOUR, 3.0, -1)], soc=1.0, longest=30.0)
        runs = 24 * HOUR - found.total(code.T_UNSERVED)
        assert runs == pytest.approx(share * 5.0 * HOUR * 10.8 / 3.0, abs=31.0)
        assert count(found, what) == 1
    # What self-discharge has taken more from the weak cell comes off as well: 3 % apart, 2 % below the mean.
    lost = run(replace(apart, spread_soc=0.03), path_of(), [(24 * HOUR, 3.0, -1)], soc=1.0, longest=30.0)
    assert 24 * HOUR - lost.total(code.T_UNSERVED) == pytest.approx(0.94 * 5.0 * HOUR * 10.8 / 3.0, abs=31.0)


def test_a_resistive_cell_is_empty_first(make_pack):
    # Rest voltage 3.5 V + 0.7 V·z, v_min 3.5 V, 2 A on 50 mΩ: a mean cell ends at 3.5 V + 0.1 V, z = 0.1/0.7; one cell
    # with 30 % · 2/3 more resistance ends at 0.12/0.7. Constant current from a constant power within 0.5 %.
    pack = replace(make_pack(amp_hours=5.0, series=3, r0=0.05), spread_resistance=0.3, v_cell_min=3.5)
    found = run(pack, path_of(), [(6 * HOUR, 21.0, -1)], soc=0.5, longest=1.0, restart=7 * HOUR, standby=0.0)
    i = -rows_of(found)["i"]
    last = i[i > 0.0][-1]
    assert count(found, "lowest cell empty") == 1
    assert found.end.charge / pack.charge_span == pytest.approx(last * 0.05 * 1.2 / 0.7, abs=2e-4)


def test_the_highest_cell_ends_the_charge(make_pack):
    # Three cells, 10 % apart: the small one holds 1 − 0.1·2/3 of a mean one. At 3.5 V + 0.7 V·z it passes 4.21 V while
    # the mean of the pack is still below the 4.19 V that it is charged to.
    pack = replace(make_pack(amp_hours=5.0, series=3, v_upper=4.21), spread_capacity=0.1)
    wanted = settings_of(pack, i_charge=2.5, i_termination=0.01, v_precharge=1.0, v_set=3 * 4.19)
    found = run(pack, path_of(), [(4 * HOUR, 0.0, 0)], soc=0.3, settings=wanted, recharge_drop=0.3)
    assert count(found, "highest cell too high") == 1
    assert count(found, "charge ended") == 0
    z = (4.21 - 3.5) / 0.7 * (1.0 - 0.1 * 2.0 / 3.0)
    assert found.end.charge / pack.charge_span == pytest.approx(z, abs=3e-4)
    assert float(found.days[0, code.V_HIGH]) / 3 == pytest.approx(4.21, abs=2e-4)


def test_without_spread_no_cell_is_watched(make_pack):
    pack = make_pack(amp_hours=5.0, series=3, v_upper=4.21)
    wanted = settings_of(pack, i_charge=2.5, i_termination=0.1, v_precharge=1.0)
    found = run(pack, path_of(), [(4 * HOUR, 0.0, 0)], soc=0.3, settings=wanted)
    assert count(found, "charge ended") == 1
    assert float(found.days[0, code.V_HIGH]) == 0.0

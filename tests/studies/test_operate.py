"""Which state a path is in: the limits act in their order, and every limit holds exactly where it acts."""

import numpy as np
import pytest

from chargewright.parts.pack import pack_dc_resistance, pack_ocv
from chargewright.studies.operate import bus_setting, operate, source_limit, source_side, wanted_charge


@pytest.fixture(scope="module")
def strong(twelve) -> str:
    """Return the twelve lines with rails and a board that stand 80 W."""
    rails = "load: 80 W\n  modes: [{name: work, power: 12 W}]\nambient: {board: 3 K/W}"
    return twelve.replace("load: 12 W", rails)


def at(b, *, soc=0.5, p=12.0, fed=True, **more):
    (supply,) = b.case.sources["adapter"]
    return operate(b.case, b.path, b.hardware, supply if fed else None, soc=soc, p_load=p, **more)


def test_the_wanted_charge_is_cc_then_cv_then_nothing(case_of, twelve):
    case = case_of(twelve)
    soc = np.linspace(0.0, 1.0, 401)
    i = wanted_charge(case, soc, 298.15)
    ocv, r = pack_ocv(case.pack, soc, 298.15), pack_dc_resistance(case.pack, soc, 298.15, True)
    # Below the precharge threshold the precharge current; then at most the constant current.
    flat = ocv < case.pack.v_precharge
    assert flat.any()
    assert np.all(i[flat] == case.i_precharge)
    assert i.max() == pytest.approx(2.5)  # 0.5 C of 5 Ah
    # In the CV phase the terminals stand at the charge voltage: ocv + i r = v_full, by the definition of CV.
    held = (i > 0.0) & (i < 0.999 * 2.5) & ~flat
    assert held.any()
    assert ocv[held] + i[held] * r[held] == pytest.approx(8.4, rel=1e-12)
    # What would be below the termination current is no charge at all.
    assert set(i[i < case.i_termination]) == {0.0}
    assert i[-1] == 0.0


def test_a_precharge_below_the_termination_current_still_charges(case_of, twelve):
    # Termination is a matter of the charge voltage; a flat pack with a gentle precharge is at the other end.
    case = case_of(twelve + "charge: {current: 0.5 C, precharge: 0.03 C, termination: 0.1 C}\n")
    assert float(wanted_charge(case, 0.0, 298.15)) == pytest.approx(0.15)
    assert float(wanted_charge(case, 1.0, 298.15)) == 0.0


def test_the_limits_act_in_their_order(bench, strong):
    # 63 W from the adapter at its input limit; one path, more and more load: charge, share, help.
    b = bench("narrow-buck", strong)
    o = at(b, p=np.array([5.0, 30.0, 45.0, 55.0, 75.0]))
    assert list(o.state) == ["charging", "charging", "shared", "shared", "supplement"]
    limit = source_limit(b.case, b.case.sources["adapter"][0])
    assert o.i_source[2:] == pytest.approx(limit, rel=1e-9)  # held by the solver, so exact
    assert np.all(o.i_source[:2] < limit)
    assert o.i_pack[:2] == pytest.approx(2.5, rel=1e-9)
    assert 2.5 > o.i_pack[2] > o.i_pack[3] > 0.0 > o.i_pack[4]
    assert not o.overloaded.any()


def test_a_full_pack_rests_and_the_stage_alone_feeds_the_bus(bench, twelve):
    b = bench("narrow-buck", twelve)
    o = at(b, soc=1.0)
    assert o.state[0] == "source-only"
    assert o.i_pack[0] == 0.0
    assert o.v_bus[0] == pytest.approx(8.5)


def test_only_paths_with_supplement_carry_a_load_beyond_the_source(bench, strong):
    for key, carried in (("direct", False), ("direct-boost", True), ("narrow-buck", True), ("narrow-buck-boost", True)):
        o = at(bench(key, strong), p=75.0)
        assert bool(o.overloaded[0]) is not carried, key
        assert (o.state[0] == "supplement") is carried, key
        assert bool(o.lasts[0]) is carried, key


def test_the_pack_may_not_give_more_than_its_limit(bench, strong):
    # 2 C of 5 Ah is 10 A: about 70 W from a half-full pack of 7.3 V or so, on its own.
    b = bench("narrow-buck", strong)
    o = at(b, p=np.array([40.0, 60.0]), fed=False)
    assert list(o.overloaded) == [False, True]
    assert o.i_pack[1] < -10.0
    assert list(o.lasts) == [True, False]


def test_a_low_bus_is_told(bench, twelve):
    # The rails need 7.2 V here: on the pack alone that is gone before the pack is empty.
    b = bench("narrow-buck", twelve + "rules: {bus_min: 7.2 V}\n")
    o = at(b, soc=np.array([0.05, 0.9]), fed=False)
    assert list(o.brown_out) == [True, False]


def test_battery_boost_holds_the_bus_where_the_pack_alone_cannot(bench, twelve):
    b = bench("direct-boost", twelve + "rules: {bus_min: 7.2 V}\n")
    o = at(b, soc=np.array([0.05, 0.9]), fed=False)
    assert list(o.state) == ["battery-boost", "battery"]
    assert o.v_bus[0] == pytest.approx(7.3, rel=1e-9)  # a little above the floor, as the rules say
    assert not o.brown_out.any()


def test_an_empty_pack_and_one_below_its_lowest_voltage_do_not_last(bench, twelve):
    b = bench("direct", twelve.replace("  capacity: 5 Ah", "  capacity: 5 Ah\n  v_cell_min: 3.4 V"))
    soc = np.linspace(0.0, 1.0, 101)
    o = at(b, soc=soc, fed=False)
    # By definition: terminals below 2 · 3.4 V while the pack gives.
    r = pack_dc_resistance(b.case.pack, soc, 298.15, False)
    terminals = pack_ocv(b.case.pack, soc, 298.15) + o.i_pack * r
    assert o.v_pack == pytest.approx(terminals, rel=1e-12)
    assert np.array_equal(o.depleted, terminals < 6.8)
    assert o.depleted[0]
    assert not o.depleted[50]
    # The same with a source: nothing is taken from the pack, so nothing is wrong.
    assert not at(b, soc=soc).depleted.any()


def test_forbidden_charge_leaves_the_pack_at_rest(bench, twelve):
    o = at(bench("direct", twelve), may_charge=False)
    assert (o.state[0], o.i_pack[0]) == ("source-only", 0.0)


def test_pass_through_is_taken_when_the_pack_is_full_and_allowed(bench, twelve):
    b = bench("narrow-through", twelve.replace("20 V ±5 %", "10 V ±5 %"))
    on, off = at(b, soc=1.0, pass_through=True), at(b, soc=1.0)
    assert (on.state[0], off.state[0]) == ("pass-through", "source-only")
    assert on.p_loss[0] < off.p_loss[0]  # it is there to spare the switching loss
    assert on.v_bus[0] > 9.5
    assert at(b, soc=0.5, p=5.0, pass_through=True).state[0] == "charging"


def test_every_condition_balances(bench, twelve):
    # Energy conservation over the product: source connector in; load, cells, losses and the cable's own loss out. The
    # solver closes to 1e-9 relative (its own promise); nothing is interpolated here.
    for key in ("direct", "direct-boost", "narrow-buck", "narrow-buck-boost", "narrow-through", "parallel"):
        b = bench(key, twelve)
        soc, p = np.meshgrid(np.linspace(0.1, 1.0, 7), [0.02, 5.0, 20.0, 45.0, 75.0])
        for fed in (True, False):
            o = at(b, soc=soc, p=p, fed=fed)
            (supply,) = b.case.sources["adapter"]
            cable = supply.r_cable.typ * np.nan_to_num(o.i_source) ** 2
            missing = o.p_source - cable - o.p_load - o.p_cells - o.p_loss
            fine = o.solved
            assert fine.any(), key
            scale = np.maximum(o.p_load, np.abs(o.p_cells))[fine]
            assert np.abs(missing[fine]) / scale == pytest.approx(0.0, abs=1e-8), (key, fed)


def test_the_promised_band_of_usb_has_its_droop_inside(case_of):
    text = """\
name: Band
sources: [{name: charger, kind: usb-pd, power: 65 W, droop: 30 mohm, cable: {resistance: 90 mohm, connectors: 10 mohm}}]
pack: {cell: nmc-energy, series: 2}
system: {load: 12 W}
"""
    supply = case_of(text).sources["charger"][0]
    # USB Power Delivery: ±5 % at the source's connector at any current up to rated (UP19, confirmed by look-up), so
    # at the low edge no droop comes on top; at typical voltage it does.
    low, typ = source_side(supply, "low"), source_side(supply, "typ")
    assert (low["e_source"], low["r_source"]) == (pytest.approx(19.0), 0.0)
    assert (typ["e_source"], typ["r_source"]) == (20.0, pytest.approx(0.03))
    assert low["r_cable"] > typ["r_cable"] == pytest.approx(0.1)


def test_where_a_state_holds_the_bus(bench, twelve):
    b = bench("narrow-buck", twelve)
    for key, v_pack, v in (
        ("source-only", 7.0, 8.5),  # full pack and the floor above it
        ("no-pack", 7.0, 8.5),
        ("flat-pack", 4.0, 5.7),  # what the cells' precharge threshold or the rails need, and above the pack
        ("flat-pack", 5.9, 6.0),
        ("battery-boost", 3.0, 3.7),  # the 3.3 V rail and its headroom, and the floor
    ):
        found = float(bus_setting(b.case, b.path, key, v_pack))
        if key == "flat-pack" and v_pack == 4.0:
            v = max(b.case.bus_min + 0.1, b.case.pack.v_precharge)
        assert found == pytest.approx(v), (key, v_pack)

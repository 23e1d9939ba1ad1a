"""Where the bus of each path can stand, against what is common practice for two cells and a 20 V adapter."""

from dataclasses import replace

import pytest

from chargewright.studies.window import bus_window

SLACK = 0.25
"""Volts that "about" may mean below: drops of the pack and the wires under 12 W, and the floor above the pack."""


@pytest.fixture(scope="module")
def seven(twelve) -> str:
    """Return the twelve lines with two cells that are used down to 3.5 V: the pack of the common-practice figures."""
    return twelve.replace("  capacity: 5 Ah", "  capacity: 5 Ah\n  v_cell_min: 3.5 V")


def test_the_pack_spans_about_seven_volts_to_its_charge_voltage(bench, seven):
    # CP03 (common practice): a 2S pack is used from about 7.0 V (or less) to 8.4 V. The product shuts down when the
    # terminals are at 7.0 V; the bus is less by the drop of sense resistor and battery switch, about 40 mV at 1.8 A.
    for key in ("direct", "direct-boost", "narrow-buck", "narrow-buck-boost", "narrow-through", "parallel"):
        b = bench(key, seven)
        w = bus_window(b.case, b.plan, b.hardware)
        assert 7.0 - SLACK <= w.pack_min <= 7.05, key
        assert 8.4 - SLACK <= w.pack_max <= 8.4, key


@pytest.mark.parametrize("key", ["direct", "direct-boost"])
def test_the_direct_bus_spans_from_the_pack_to_the_adapter(key, bench, seven):
    # CP04 (common practice): about 7 V on the pack to 20 V on the adapter; here the adapter has ±5 %.
    b = bench(key, seven)
    w = bus_window(b.case, b.plan, b.hardware)
    assert w.source_max == pytest.approx(21.0, abs=0.02)  # 5 % high, next to nothing drawn
    assert 18.5 < w.source_min < 19.0  # 5 % low, less droop, cable and pair at about 1 A to 2 A
    assert w.width == pytest.approx(w.source_max / w.pack_min)
    assert 2.8 < w.width < 3.1


@pytest.mark.parametrize("key", ["narrow-buck", "narrow-buck-boost", "narrow-through"])
def test_the_narrow_bus_stays_with_the_pack(key, bench, seven):
    # CP05 (common practice): about 7 V to 8.4 V, plus the floor kept above an empty pack. The rails need 6.9 V here, so
    # that a flat pack is charged behind its linear switch with the bus held a little above them.
    b = bench(key, seven + "rules: {bus_min: 6.9 V}\n")
    w = bus_window(b.case, b.plan, b.hardware)
    above = b.case.design.rules.floor_above_empty
    assert w.source_min == pytest.approx(6.9 + above, abs=0.03)
    assert w.source_max == pytest.approx(8.4 + above, abs=1e-9)  # the set-point itself: the pack is full and rests
    assert w.width < 1.25


def test_a_flat_pack_pulls_no_bus_below_its_rails_but_the_parallel_one(bench, twelve):
    # Narrow buses hold a floor over a flat pack; where charger, pack and load share one node they cannot.
    for key in ("direct", "direct-boost", "narrow-buck", "narrow-buck-boost", "narrow-through"):
        b = bench(key, twelve + "rules: {bus_min: 5.6 V}\n")
        assert bus_window(b.case, b.plan, b.hardware).source_min >= 5.6, key
    b = bench("parallel", twelve + "rules: {bus_min: 5.6 V}\n")
    assert bus_window(b.case, b.plan, b.hardware).source_min < 5.6


def test_pass_through_widens_the_bus_to_the_source(bench, seven):
    ten = seven.replace("20 V ±5 %", "10 V ±5 %")
    wide, narrow = bench("narrow-through", ten), bench("narrow-buck-boost", ten)
    w_wide = bus_window(wide.case, wide.plan, wide.hardware)
    w_narrow = bus_window(narrow.case, narrow.plan, narrow.hardware)
    assert w_wide.source_max == pytest.approx(10.5, abs=0.01)
    assert w_narrow.source_max == pytest.approx(8.5, abs=1e-9)


def test_no_bus_lies_outside_what_the_plan_prepared_the_rails_for(bench, twelve):
    # Second road: the plan estimates the highest bus before any part is known, the window solves for it.
    for key in ("direct", "direct-boost", "narrow-buck", "narrow-buck-boost", "narrow-through"):
        for voltage in ("20 V ±5 %", "10 V ±5 %", "12 V ±10 %"):
            b = bench(key, twelve.replace("20 V ±5 %", voltage))
            w = bus_window(b.case, b.plan, b.hardware)
            assert max(w.source_max, w.pack_max) <= b.plan.v_bus_max + 1e-9, (key, voltage)


def test_the_rails_limits_are_carried_along(bench, twelve):
    b = bench("direct", twelve + "rules: {bus_min: 4.2 V, bus_max: 22 V}\n")
    w = bus_window(b.case, b.plan, b.hardware)
    assert (w.allowed_min, w.allowed_max) == (4.2, 22.0)
    assert replace(w, source_max=30.0).width > w.width

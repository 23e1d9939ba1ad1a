"""Asking backwards: the last value passes, a little more does not; the edges of an ideal path are those on paper."""

from dataclasses import replace

import numpy as np
import pytest

from chargewright.base.units import Toleranced
from chargewright.parts.supply import input_voltage
from chargewright.studies.feasible import judge_one
from chargewright.studies.limits import reach_of
from chargewright.studies.operate import operate

RAILS = (
    "load: 60 W\n  modes: [{name: work, power: 12 W}]\n  peak: {power: 40 W, duration: 10 ms}\nambient: {board: 3 K/W}"
)
PATHS = ("direct", "direct-boost", "narrow-buck", "narrow-buck-boost")


@pytest.fixture(scope="module")
def strong(twelve) -> str:
    """Return the twelve lines with rails and a board that stand 60 W, and a mode and a peak below that."""
    return twelve.replace("load: 12 W", RAILS)


@pytest.mark.parametrize("key", PATHS)
def test_the_edge_of_a_load_passes_and_one_percent_more_fails(key, bench, strong):
    b = bench(key, strong)
    (supply,) = b.case.sources["adapter"]
    reach = reach_of(b.case, b.plan, b.hardware)
    hot, typical = b.case.design.ambient.hot, b.case.design.ambient.typical
    for edge, fed, soc, temp in (("load", supply, 0.5, hot), ("pack-load", None, 0.5, typical)):
        found = reach.edge(edge)
        assert found.now == 12.0
        o = operate(
            b.case, b.path, b.hardware, fed, soc=soc, p_load=np.array([1.0, 1.01]) * found.edge, temp=temp, edge="low"
        )
        assert list(o.lasts) == [True, False], edge
        assert found.margin == pytest.approx(found.edge / 12.0 - 1.0)


@pytest.mark.parametrize("key", PATHS)
def test_the_edge_of_a_peak_agrees_with_the_requirement_on_it(key, bench, strong):
    # Second road: a design with that very peak meets the requirement, and with 1 % more it does not (the source's own
    # patience is switched off: it trips at once).
    text = strong.replace("current: 3.25 A", "current: 3.25 A\n    overload_time: 0 s")
    b = bench(key, text)
    peak = reach_of(b.case, b.plan, b.hardware).edge("peak").edge
    met = []
    for factor in (1.0, 1.01):
        tried = bench(key, text.replace("power: 40 W", f"power: {factor * peak:.6f} W"))
        # The parts and rails of the original design, so that only the peak is another.
        met.append(
            judge_one(replace(b.case, p_peak=tried.case.p_peak), b.plan, b.hardware, "survives-peak", "adapter").met
        )
    assert met == [True, False]


@pytest.mark.parametrize("key", ["direct", "narrow-buck"])
def test_the_weakest_source_still_feeds_without_draining_the_pack(key, bench, strong):
    b = bench(key, strong)
    (supply,) = b.case.sources["adapter"]
    found = reach_of(b.case, b.plan, b.hardware).edge("source-current")
    assert 0.0 < found.edge < found.now == 3.25

    def drained(i_rated: float) -> bool:
        o = operate(
            b.case, b.path, b.hardware, replace(supply, i_rated=i_rated),
            soc=0.5, p_load=12.0, temp=b.case.design.ambient.hot, edge="low",
        )  # fmt: skip
        return bool(o.overloaded[0] or not o.solved[0] or o.i_pack[0] <= 0.0)

    assert not drained(found.edge)
    assert drained(found.edge - 0.01 * found.now)


def test_a_design_that_fails_already_has_no_edge(bench, twelve):
    # 75 W from a 65 W adapter with nothing to help: nan says that there is nothing to be far from.
    b = bench("direct", twelve.replace("load: 12 W", "load: 75 W\nambient: {board: 3 K/W}"))
    reach = reach_of(b.case, b.plan, b.hardware)
    for key in ("load", "peak", "cable", "source-current"):
        found = reach.edge(key)
        assert np.isnan(found.edge), key
        assert np.isnan(found.margin), key
        assert found.what_fails, key


@pytest.fixture
def ideal(bench, bare, twelve):
    """Return a direct path without any loss of its own, on a 12 V adapter."""
    b = bench("direct", twelve.replace("20 V ±5 %", "12 V ±5 %"))
    return b, bare(b.hardware)


def test_the_greatest_load_of_an_ideal_path_is_what_the_source_gives_at_its_limit(ideal):
    # On paper: P = i·(e − r·i) with the input limit i = 0.97 · 3.25 A, e = 12 V − 5 %, r of droop and worn hot cable.
    b, hardware = ideal
    (supply,) = b.case.sources["adapter"]
    i, r = 0.97 * 3.25, supply.r_droop + supply.r_cable.high
    expected = i * (11.4 - r * i)
    # Two sweeps of 40 steps over a factor of 16 leave 16^(1/39²) − 1 = 0.18 %, on the safe side.
    edge = reach_of(b.case, b.plan, hardware).edge("load").edge
    assert expected * (1.0 - 2e-3) < edge <= expected


def test_the_least_source_of_an_ideal_path_is_the_one_that_just_feeds_the_load(ideal):
    # On paper: 12 W = i·(e − r·i), and the input limit is 3 % below rated. 11 halvings of 3.25 A leave 1.6 mA.
    b, hardware = ideal
    (supply,) = b.case.sources["adapter"]
    r = supply.r_droop + supply.r_cable.high
    i = (11.4 - np.sqrt(11.4**2 - 4.0 * r * 12.0)) / (2.0 * r)
    edge = reach_of(b.case, b.plan, hardware).edge("source-current").edge
    assert i / 0.97 <= edge < i / 0.97 + 2e-3


def test_the_longest_cable_of_an_ideal_path_leaves_a_buck_just_enough(ideal):
    # On paper: load and charge want more than the limit of 3.1525 A, so that is drawn; what the cable may drop is from
    # 11.4 V down to 8.4 V / 0.98. 11 halvings of sixteen cables leave 0.8 % of one.
    b, hardware = ideal
    (supply,) = b.case.sources["adapter"]
    i = 0.97 * 3.25
    worn = (11.4 - 8.4 / 0.98) / i - supply.r_droop
    new = worn * supply.r_cable.typ / supply.r_cable.high
    found = reach_of(b.case, b.plan, hardware).edge("cable")
    assert found.now == pytest.approx(0.08)  # 60 mohm and 20 mohm of contacts, the defaults
    assert new - 16.0 * 0.08 / 2**11 <= found.edge <= new
    longer = replace(supply, r_cable=Toleranced(new, new, worn * 1.01))
    assert float(input_voltage(longer, i, "low")) < 8.4 / 0.98


def test_an_edge_beyond_the_search_is_said_to_be_nowhere_near(ideal, bench, twelve):
    # Sixteen of these cables drop less than 5 V of 20 V: the search ends first.
    b = bench("direct", twelve)
    assert reach_of(b.case, b.plan, b.hardware).edge("cable").edge == float("inf")

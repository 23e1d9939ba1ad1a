"""Sense resistors: error arithmetic against numbers from outside, and the choice."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from chargewright.base.errors import NoSolution
from chargewright.parts.catalogue import Parts
from chargewright.parts.kind import catalogue
from chargewright.parts.sense_resistor import PART, SenseResistor
from chargewright.sizing.demand import Demand
from chargewright.sizing.sense import AIMS, current_rating, sense_errors, sense_trades, sensing


def resistor(r: float, **changes: Any) -> SenseResistor:
    fields: dict[str, Any] = {
        "name": f"RES {r * 1e3:g}mohm",
        "r": r,
        "tol": 0.01,
        "temp_co": 50e-6,
        "p_max": 1.0,
        "rth": 60.0,
        "area": 5e-6,
        "cost": 0.2,
    }
    return SenseResistor(**(fields | changes))


def with_resistors(parts: Parts, *resistors: SenseResistor) -> Parts:
    return replace(parts, sense_resistors=catalogue(PART, resistors))


def currents(demand: Demand, **changes: float) -> Demand:
    return replace(demand, wires=replace(demand.wires, **changes))


def test_an_offset_of_a_tenth_of_a_millivolt_at_ten_milliohms_counts_most_where_little_flows():
    # Outside: common practice (needs table 1, row 39): 10 mohm and 0.1 mV are 10 mA: 4 % of 250 mA, 20 % of 50 mA.
    _, _, offset = sense_errors(0.0, 0.0, 10e-3, 298.15, 1e-4, np.array([0.25, 0.05]))
    assert offset == pytest.approx([0.04, 0.20])


@pytest.mark.parametrize(("r", "offset"), [(10e-3, 10e-3), (5e-3, 20e-3)])
def test_resistor_and_offset_errors_are_those_of_the_check_values(r: float, offset: float):
    # Check values PV11 and PV12 (recomputed): 3.25 A, 1 %, 0.1 mV: 32.5 mA, and 10 mA with 10 mohm, 20 mA with 5 mohm.
    tolerance, drift, of_offset = sense_errors(0.01, 0.0, r, 350.0, 1e-4, 3.25)
    assert tolerance * 3.25 == pytest.approx(32.5e-3)
    assert of_offset * 3.25 == pytest.approx(offset)
    assert drift == 0.0


def test_drift_counts_either_way_from_room_temperature():
    # By hand: 50 ppm/K over 60 K is 0.3 %; so it is 60 K below.
    for temp in (358.15, 238.15):
        assert sense_errors(0.0, 50e-6, 10e-3, temp, 0.0, 1.0)[1] == pytest.approx(3e-3)


def test_a_power_rating_is_a_current_rating_by_its_root():
    # 1 W at 10 mohm is 10 A; at 80 % of the current, 64 % of the power.
    limit = current_rating(1.0, 10e-3, 0.8)
    assert limit == pytest.approx(8.0)
    assert limit**2 * 10e-3 == pytest.approx(0.64)


def test_every_resistor_is_shown_in_both_positions_and_one_is_chosen_in_each(
    demands: dict[str, Demand], every_part: Parts
):
    trades = sense_trades(demands["buck"], every_part, 340.0)
    assert len(trades) == 2 * len(every_part.sense_resistors)
    for role in ("source", "charge"):
        same = [t for t in trades if t.role == role]
        assert [t.r for t in same] == sorted(t.r for t in same)
        assert sum(t.chosen for t in same) == 1
        assert {e.at for t in same for e in t.errors} == ({"full"} if role == "source" else set(AIMS))
        for t in same:
            assert t.why
            for e in t.errors:
                assert e.worst == pytest.approx(e.tolerance + e.temperature + e.offset)
            # Loss by Ohm's law, temperature by the thermal resistance: written out.
            part = every_part.sense_resistors.named(t.name)
            assert t.p_loss == pytest.approx(t.errors[0].current ** 2 * part.r)
            assert t.temp == pytest.approx(340.0 + part.rth * t.p_loss)


def test_the_chosen_one_has_the_least_score_of_the_accurate_ones_that_fit(
    demands: dict[str, Demand], every_part: Parts
):
    for role in ("source", "charge"):
        trades = [t for t in sense_trades(demands["buck"], every_part, 340.0) if t.role == role]
        (best,) = [t for t in trades if t.chosen]
        assert best.fits
        assert best.accurate
        assert best.score == min(t.score for t in trades if t.fits and t.accurate)
        assert "least loss" in best.why


def test_more_offset_asks_for_more_resistance(demands: dict[str, Demand], every_part: Parts):
    chosen = [
        sensing("charge", currents(demands["buck"], sense_offset=offset), every_part, 330.0).part.r
        for offset in (1e-5, 1e-4, 2e-4)
    ]
    assert chosen == sorted(chosen)
    assert chosen[0] < chosen[-1]


def test_where_none_is_accurate_the_most_accurate_is_taken_and_it_is_said(
    demands: dict[str, Demand], every_part: Parts
):
    demand = currents(demands["buck"], sense_offset=2e-3)
    trades = [t for t in sense_trades(demand, every_part, 330.0) if t.role == "charge"]
    (best,) = [t for t in trades if t.chosen]
    assert not best.accurate
    assert best.error("termination") == min(t.error("termination") for t in trades if t.fits)
    assert "none that keeps its rating is within the aims" in best.why


def test_the_resistance_that_the_controller_counts_on_comes_first_if_it_is_accurate_enough(
    demands: dict[str, Demand], every_part: Parts
):
    free = sensing("charge", demands["buck"], every_part, 330.0).part.r
    larger = 2.0 * free
    demand = currents(demands["buck"], r_charge=larger)
    trades = [t for t in sense_trades(demand, every_part, 330.0) if t.role == "charge"]
    (best,) = [t for t in trades if t.chosen]
    assert best.r == pytest.approx(larger)
    assert "counts on" in best.why
    assert any("counts on another" in t.why for t in trades if t.r == free)
    # 1 mohm at 0.1 mV is 40 % of 0.25 A: too far off to be taken for the controller's sake.
    poor = currents(demands["buck"], r_charge=1e-3, i_termination=0.25)
    assert sensing("charge", poor, every_part, 330.0).part.r > 1e-3


def test_a_resistor_beyond_its_rating_is_not_chosen_and_says_so(demands: dict[str, Demand], every_part: Parts):
    # 5 A in 20 mohm are 0.5 W; a part of 0.25 W may carry 0.8·√(0.25/0.02) = 2.83 A.
    parts = with_resistors(every_part, resistor(5e-3), resistor(20e-3, p_max=0.25))
    trades = sense_trades(currents(demands["buck"], i_charge=5.0), parts, 330.0)
    by_r = {t.r: t for t in trades if t.role == "charge"}
    assert by_r[5e-3].chosen
    assert not by_r[20e-3].fits
    assert "beyond its rating" in by_r[20e-3].why


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda d: currents(d, i_source=60.0), "source sense resistor: none keeps its rating and temperature at 60 A"),
        (lambda d: replace(d, rules=replace(d.rules, temp_part_max=341.0)), "against 67.85 °C"),
    ],
)
def test_no_resistor_at_all_is_told_with_its_numbers(
    change: Callable[[Demand], Demand], said: str, demands: dict[str, Demand], every_part: Parts
):
    with pytest.raises(NoSolution, match=said):
        sense_trades(change(demands["buck"]), every_part, 342.0)


def test_an_empty_list_is_told(demands: dict[str, Demand], every_part: Parts):
    with pytest.raises(NoSolution, match="there are none to choose from"):
        sense_trades(demands["buck"], with_resistors(every_part), 330.0)

"""Blocking pair and battery switch: rating, heat in use and in linear use, the choice."""

from dataclasses import replace
from typing import Any

import pytest

from chargewright.base.errors import NoSolution
from chargewright.parts.catalogue import Parts
from chargewright.physics.thermal import self_heated_temperature
from chargewright.sizing.demand import Demand
from chargewright.sizing.pass_elements import battery_switch, blocking_pair, derated, rating_needed


def wires(demand: Demand, **changes: float) -> Demand:
    return replace(demand, wires=replace(demand.wires, **changes))


def test_the_rating_holds_the_derating_and_the_ringing():
    # By hand: 24 V at 80 % is 30 V, and a 30 V part is enough for it; at 100 % the ringing of 15 % decides, 27.6 V.
    assert derated(24.0, 0.8) <= 30.0
    assert rating_needed(24.0, 0.8) == pytest.approx(30.0)
    assert rating_needed(24.0, 1.0) == pytest.approx(27.6)
    assert rating_needed(24.0, 0.5) == pytest.approx(48.0)


@pytest.mark.parametrize("temp_board", [320.0, 350.0])
def test_the_pair_is_what_a_plain_loop_finds(temp_board: float, demands: dict[str, Demand], every_part: Parts):
    demand = wires(demands["buck"], i_source=6.0, v_source_max=25.0)
    found = blocking_pair(demand, every_part.switches, temp_board)
    best: Any = None
    for part in every_part.switches:
        # Settle loss and temperature by repetition instead of the closed form.
        temp = temp_board
        for _ in range(60):
            temp = temp_board + part.rth_jb * 36.0 * part.r_on_25 * (1.0 + part.r_on_temp_co * (temp - 298.15))
            temp = min(temp, 600.0)
        if part.v_max < 25.0 / 0.8 or part.i_max < 6.0 / 0.8 or temp > min(383.15, part.temp_j_max):
            continue
        loss = 2.0 * 36.0 * part.r_on_25 * (1.0 + part.r_on_temp_co * (temp - 298.15))
        score = demand.exchange.score(loss, 2.0 * part.cost, 2.0 * part.area)
        if best is None or score < best[0]:
            best = (score, part, loss, temp)
    assert found.part == best[1]
    assert found.p_loss == pytest.approx(best[2], rel=1e-9)
    assert found.temp == pytest.approx(best[3], rel=1e-9)
    assert found.temp_linear is None


def test_a_path_without_battery_switch_has_none(demands: dict[str, Demand], every_part: Parts):
    assert battery_switch(replace(demands["buck"], has_battery_switch=False), every_part.switches, 330.0) is None


def test_linear_heat_asks_for_a_package_that_sheds_it(demands: dict[str, Demand], every_part: Parts):
    cool = battery_switch(wires(demands["buck"], p_linear=0.1), every_part.switches, 340.0)
    hot = battery_switch(wires(demands["buck"], p_linear=8.0), every_part.switches, 340.0)
    assert cool is not None
    assert hot is not None
    assert hot.temp_linear == pytest.approx(340.0 + 8.0 * hot.part.rth_jb)
    assert hot.temp_linear <= 383.15
    assert hot.part.rth_jb < cool.part.rth_jb


def test_the_battery_switch_carries_the_greater_of_both_currents(demands: dict[str, Demand], every_part: Parts):
    found = battery_switch(wires(demands["buck"], i_discharge=1.0, i_charge=3.0), every_part.switches, 330.0)
    assert found is not None
    assert found.i == 3.0
    assert found.temp == pytest.approx(
        self_heated_temperature(330.0, found.part.rth_jb, 3.0, found.part.r_on_25, found.part.r_on_temp_co)
    )


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"v_source_max": 90.0}, "blocking pair: .* 112.5 V after derating.* misses the voltage by 12 %"),
        ({"i_source": 120.0}, "misses the current"),
    ],
)
def test_no_switch_at_all_is_told_with_the_rule_and_the_miss(
    changes: dict[str, float], said: str, demands: dict[str, Demand], every_part: Parts
):
    with pytest.raises(NoSolution, match=said):
        blocking_pair(wires(demands["buck"], **changes), every_part.switches, 330.0)

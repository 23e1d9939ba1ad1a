"""Which contract is taken for a demand, and what is said about the others."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import NoSolution
from chargewright.parts.contracts import choose_contract, supplies
from chargewright.parts.supply import Supply, greatest_power, worst_input_voltage
from chargewright.spec.source import UsbPdSourceSpec


def pd(power: float = 65.0, **others: object) -> UsbPdSourceSpec:
    return UsbPdSourceSpec(name="USB-C charger", power=power, **others)  # type: ignore[arg-type]


def the(spec: UsbPdSourceSpec, contract: str) -> Supply:
    return next(supply for supply in supplies(spec) if supply.contract == contract)


def test_the_smallest_contract_that_suffices_is_taken():
    chosen = choose_contract(supplies(pd(65.0)), power_wanted=30.0, v_min=5.0, v_max=24.0)
    # By hand: 9 V 3 A brings 3 · (8.55 - 0.45) = 24.3 W; 15 V 3 A brings 3 · (14.25 - 0.45) = 41.4 W.
    assert chosen.supply.contract == "15 V 3 A"
    assert chosen.suffices
    assert chosen.power_worst == pytest.approx(41.4, rel=1e-12)
    because = {entry.contract: entry.reason for entry in chosen.rejected}
    assert "24.3 W at worst, 5.7 W short" in because["9 V 3 A"]
    assert "would do" in because["20 V 3.25 A"]


def test_a_contract_that_suffices_by_its_label_alone_is_not_taken():
    # 45 W by the label, 41.4 W at worst.
    chosen = choose_contract(supplies(pd(65.0)), power_wanted=43.0, v_min=5.0, v_max=24.0)
    assert chosen.supply.contract == "20 V 3.25 A"


def test_a_contract_above_what_the_parts_stand_is_not_taken():
    chosen = choose_contract(supplies(pd(65.0)), power_wanted=50.0, v_min=5.0, v_max=17.0)
    assert chosen.supply.contract == "15 V 3 A"
    assert not chosen.suffices
    assert "8.6 W short" in chosen.reasons[0]  # 50 - 41.4
    because = {entry.contract: entry.reason for entry in chosen.rejected}
    assert "reaches 21.5 V with nothing wrong, 4.5 V too high" in because["20 V 3.25 A"]


def test_the_window_has_to_hold_the_voltage_while_it_moves():
    # 20 V + 5 % is 21 V, and 0.5 V more while it moves (PD ch. 7, from memory).
    assert choose_contract(supplies(pd(65.0)), 50.0, 5.0, 21.5).supply.contract == "20 V 3.25 A"
    assert choose_contract(supplies(pd(65.0)), 50.0, 5.0, 21.4).supply.contract == "15 V 3 A"


def test_a_range_is_set_no_higher_than_the_window_allows_while_it_moves():
    pps = (the(pd(65.0, objects=("3.3 V to 21 V 3 A",)), "3.3 V to 21 V 3 A"),)
    # By hand: 1.05·V + 0.5 V <= 12 V up to 10.952 V, so 10.94 V on the grid of 20 mV.
    assert choose_contract(pps, 20.0, 5.0, 12.0, v_prefer=12.0).supply.v_set.typ == 10.94


def test_of_a_fixed_contract_and_a_range_that_are_equal_the_fixed_one_is_taken():
    spec = pd(65.0, objects=("3.3 V to 21 V 3 A", "9 V 3 A"))
    found = supplies(spec)
    for order in (found, tuple(reversed(found))):
        assert choose_contract(order, 24.0, 5.0, 24.0, v_prefer=9.0).supply.contract == "9 V 3 A"
    # The range would do with the same voltage and power.
    alone = choose_contract((the(spec, "3.3 V to 21 V 3 A"),), 24.0, 5.0, 24.0, v_prefer=9.0).supply
    assert (alone.v_set.typ, alone.i_rated) == (9.0, 3.0)


def test_of_equal_contracts_the_voltage_nearest_above_the_preference_is_taken():
    found = supplies(pd(27.0, objects=("9 V 3 A", "12 V 2.25 A", "15 V 1.8 A")))
    assert choose_contract(found, 20.0, 5.0, 24.0).supply.contract == "9 V 3 A"
    assert choose_contract(found, 20.0, 5.0, 24.0, v_prefer=11.0).supply.contract == "12 V 2.25 A"
    assert choose_contract(found, 20.0, 5.0, 24.0, v_prefer=13.0).supply.contract == "15 V 1.8 A"
    assert choose_contract(found, 20.0, 5.0, 24.0, v_prefer=16.0).supply.contract == "15 V 1.8 A"


def test_a_programmable_contract_is_set_from_the_preference_on():
    pps = (the(pd(65.0, objects=("3.3 V to 21 V 3 A",)), "3.3 V to 21 V 3 A"),)
    chosen = choose_contract(pps, power_wanted=20.0, v_min=5.0, v_max=24.0, v_prefer=9.01)
    assert chosen.supply.v_set.typ == 9.02
    assert chosen.supply.adjustable is not None
    # With no preference: the lowest set point that brings 20 W. By hand (0.95 V - 0.45 V)·3 A >= 20 W from 7.491 V on.
    assert choose_contract(pps, 20.0, 5.0, 24.0).supply.v_set.typ == 7.50
    # With a preference out of reach, the highest below it: 24 V - 0.5 V over 1.05 is 22.38 V, so the range's end.
    assert choose_contract(pps, 20.0, 5.0, 24.0, v_prefer=30.0).supply.v_set.typ == 21.0


def test_with_nothing_inside_the_window_the_nearest_is_named_with_what_it_misses():
    with pytest.raises(NoSolution) as refusal:
        choose_contract(supplies(pd(65.0)), power_wanted=10.0, v_min=10.0, v_max=12.0)
    # By hand: 9 V 3 A falls to 8.55 - 0.45 = 8.1 V.
    assert "within 10 V to 12 V" in str(refusal.value)
    assert "9 V 3 A, falls to 8.1 V at rated current, 1.9 V too low" in str(refusal.value)


def test_no_contract_at_all_is_said():
    with pytest.raises(NoSolution, match="no contract to choose from"):
        choose_contract((), power_wanted=10.0, v_min=10.0, v_max=12.0)


@given(
    st.floats(15.0, 240.0),
    st.booleans(),
    st.sampled_from([3.0, 5.0]),
    st.floats(1.0, 250.0),
    st.floats(3.0, 15.0),
    st.floats(15.0, 60.0),
)
def test_whatever_is_chosen_stays_inside_the_window(power, programmable, rating, wanted, v_min, v_max):
    found = supplies(pd(power, programmable=programmable, cable_rating=rating))
    try:
        chosen = choose_contract(found, wanted, v_min, v_max)
    except NoSolution:
        assert all(
            s.adjustable is not None or worst_input_voltage(s, s.i_rated) < v_min or s.v_max_normal > v_max
            for s in found
        )
        return
    assert worst_input_voltage(chosen.supply, chosen.supply.i_rated) >= v_min - 1e-6
    assert chosen.supply.v_max_normal <= v_max + 1e-6
    assert chosen.suffices == (chosen.power_worst >= wanted)
    assert greatest_power(chosen.supply) == pytest.approx(chosen.power_worst, rel=1e-9)  # rounding
    assert len(chosen.rejected) == len(found) - 1

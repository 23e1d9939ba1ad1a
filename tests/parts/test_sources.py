"""What sources offer: contracts, bands, cable, limits; and the choice between them."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import PartsError
from chargewright.base.units import Toleranced, exact
from chargewright.parts.contracts import supplies
from chargewright.parts.sources import shelf
from chargewright.parts.supply import (
    greatest_power,
    input_voltage,
    wall_power,
    worst_input_voltage,
)
from chargewright.spec.source import CableSpec, FixedSourceSpec, TypeCSourceSpec

ADAPTER = FixedSourceSpec(
    name="wall adapter",
    voltage=Toleranced(20.0, 19.0, 21.0),
    current=3.25,
    droop=0.020,
    cable=CableSpec(resistance=0.060, connectors=0.020, inductance=1e-6),
    overload_limit=Toleranced(1.3, 1.1, 1.5),
)


# Every kind on the shelf


@pytest.mark.parametrize("kind", shelf.keys())
def test_every_kind_of_source_gives_supplies_that_hold_together(kind: str):
    found = supplies(shelf.get(kind).example)
    assert found
    assert [s.power for s in found] == sorted((s.power for s in found), reverse=True)
    for supply in found:
        assert supply.v_set.low <= supply.v_set.typ <= supply.v_set.high
        assert supply.v_set.high <= supply.v_max_normal <= supply.v_max_fault
        assert 0.0 < supply.r_cable.low <= supply.r_cable.typ <= supply.r_cable.high
        assert 0.0 < supply.overload.i_trip.low <= supply.overload.i_trip.typ <= supply.overload.i_trip.high
        assert supply.power <= supply.power_rated * 1.001
        assert supply.i_rated > 0.0
        assert supply.l_cable > 0.0


@pytest.mark.parametrize("kind", shelf.keys())
def test_every_kind_of_source_says_what_governs_it(kind: str):
    entry = shelf.get(kind)
    assert entry.title
    assert entry.source
    assert entry.example.kind == kind


@given(
    st.floats(3.0, 48.0),
    st.floats(0.0, 0.1),
    st.floats(0.1, 10.0),
    st.floats(0.0, 2.0),
    st.floats(0.0, 2.0),
    st.floats(0.0, 1.0),
)
def test_the_corners_enclose_the_typical_voltage_and_power(v, tol, i, droop, resistance, connectors):
    spec = FixedSourceSpec(
        name="any",
        voltage=Toleranced(v, v * (1 - tol), v * (1 + tol)),
        current=i,
        droop=droop,
        cable=CableSpec(resistance=resistance, connectors=connectors),
    )
    (supply,) = supplies(spec)
    low, typ, high = (input_voltage(supply, i, corner) for corner in ("low", "typical", "high"))
    assert low <= typ <= high
    powers = [greatest_power(supply, corner) for corner in ("low", "typical", "high")]
    assert powers == sorted(powers)


# Fixed adapters


def test_a_fixed_adapter_is_one_supply_with_its_trip_in_amperes():
    (supply,) = supplies(ADAPTER)
    assert supply.contract == "20 V 3.25 A"
    assert supply.power == 65.0
    # By hand: 1.1, 1.3 and 1.5 times 3.25 A. rel: rounding.
    trip = supply.overload.i_trip
    assert (trip.low, trip.typ, trip.high) == pytest.approx((3.575, 4.225, 4.875), rel=1e-12)
    assert supply.v_max_fault == 25.0  # 125 % of 20 V
    assert math.isinf(supply.slew)
    assert supply.bulk_capacitance_max is None


def test_the_voltage_at_the_product_is_what_droop_and_cable_leave():
    (supply,) = supplies(ADAPTER)
    # By hand: 20 V - 3.25 A · (20 + 60 + 20) mohm = 19.675 V. rel: rounding.
    assert input_voltage(supply, 3.25) == pytest.approx(19.675, rel=1e-12)


def test_the_worst_voltage_is_with_a_hot_cable_and_worn_contacts():
    (supply,) = supplies(ADAPTER)
    # By hand from IEC 60028: copper at 60 °C over 25 °C is (1 + 0.00393·40)/(1 + 0.00393·5) = 1.1348992; contacts
    # 1.25 times (USB Type-C, 50 over 40 mohm, from memory). 20 + 60·1.1348992 + 25 = 113.093953 mohm.
    assert worst_input_voltage(supply, 3.25) == pytest.approx(19.0 - 3.25 * 0.113093953, rel=1e-9)  # the digits shown
    assert worst_input_voltage(supply, np.array([0.0, 1.0])).tolist() == pytest.approx([19.0, 18.886906047], rel=1e-9)


def test_the_greatest_power_is_met_with_the_rated_current():
    (supply,) = supplies(ADAPTER)
    # By hand: 19.675 V · 3.25 A.
    assert greatest_power(supply, "typical") == pytest.approx(63.94375, rel=1e-12)


def test_a_long_thin_cable_limits_the_power_before_the_rating_does():
    (supply,) = supplies(
        dataclasses.replace(ADAPTER, droop=0.0, cable=CableSpec(resistance=2.0, connectors=1.0), current=10.0)
    )
    # Jacobi's law of maximum power: V²/4R = 400/12 W at 3.33 A, below the rated 10 A.
    assert greatest_power(supply, "typical") == pytest.approx(400.0 / 12.0, rel=1e-12)
    # Second road: no current in a fine sweep brings more.
    i = np.linspace(0.0, 10.0, 10001)
    assert np.max(input_voltage(supply, i) * i) == pytest.approx(400.0 / 12.0, rel=1e-6)  # the sweep's step


def test_an_exact_source_and_a_cable_of_nothing_lose_nothing():
    spec = dataclasses.replace(ADAPTER, voltage=exact(20.0), droop=0.0, cable=CableSpec(resistance=0.0, connectors=0.0))
    (supply,) = supplies(spec)
    assert greatest_power(supply) == 65.0


# Type-C


@pytest.mark.parametrize(("key", "i"), [("default", 0.5), ("1.5 A", 1.5), ("3 A", 3.0)])
def test_a_type_c_port_gives_5_volts_at_the_advertised_current(key, i):
    # USB Type-C: 0.5 A is USB 2.0's (confirmed by look-up in IEC 63002's text); 4.75 to 5.5 V (from memory).
    (supply,) = supplies(TypeCSourceSpec(name="laptop port", advertisement=key))
    assert supply.i_rated == i
    assert (supply.v_set.low, supply.v_set.typ, supply.v_set.high) == (4.75, 5.0, 5.5)
    # The band is promised under load: what the product sees at worst is the band's end less the cable alone.
    assert worst_input_voltage(supply, i) == pytest.approx(4.75 - i * supply.r_cable.high, rel=1e-12)  # rounding
    assert any("assumed" in note for note in supply.notes)
    assert any("USB 2.0" in note for note in supply.notes) == (key == "default")


# From the wall


def test_the_wall_power_has_the_stated_mean_efficiency_over_the_four_points():
    # Definition: 10 CFR 430 subpart B appendix Z, mean of 25, 50, 75 and 100 % of rated output.
    (supply,) = supplies(ADAPTER)
    p_out = 65.0 * np.array([0.25, 0.5, 0.75, 1.0])
    assert np.mean(p_out / wall_power(supply, p_out)) == pytest.approx(0.88, rel=1e-10)  # Newton's end
    assert wall_power(supply, 0.0) == 0.1


@given(st.floats(0.3, 1.0), st.floats(0.0, 5.0), st.floats(0.1, 40.0))
def test_the_wall_power_holds_for_any_adapter_or_is_refused(efficiency: float, no_load: float, current: float):
    (supply,) = supplies(dataclasses.replace(ADAPTER, efficiency=efficiency, no_load=no_load, current=current))
    p_out = supply.power_rated * np.array([0.25, 0.5, 0.75, 1.0])
    try:
        wall = wall_power(supply, p_out)
    except PartsError:
        # Even with nothing else lost, the no-load power alone brings the mean below what is asked.
        assert np.mean(p_out / (no_load + p_out)) < efficiency
        return
    assert np.mean(p_out / wall) == pytest.approx(efficiency, rel=1e-10)  # Newton's end
    assert np.all(wall >= p_out * (1.0 - 1e-12))


def test_without_no_load_power_the_wall_power_is_the_output_over_the_efficiency():
    (supply,) = supplies(dataclasses.replace(ADAPTER, no_load=0.0))
    assert wall_power(supply, 44.0) == pytest.approx(50.0, rel=1e-12)


def test_an_efficiency_that_leaves_no_room_for_the_no_load_power_is_refused():
    (supply,) = supplies(dataclasses.replace(ADAPTER, efficiency=1.0))
    with pytest.raises(PartsError, match="leaves no room"):
        wall_power(supply, 10.0)

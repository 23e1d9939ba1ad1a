"""What USB Power Delivery sources offer: objects, cable, bands, ranges, and the request that leads to a contract."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import ChargewrightError, OutOfRange, PartsError
from chargewright.parts.contracts import supplies
from chargewright.parts.sources.usb_pd import request_for
from chargewright.parts.supply import Supply, at_voltage, feed, greatest_power, set_points, worst_input_voltage
from chargewright.parts.usb_pd.requests import encode_request
from chargewright.spec.source import CableSpec, UsbPdSourceSpec


def pd(power: float = 65.0, **others: object) -> UsbPdSourceSpec:
    return UsbPdSourceSpec(name="USB-C charger", power=power, **others)  # type: ignore[arg-type]


def the(spec: UsbPdSourceSpec, contract: str) -> Supply:
    return next(supply for supply in supplies(spec) if supply.contract == contract)


def contracts(spec: UsbPdSourceSpec) -> list[str]:
    return [supply.contract for supply in supplies(spec)]


def test_a_65_watt_source_offers_the_power_rule_and_5_volts_without_contract():
    # PD R3.2 ch. 10 (confirmed by look-up in a public table).
    assert contracts(pd(65.0)) == [
        "20 V 3.25 A",
        "15 V 3 A",
        "9 V 3 A",
        "5 V 3 A",
        "5 V 3 A without contract",
    ]


def test_an_unmarked_cable_holds_the_current_to_3_amperes():
    # USB Type-C, PD R3.1: 3 A unmarked, 5 A marked (confirmed by look-up).
    found = supplies(pd(100.0, cable_rating=3.0))
    assert found[0].contract == "20 V 3 A"
    assert "the cable leaves 3 A of 5 A" in found[0].notes
    assert supplies(pd(100.0))[0].contract == "20 V 5 A"


def test_the_extended_range_needs_a_cable_marked_for_it():
    # PD R3.1: EPR needs a cable for 5 A and 50 V (confirmed by look-up).
    assert contracts(pd(240.0))[:3] == ["48 V 5 A", "36 V 5 A", "28 V 5 A"]
    with_plain_cable = supplies(pd(240.0, cable_rating=3.0))
    assert with_plain_cable[0].contract == "20 V 3 A"
    assert any("48 V 5 A is out of reach" in note for note in with_plain_cable[0].notes)
    assert all(supply.v_set.typ <= 20.0 for supply in with_plain_cable)


def test_a_cable_rating_that_no_cable_has_counts_as_unmarked_and_is_said():
    found = supplies(pd(65.0, cable_rating=4.0))
    assert found[0].contract == "20 V 3 A"
    assert "a cable rated 4 A counts as unmarked: 3 A" in found[0].notes


def test_objects_of_the_extended_range_start_at_place_8():
    # The first EPR object is asked for with position 8 (PD R3.2 6.4.2, layout confirmed by look-up).
    assert [(s.contract, s.position) for s in supplies(pd(140.0, programmable=True))] == [
        ("28 V 5 A", 8),
        ("15 V to 28 V 140 W", 9),
        ("3.3 V to 21 V 5 A", 5),
        ("20 V 5 A", 4),
        ("15 V 3 A", 3),
        ("9 V 3 A", 2),
        ("5 V 3 A", 1),
        ("5 V 3 A without contract", None),
    ]


@pytest.mark.parametrize(
    ("power", "contract", "v_sink", "p_sink"),
    # 5 % below and 750 mV of cable drop (PD vSrcNew and USB Type-C 4.4.1, confirmed by look-up; recomputed).
    [(100.0, "20 V 5 A", 18.25, 91.25), (240.0, "48 V 5 A", 44.85, 224.25)],
)
def test_a_cable_at_the_standard_s_limit_leaves_the_standard_s_worst_case(power, contract, v_sink, p_sink):
    supply = the(pd(power, cable=CableSpec(resistance=0.130, connectors=0.020)), contract)
    assert worst_input_voltage(supply, 5.0) == pytest.approx(v_sink, rel=1e-12)  # rounding
    assert greatest_power(supply) == pytest.approx(p_sink, rel=1e-12)


@pytest.mark.parametrize(("v", "v_sink"), [(9.0, 7.80), (5.0, 4.00)])
def test_an_unmarked_cable_at_its_limit_leaves_the_standard_s_worst_case(v: float, v_sink: float):
    # The same for 3 A: 250 mohm (recomputed). 9 V cannot then finish a two-cell pack.
    spec = pd(65.0, cable_rating=3.0, cable=CableSpec(resistance=0.230, connectors=0.020))
    assert worst_input_voltage(the(spec, f"{v:g} V 3 A"), 3.0) == pytest.approx(v_sink, rel=1e-12)  # rounding


def test_a_cable_beyond_the_standard_is_taken_as_it_is_and_said():
    found = supplies(pd(65.0, cable=CableSpec(resistance=0.3, connectors=0.02)))
    assert found[0].r_cable.typ == pytest.approx(0.32)
    assert any("320 mΩ drop more than USB Type-C allows at 5 A" in note for note in found[0].notes)


def test_a_contract_keeps_its_band_under_load_and_5_volts_without_contract_has_its_own():
    # vSrcNew 5 % (confirmed by look-up), 0.5 V more while it moves and vSafe5V 4.75 to 5.5 V (from memory).
    contract, bare = the(pd(), "20 V 3.25 A"), the(pd(), "5 V 3 A without contract")
    assert (contract.v_set.low, contract.v_set.high) == (19.0, 21.0)
    assert contract.v_max_normal == 21.5
    assert feed(contract, "low").r == contract.r_cable.high
    assert feed(contract, "typical").r == contract.r_cable.typ + contract.r_droop
    assert (bare.v_set.low, bare.v_set.high) == (4.75, 5.5)


def test_capacitance_and_slew_follow_the_contract():
    # 100 uF and 30 mV/us with a contract (confirmed by look-up), 10 uF at attach (USB 2.0, from memory).
    contract, bare = the(pd(), "20 V 3.25 A"), the(pd(), "5 V 3 A without contract")
    assert (contract.bulk_capacitance_max, contract.slew) == (100e-6, 30e3)
    assert (bare.bulk_capacitance_max, bare.slew) == (10e-6, math.inf)


def test_objects_of_the_design_file_replace_the_power_rule_and_5_volts_is_added():
    spec = pd(65.0, objects=("20 V 3.25 A", "3.3 V to 21 V 3 A", "9 V 3 A"))
    assert [(s.contract, s.position) for s in supplies(spec)] == [
        ("20 V 3.25 A", 3),
        ("3.3 V to 21 V 3 A", 4),
        ("9 V 3 A", 2),
        ("5 V 3 A", 1),
        ("5 V 3 A without contract", None),
    ]


def test_an_adjustable_object_up_to_100_watts_has_two_currents():
    spec = pd(45.0, objects=("15 V 3 A", "9 V to 20 V 3 A / 2.25 A"))
    found = {s.contract: s for s in supplies(spec)}
    assert found["9 V to 15 V 3 A"].position == found["15 V to 20 V 2.25 A"].position == 3
    assert at_voltage(found["15 V to 20 V 2.25 A"], 17.5).i_rated == 2.25


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("nonsense", "object 'nonsense' cannot be read"),
        ("9 V", "object '9 V' cannot be read"),
        ("9 3", "object '9 3' cannot be read"),
        ("9 V 27 W", "object '9 V 27 W'"),
        ("9 V 3 A / 2 A", "a second current without a range"),
        ("24 V 2 A", "not at 24 V"),
        ("9.02 V 2 A", "object '9.02 V 2 A': the voltage of 9.02 V is not on the grid of 50 mV"),
        ("20 V 6 A", "USB PD carries up to 5 A, not 6 A"),
        ("20 V 5 A", "promises 100 W, but the source is rated 65 W"),
        ("21 V to 3.3 V 3 A", "a programmable range goes from"),
        ("3.3 V to 21 V 3.02 A", "not on the grid of 50 mA"),
        ("10 V to 20 V 3 A / 2 A", "an adjustable range up to 100 W"),
        ("15 V to 30 V 140 W", "goes from 15 V to 28 V, 36 V or 48 V"),
        ("15 V to 28 V 140 W", "promises 140 W, but the source is rated 65 W"),
        ("15 V to 28 V 90 W", "more than 100 W"),
        ("9 mV 3 A", "not at 9 mV"),
        ("9 V 3 mohm", "is a resistance"),
        ("x" * 10000, "cannot be read"),
    ],
)
def test_an_object_that_cannot_be_used_is_named_with_the_source_and_the_cause(text: str, words: str):
    with pytest.raises(PartsError) as refusal:
        supplies(pd(65.0, objects=("9 V 3 A", text)))
    assert "'USB-C charger'" in str(refusal.value)
    assert words in str(refusal.value)
    assert len(str(refusal.value)) < 500


@given(st.text(max_size=40))
def test_no_object_text_ends_in_anything_but_supplies_or_an_error_in_words(text: str):
    try:
        assert supplies(pd(65.0, objects=(text,)))
    except ChargewrightError as refusal:
        assert "object" in str(refusal)  # noqa: PT017 - either outcome is right


def test_more_objects_than_the_standard_has_room_for_is_refused():
    many = tuple(f"{v} V 1 A" for v in range(6, 13))
    with pytest.raises(PartsError, match="offers 8 objects up to 20 V"):
        supplies(pd(65.0, objects=many))


# Adjustable contracts


def test_a_programmable_contract_is_set_on_its_grid_of_20_millivolts():
    pps = the(pd(65.0, objects=("3.3 V to 21 V 3 A",)), "3.3 V to 21 V 3 A")
    at = at_voltage(pps, 8.40)
    assert at.contract == "8.4 V 3 A (of 3.3 V to 21 V)"
    assert (at.v_set.low, at.v_set.typ, at.v_set.high) == pytest.approx((7.98, 8.40, 8.82), rel=1e-12)  # 5 %
    assert at.v_max_normal == pytest.approx(9.32, rel=1e-12)  # and 0.5 V while it moves
    # iPpsCLNew: 3 A within 150 mA (confirmed by look-up in a public article); the source holds it for ever.
    assert (at.overload.kind, at.overload.i_trip.low, at.overload.i_trip.high) == ("constant-current", 2.85, 3.15)
    assert math.isinf(at.overload.time)
    assert at.v_max_fault == pytest.approx(1.2 * 8.40, rel=1e-12)  # by hand: 120 % of what is set
    for wrong in (8.41, 3.2, 21.02, 48.0):
        with pytest.raises(OutOfRange, match=r"no set point of 3\.3 V to 21 V in steps of 20 mV"):
            at_voltage(pps, wrong)


def test_an_adjustable_contract_above_100_watts_keeps_to_its_power_and_its_current():
    avs = the(pd(140.0, programmable=True), "15 V to 28 V 140 W")
    assert at_voltage(avs, 28.0).i_rated == 5.0
    assert at_voltage(avs, 15.0).i_rated == 5.0  # the cable, not 140 W / 15 V
    tight = the(pd(120.0, programmable=True), "15 V to 28 V 120 W")
    assert at_voltage(tight, 28.0).i_rated == 4.25  # by hand: 120/28 = 4.2857 A, 50 mA below it
    assert at_voltage(tight, 20.0).i_rated == 5.0
    # The trip goes with the current of the set point: 120 % of 5 A and of 4.25 A, by hand.
    assert at_voltage(tight, 20.0).overload.i_trip.typ == pytest.approx(6.0, rel=1e-12)
    assert at_voltage(tight, 28.0).overload.i_trip.typ == pytest.approx(5.1, rel=1e-12)


def test_the_set_points_of_a_contract_agree_with_setting_it_one_by_one():
    avs = the(pd(120.0, programmable=True), "15 V to 28 V 120 W")
    points = set_points(avs)
    assert len(points.v) == 131  # 15.0 to 28.0 V in steps of 0.1 V
    for k in range(0, 131, 10):
        at = at_voltage(avs, float(points.v[k]))
        assert points.i_rated[k] == at.i_rated
        assert points.v_worst[k] == pytest.approx(worst_input_voltage(at, at.i_rated), rel=1e-12)  # rounding
        assert points.power_worst[k] == pytest.approx(greatest_power(at), rel=1e-12)
        assert points.v_max_normal[k] == pytest.approx(at.v_max_normal, rel=1e-12)


def test_a_fixed_contract_cannot_be_set():
    with pytest.raises(PartsError, match="has one voltage"):
        at_voltage(the(pd(), "20 V 3.25 A"), 12.0)


# Requests


@pytest.mark.parametrize(
    ("spec", "contract", "v", "i", "word"),
    # Known answers of PD R3.2 6.4.2 (layouts confirmed by look-up; recomputed).
    [
        (pd(100.0), "20 V 5 A", None, 3.0, 0x4004B12C),
        (pd(140.0), "28 V 5 A", None, 5.0, 0x8047D1F4),
        (
            pd(65.0, objects=("7 V 1 A", "9 V 1 A", "12 V 1 A", "15 V 1 A", "3.3 V to 21 V 3 A")),
            "3.3 V to 21 V 3 A",
            8.40,
            3.0,
            0x6003483C,
        ),
        (pd(140.0, programmable=True), "15 V to 28 V 140 W", 20.0, 5.0, 0x90464064),
    ],
)
def test_the_request_for_a_contract_is_the_standard_s_word(spec, contract, v, i, word):
    supply = the(spec, contract)
    assert encode_request(request_for(supply if v is None else at_voltage(supply, v), i)) == word


def test_a_request_rounds_the_current_up_to_the_next_step():
    request = request_for(the(pd(), "20 V 3.25 A"), 1.2345)
    assert request.i_operating == 1.24
    encode_request(request)


def test_a_request_for_too_much_or_without_contract_is_refused():
    with pytest.raises(OutOfRange, match=r"gives up to 3\.25 A, not 3\.3 A"):
        request_for(the(pd(), "20 V 3.25 A"), 3.3)
    with pytest.raises(PartsError, match="nothing to request"):
        request_for(the(pd(), "5 V 3 A without contract"), 1.0)

"""Codes against plain arithmetic (rows PV06 to PV09 of the project's outside values) and what holds for every code."""

from dataclasses import replace
from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import OutOfRange
from chargewright.setpoints.controller import Choices, Field, Linear, SpecialCode
from chargewright.setpoints.quantise import decode, encode, from_bits, to_bits
from chargewright.setpoints.quantities import QUANTITIES


def linear(key: str, step: float, maximum: float, **more: float) -> Field:
    scale = Linear(step=step, minimum=more.pop("minimum", 0.0), maximum=maximum, **more)
    return Field(quantity=QUANTITIES[key], register=0x10, scale=scale)


def choices(*values: tuple[int, float]) -> Field:
    return Field(quantity=QUANTITIES["watchdog"], register=0x10, width=4, scale=Choices(values=values))


@pytest.mark.parametrize(
    ("asked", "step", "direction", "code", "value"),
    [
        # PV06: 8400 mV; nearest at 32 mV would be over the limit (arithmetic; recomputed).
        (8.4, 0.016, "down", 525, 8.400),
        (8.4, 0.032, "down", 262, 8.384),
        (8.4, 0.032, "nearest", 263, 8.416),
        # PV07: 12600 mV (arithmetic; recomputed).
        (12.6, 0.008, "down", 1575, 12.600),
        (12.6, 0.016, "down", 787, 12.592),
        (12.6, 0.032, "down", 393, 12.576),
        # PV08: 3000 mA (arithmetic; recomputed).
        (3.0, 0.064, "down", 46, 2.944),
        (3.0, 0.064, "nearest", 47, 3.008),
        # PV09: 3250 mA (arithmetic; recomputed).
        (3.25, 0.050, "down", 65, 3.250),
        (3.25, 0.064, "down", 50, 3.200),
        # Ratios that floating point puts just under a whole number: 0.3/0.1 is 2.9999999999999996.
        (0.3, 0.1, "down", 3, 0.3),
        (0.3, 0.1, "up", 3, 0.3),
    ],
)
def test_codes_are_those_of_plain_arithmetic(asked: float, step: float, direction: str, code: int, value: float):
    coded = encode(linear("charge_voltage", step, 20.0), asked, direction)
    # The value is a short decimal number; 1e-12 is the last digit of a float.
    assert (coded.code, coded.clamped) == (code, False)
    assert coded.value == pytest.approx(value, rel=1e-12)


def test_every_code_of_a_fine_field_is_found_again():
    # 16 mV is no binary fraction, so both directions have to forgive the last digit in all of these.
    field = linear("charge_voltage", 0.016, 20.0)
    for code in range(1, 1251):
        for direction in ("down", "up", "nearest"):
            assert encode(field, code * 0.016, direction).code == code


steps = st.sampled_from([0.001, 0.008, 0.016, 0.032, 0.05, 0.064, 0.1])
offsets = st.sampled_from([0.0, 0.05, 2.56, -1.0])


@given(st.floats(0.5, 19.0), steps, offsets)
def test_a_value_is_never_passed_on_its_unsafe_side(asked: float, step: float, offset: float):
    field = linear("charge_voltage", step, 20.0, offset=offset)
    down, up = encode(field, asked, "down"), encode(field, asked, "up")
    # 1e-8 of a value: what counts as floating error when the ratio to the step is a whole number.
    grain = 1e-8 * max(1.0, asked)
    if not (down.clamped or up.clamped):
        assert asked - step - grain < down.value <= asked + grain
        assert asked - grain <= up.value < asked + step + grain
        assert abs(encode(field, asked, "nearest").value - asked) <= step / 2.0 + grain


@given(st.floats(0.5, 19.0), steps, offsets, st.sampled_from(["down", "up", "nearest"]))
def test_what_is_coded_is_decoded_and_coded_again(asked: float, step: float, offset: float, direction: str):
    field = linear("charge_voltage", step, 20.0, offset=offset)
    coded = encode(field, asked, direction)
    assert decode(field, coded.code) == coded.value
    assert encode(field, coded.value, direction).code == coded.code


@pytest.mark.parametrize(
    ("asked", "direction", "code", "value"),
    [(2.0, "down", 200, 3.2), (30.0, "down", 1187, 18.992), (30.0, "up", 1187, 18.992), (inf, "down", 1187, 18.992)],
)
def test_outside_the_range_the_end_is_set_and_marked(asked: float, direction: str, code: int, value: float):
    field = linear("charge_voltage", 0.016, 19.0, minimum=3.2)
    coded = encode(field, asked, direction)
    assert (coded.code, coded.clamped) == (code, True)
    assert coded.value == pytest.approx(value, rel=1e-12)


def test_the_last_code_lies_inside_the_range_and_rounding_down_to_it_is_no_clamping():
    field = linear("charge_voltage", 0.016, 19.0, minimum=3.2)
    assert not encode(field, 18.999, "down").clamped


def test_a_special_code_is_taken_only_for_its_own_value():
    field = replace(
        linear("input_current", 0.05, 10.0, minimum=0.1),
        special=(SpecialCode(code=0, value=inf, means="no limit"),),
    )
    assert encode(field, inf, "down").code == 0
    assert decode(field, 0) == inf
    # 20 mA would round down to code 0, which would open the limit altogether.
    low = encode(field, 0.02, "down")
    assert (low.code, low.value, low.clamped) == (2, 0.1, True)


@pytest.mark.parametrize(
    ("asked", "direction", "code", "clamped"),
    [
        (100.0, "down", 2, False),
        (100.0, "up", 3, False),
        (100.0, "nearest", 2, False),
        (130.0, "nearest", 3, False),
        (80.0, "down", 2, False),
        (80.0, "up", 2, False),
        (20.0, "down", 1, True),
        (500.0, "down", 3, True),
        (500.0, "up", 3, True),
    ],
)
def test_listed_values_are_chosen_on_the_safe_side(asked: float, direction: str, code: int, clamped: bool):
    coded = encode(choices((1, 40.0), (2, 80.0), (3, 160.0)), asked, direction)
    assert (coded.code, coded.clamped) == (code, clamped)


def test_a_code_without_a_meaning_is_refused():
    with pytest.raises(OutOfRange, match="code 7"):
        decode(choices((1, 40.0)), 7)


def test_what_is_not_a_number_is_refused():
    with pytest.raises(OutOfRange, match="not a number"):
        encode(linear("charge_voltage", 0.016, 20.0), nan, "down")


@given(st.integers(0, 15), st.integers(1, 16), st.booleans(), st.data())
def test_codes_survive_their_place_in_the_register(low_bit: int, width: int, signed: bool, data: st.DataObject):
    width = min(width, 16 - low_bit)
    field = replace(linear("charge_voltage", 0.001, 1.0), low_bit=low_bit, width=width, signed=signed)
    low, high = (-(1 << width - 1), (1 << width - 1) - 1) if signed else (0, (1 << width) - 1)
    code = data.draw(st.integers(low, high))
    word = to_bits(field, code)
    assert 0 <= word <= 0xFFFF
    assert word & ~field.mask == 0
    assert from_bits(field, word | (0xFFFF & ~field.mask)) == code

"""Quantities: what is read, and what is refused in which words."""

import math
import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from chargewright.base.errors import QuantityError
from chargewright.base.units import (
    Toleranced,
    band_pattern,
    exact,
    parse,
    parse_toleranced,
    plain_unit,
    quantity_pattern,
    spellings_of,
    unit_name,
)

approx = pytest.approx

UNITS = ["V", "A", "ohm", "W", "J", "C", "F", "H", "Hz", "s", "K", "dK", "1", "rate", "m", "m2", "m3", "kg"]
UNITS += ["K/W", "J/K", "V/s", "1/K", "V/K"]


def refused(text: str, unit: str) -> str:
    with pytest.raises(QuantityError) as caught:
        parse(text, unit)
    return str(caught.value)


# Read. Prefixes are those of the SI Brochure (BIPM, 9th edition 2019, table 7); 1 h = 3600 s and 1 d = 86 400 s and
# 0 °C = 273.15 K (same, table 8 and section 2.3.1); 1 A h = 3600 C follows.
@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("20 V", "V", 20.0),
        ("20V", "V", 20.0),
        (" 20  V ", "V", 20.0),
        ("20\u00a0V", "V", 20.0),  # no-break space
        ("+20 V", "V", 20.0),
        ("-20 V", "V", -20.0),
        ("\u221220 V", "V", -20.0),  # the true minus sign
        (".5 V", "V", 0.5),
        ("2e-3 V", "V", 0.002),
        ("2E3 mV", "V", 2.0),
        ("4200 mV", "V", 4.2),
        ("3.3 kV", "V", 3300.0),
        ("5 mohm", "ohm", 0.005),
        ("5 m\u03a9", "ohm", 0.005),  # Greek capital omega
        ("5 m\u2126", "ohm", 0.005),  # ohm sign
        ("2 Mohm", "ohm", 2e6),
        ("5 uA", "A", 5e-6),
        ("5 \u00b5A", "A", 5e-6),  # micro sign
        ("5 \u03bcA", "A", 5e-6),  # Greek small mu
        ("65 W", "W", 65.0),
        ("5 Ah", "C", 18000.0),
        ("2600 mAh", "C", 9360.0),
        ("1000 uAh", "C", 3.6),
        ("25 nC", "C", 25e-9),
        ("1 Wh", "J", 3600.0),
        ("10 uF", "F", 10e-6),
        ("4.7 pF", "F", 4.7e-12),
        ("2.2 uH", "H", 2.2e-6),
        ("800 kHz", "Hz", 8e5),
        ("1.2 MHz", "Hz", 1.2e6),
        ("25 ns", "s", 25e-9),
        ("30 min", "s", 1800.0),
        ("10 h", "s", 36000.0),
        ("2 d", "s", 172800.0),
        ("2 h 30 min", "s", 9000.0),
        ("3 d 4 h", "s", 273600.0),
        ("1 min 30 s", "s", 90.0),
        ("-2 h 05 min", "s", -7500.0),
        ("25 °C", "K", 298.15),
        ("25 \u2103", "K", 298.15),
        ("25 degC", "K", 298.15),
        ("300 K", "K", 300.0),
        ("5 K", "dK", 5.0),
        ("-5 °C", "dK", -5.0),
        ("5 %", "1", 0.05),
        ("0.05", "1", 0.05),
        ("100 ppm", "1", 1e-4),
        ("0.5 C", "rate", 0.5 / 3600.0),
        ("12 K/W", "K/W", 12.0),
        ("3900 ppm/K", "1/K", 3.9e-3),
        ("0.3 mV/K", "V/K", 3e-4),
        ("5 V/us", "V/s", 5e6),
        ("5 mm2", "m2", 5e-6),
        ("5 mm\u00b2", "m2", 5e-6),
    ],
)
def test_a_quantity_becomes_si(text: str, unit: str, value: float):
    assert parse(text, unit) == approx(value, rel=1e-15)  # one rounding


def test_decimal_prefixes_cost_no_digit():
    # 25 times 1e-9 is 2.5000000000000002e-08; a file that says 25 ns must equal a record that says 2.5e-8.
    assert parse("25 ns", "s") == 2.5e-8
    assert parse("115 %", "1") == 1.15
    assert parse("4200 mV", "V") == 4.2


def test_the_list_of_spellings_is_closed():
    # A new spelling is a decision: it can make a text mean something that was refused before.
    assert {unit: spellings_of(unit) for unit in ("V", "A", "ohm", "s", "K", "1", "rate", "C", "F", "H")} == {
        "V": ("V", "mV", "uV", "nV", "kV"),
        "A": ("A", "mA", "uA", "nA"),
        "ohm": ("ohm", "mohm", "uohm", "kohm", "Mohm"),
        "s": ("s", "ms", "us", "ns", "min", "h", "d"),
        "K": ("degC", "K"),
        "1": ("%", "ppm"),
        "rate": ("C",),
        "C": ("Ah", "mAh", "uAh", "mC", "uC", "nC", "pC", "coulomb"),
        "F": ("F", "pF", "nF", "uF", "mF"),
        "H": ("H", "mH", "uH", "nH"),
    }


def test_every_unit_has_its_word():
    assert all(unit_name(unit) for unit in UNITS)
    assert unit_name("ohm") == "resistance"
    with pytest.raises(KeyError):
        unit_name("parsec")


# Refused, never guessed.
@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        # What other readers of quantities are known to misread.
        ("20 V ±5 %", "V", "has a tolerance, which is not wanted here"),
        ("1,5 V", "V", "has a comma; accepted: a decimal point and no thousands separators"),
        ("1,500 V", "V", "has a comma"),
        (
            "3.3k",
            "ohm",
            "the unit 'k', which is not known; accepted: ohm, mohm, uohm, kohm, Mohm; did you mean 'kohm'?",
        ),
        ("5 mm^2", "m2", "the unit 'mm^2', which is not known; accepted: mm2, cm2, m2; did you mean 'mm2'?"),
        ("3V3", "V", "the unit 'V3', which is not known"),
        ("4R7", "ohm", "the unit 'R7', which is not known"),
        # A bare number where a unit is due.
        ("20", "V", "'20' has no unit; accepted: a voltage with its unit (V, mV, uV, nV, kV)"),
        ("0", "A", "has no unit"),
        # The case of a prefix counts.
        ("5 MV", "V", "did you mean 'mV'?"),
        ("5 mv", "V", "did you mean 'mV'?"),
        ("5 Mw", "W", "did you mean 'mW'?"),
        ("5 mOhm", "ohm", "did you mean 'mohm'?"),
        ("5 MOhm", "ohm", "did you mean 'Mohm'?"),
        ("5 KHz", "Hz", "did you mean 'kHz'?"),
        # Another kind of quantity.
        ("5 m", "s", "'5 m' is a length; accepted: a time (s, ms, us, ns, min, h, d)"),
        ("5 V", "A", "'5 V' is a voltage; accepted: a current (A, mA, uA, nA)"),
        ("5 C", "C", "is a charge rate (current over capacity)"),
        ("5 Ah", "rate", "is a charge; accepted: a charge rate"),
        ("5 mH", "F", "is an inductance"),
        ("5 %", "V", "is a ratio"),
        # Words.
        ("5 volts", "V", "did you mean 'V'?"),
        ("5 hours", "s", "did you mean 'h'?"),
        ("10 minutes", "s", "did you mean 'min'?"),
        ("5 R", "ohm", "did you mean 'ohm'?"),
        ("25 celsius", "K", "did you mean '°C'?"),
        ("77 °F", "K", "accepted: °C, K"),
        ("5 percent", "1", "did you mean '%'?"),
        # No numbers.
        ("", "V", "'' is not a quantity"),
        ("V", "V", "is not a quantity"),
        ("V 5", "V", "is not a quantity"),
        ("nan V", "V", "is not a quantity"),
        ("inf V", "V", "is not a quantity"),
        ("1e999 V", "V", "too large for a number"),
        ("1. V", "V", "is not a quantity"),
        ("5..3 V", "V", "is not a quantity"),
        ("0x10 V", "V", "is not a quantity"),
        ("1e V", "V", "is not a quantity"),
        ("1_000 V", "V", "digits in groups"),
        ("1 000 V", "V", "digits in groups"),
        ("1'000 V", "V", "digits in groups"),
        ("5 + 5 V", "V", "has a tolerance"),
        ("\u0663 V", "V", "is not a quantity"),  # an Arabic-Indic three
        ("\uff15 V", "V", "is not a quantity"),  # a full-width five
        ("5 V;", "V", "did you mean 'V'?"),
        ("5 V 3", "V", "is not a quantity"),
        ("30 min 2 h", "s", "is not a quantity"),
        ("2 h 30", "s", "is not a quantity"),
        ("2.5 h 30 min", "s", "is not a quantity"),
        ("2 V 30 mV", "V", "is not a quantity"),
        ("-300 °C", "K", "below absolute zero"),
        ("-1 K", "K", "below absolute zero"),
        ("5" * 81, "V", "a quantity of 81 characters"),
    ],
)
def test_what_could_be_misread_is_refused(text: str, unit: str, words: str):
    assert words in refused(text, unit)


def test_an_error_carries_what_was_found_and_what_is_accepted():
    with pytest.raises(QuantityError) as caught:
        parse("5 V", "A")
    assert caught.value.found == "'5 V' is a voltage"
    assert caught.value.accepted == "a current (A, mA, uA, nA)"


# Bands.
@pytest.mark.parametrize(
    ("text", "unit", "typ", "low", "high"),
    [
        ("20 V", "V", 20, 20, 20),
        ("20 V ±5 %", "V", 20, 19, 21),
        ("20 V +/-5 %", "V", 20, 19, 21),
        ("20 V ± 0.5 V", "V", 20, 19.5, 20.5),
        ("20V±500mV", "V", 20, 19.5, 20.5),
        ("20 V +1 % -9 %", "V", 20, 18.2, 20.2),
        ("20 V + 0.2 V - 1.8 V", "V", 20, 18.2, 20.2),
        ("20V+1%-9%", "V", 20, 18.2, 20.2),
        ("19 V to 21 V", "V", 20, 19, 21),
        ("19000 mV  to  21 V", "V", 20, 19, 21),
        ("-5 V ±10 %", "V", -5, -5.5, -4.5),
        ("-20 °C to 60 °C", "K", 293.15, 253.15, 333.15),
        ("25 °C ±5 K", "K", 298.15, 293.15, 303.15),
        ("10 kohm ±100 ppm", "ohm", 10e3, 9999, 10001),
        ("1.2 ±0.1", "1", 1.2, 1.1, 1.3),
        ("1.2 +0.2 -0.15", "1", 1.2, 1.05, 1.4),
        ("110 % to 130 %", "1", 1.2, 1.1, 1.3),
        ("5 mohm ±20 %", "ohm", 0.005, 0.004, 0.006),
        ("1 ±0", "1", 1, 1, 1),
    ],
)
def test_a_band_becomes_si(text: str, unit: str, typ: float, low: float, high: float):
    band = parse_toleranced(text, unit)
    # A few roundings: of the percentage, of the product, of the sum.
    assert (band.typ, band.low, band.high) == (approx(typ, rel=1e-14), approx(low, rel=1e-14), approx(high, rel=1e-14))


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("20 V ±5", "V", "a tolerance without a unit"),
        ("20 V ±5 A", "V", "is a current"),
        ("20 V ±-5 %", "V", "a tolerance that cannot be read"),
        ("20 V +1 %", "V", "a tolerance that cannot be read"),
        ("20 V -9 % +1 %", "V", "a tolerance that cannot be read"),
        ("20 V +1 % +2 %", "V", "a tolerance that cannot be read"),
        ("20 V ±5 % ±1 %", "V", "a tolerance that cannot be read"),
        ("20 V 5 %", "V", "a tolerance that cannot be read"),
        ("20 V about", "V", "a tolerance that cannot be read"),
        ("20 V ±1e999 %", "V", "too large"),
        ("21 V to 19 V", "V", "runs downwards"),
        ("19 to 21 V", "V", "'19' has no unit"),
        ("19 V to 21", "V", "'21' has no unit"),
        ("19 V to 21 V to 23 V", "V", "which is not wanted here"),
        ("110 % ±10 %", "1", "can be read two ways"),
        ("25 °C ±5 %", "K", "is a ratio"),
        ("±5 %", "V", "not"),
        ("", "V", "is not a quantity"),
    ],
)
def test_a_band_that_could_be_misread_is_refused(text: str, unit: str, words: str):
    with pytest.raises(QuantityError) as caught:
        parse_toleranced(text, unit)
    assert words in str(caught.value)


def test_a_band_can_be_scaled_and_be_exact():
    assert exact(5.0) == Toleranced(5.0, 5.0, 5.0)
    assert Toleranced(2.0, 1.0, 4.0).scaled(3.0) == Toleranced(6.0, 3.0, 12.0)


# Plain numbers under a unit in the head of a column.


def test_a_plain_number_is_read_under_its_columns_unit():
    assert plain_unit("mohm", "ohm").read("4.7") == 0.0047
    assert plain_unit("°C", "K").read("25") == 298.15
    assert plain_unit("1", "1").read("0.5") == 0.5
    assert plain_unit("mohm", "ohm").write(0.0047) == "4.7"


@pytest.mark.parametrize("text", ["", "x", "4,7", "4.7 mohm", "nan", "inf", "1e999", "1_0", " 4", "9" * 100])
def test_other_things_than_plain_numbers_are_refused_in_a_column(text: str):
    with pytest.raises(QuantityError):
        plain_unit("mohm", "ohm").read(text)


@pytest.mark.parametrize(("spelling", "words"), [("mV", "is the unit of a voltage"), ("mOhm", "did you mean 'mohm'?")])
def test_a_wrong_unit_of_a_column_is_refused(spelling: str, words: str):
    with pytest.raises(QuantityError) as caught:
        plain_unit(spelling, "ohm")
    assert words in str(caught.value)


# Any text at all.

number_like = st.from_regex(r"[-+]?[0-9]{0,5}[.,]?[0-9]{0,3}(e[-+]?[0-9]{1,4})?", fullmatch=True)
unit_like = st.sampled_from([s for u in UNITS for s in spellings_of(u)]) | st.text(max_size=6)
quantity_like = st.builds(
    " ".join, st.lists(number_like | unit_like | st.sampled_from(["±", "+", "-", "to"]), max_size=6)
)


@given(st.text(max_size=100) | quantity_like, st.sampled_from(UNITS))
def test_any_text_gives_a_finite_number_or_a_readable_refusal(text: str, unit: str):
    for read in (parse, parse_toleranced):
        try:
            value = read(text, unit)
        except QuantityError as error:
            assert str(error)  # noqa: PT017 - the other outcome is as good
        else:
            numbers = (value,) if isinstance(value, float) else (value.low, value.typ, value.high)
            assert all(map(math.isfinite, numbers))
            assert list(numbers) == sorted(numbers)


@given(quantity_like, st.sampled_from(UNITS))
@example("2 h 30 min", "s")
@example("5 m\u2126", "ohm")
@example("25 °C ±5 K", "K")
def test_what_is_read_matches_the_pattern_that_editors_are_given(text: str, unit: str):
    for read, pattern in ((parse, quantity_pattern), (parse_toleranced, band_pattern)):
        try:
            read(text, unit)
        except QuantityError:
            continue
        assert re.search(pattern(unit), text), (text, unit)


@pytest.mark.parametrize("text", ["5", "5 V", "5,0 mohm", "5 Ah", "mohm", "5 mOhm", ""])
def test_the_pattern_refuses_plain_slips(text: str):
    assert not re.search(quantity_pattern("ohm"), text)
    assert not re.search(band_pattern("ohm"), text)

"""Quantities as text: what is shown to people and what is written into files can be read back."""

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from chargewright.base.units import (
    Toleranced,
    exact,
    parse,
    parse_toleranced,
    show,
    spell,
    spell_toleranced,
)

approx = pytest.approx
UNITS = ["V", "A", "ohm", "W", "J", "C", "F", "H", "Hz", "s", "K", "dK", "1", "rate", "m", "m2", "m3", "kg"]
UNITS += ["K/W", "J/K", "V/s", "1/K", "V/K"]


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.15, "V", "150 mV"),
        (0.99996, "V", "1 V"),  # not 1000 mV
        (-0.5, "V", "-500 mV"),
        (0.0, "V", "0 V"),
        (0.0, "C", "0 Ah"),
        (0.005, "ohm", "5 mΩ"),
        (1.2e6, "Hz", "1.2 MHz"),
        (2.2e-6, "H", "2.2 µH"),
        (0.9925, "1", "99.25 %"),
        (2.5, "1", "2.5"),
        (318.15, "K", "45 °C"),
        (5.0, "dK", "5 K"),
        (0.5 / 3600, "rate", "0.5 C"),
        (18000.0, "C", "5 Ah"),
        (3600.0, "J", "1 Wh"),
        (89.0, "s", "89 s"),
        (100.0, "s", "100 s"),  # "2 min" would be a fifth off
        (120.0, "s", "2 min"),
        (7500.0, "s", "2 h 05 min"),
        (3599.0, "s", "1 h 00 min"),
        (4 * 86400.0, "s", "4 d 0 h"),
        (-7500.0, "s", "-2 h 05 min"),
        (3.9e-3, "1/K", "3900 ppm/K"),
        (1e-4, "m2", "100 mm²"),
        (273.15 - 2.6e-10, "K", "0 °C"),  # what a sum of many steps leaves
        (2.6e-11, "1", "0 %"),
        (12.0, "K/W", "12 K/W"),
        (math.nan, "V", "not available"),
        (math.inf, "V", "unlimited"),
        (-math.inf, "V", "-unlimited"),
    ],
)
def test_a_value_is_shown_for_people(value: float, unit: str, text: str):
    assert show(value, unit) == text


finite = st.floats(1e-9, 1e9) | st.floats(-1e9, -1e-9) | st.just(0.0)


@given(finite, st.sampled_from(["A", "ohm", "V", "W", "F", "H", "Hz", "1", "dK", "rate", "K/W", "J/K", "kg", "V/s"]))
def test_what_is_shown_can_be_read_back(value: float, unit: str):
    # Four digits are shown: half a unit of the fourth is 5e-4 of the value at worst; far from any record's range the
    # prefixes run out ("MV"), so stay where they exist.
    limits = {"V": 9e5, "A": 900.0, "W": 9e5, "F": 900.0, "H": 900.0, "ohm": 9e8}
    if abs(value) > limits.get(unit, 1e9):
        value = math.copysign(limits[unit], value)
    if unit in ("A", "H", "V", "W", "F", "Hz", "ohm") and 0 < abs(value) < (1.0 if unit == "Hz" else 1e-5):
        value = math.copysign(1.0, value)
    # Per cent below a millionth are shown as none: what rounding leaves of zero would read like a figure.
    least = 1.01e-8 if unit == "1" else 6e-12
    assert parse(show(value, unit), unit) == approx(value, rel=6e-4, abs=least)


@given(st.floats(90.0, 4e6))
def test_a_time_that_is_shown_can_be_read_back(seconds: float):
    # Minutes are the last thing shown from 10 min on, hours from 3 d on.
    error = 0.51 if seconds < 600 else 31.0 if seconds < 3 * 86400 else 3601.0
    assert parse(show(seconds, "s"), "s") == approx(seconds, abs=error)


@given(st.floats(1.0, 2000.0))
def test_a_temperature_that_is_shown_can_be_read_back(kelvin: float):
    assert parse(show(kelvin, "K"), "K") == approx(kelvin, abs=0.6)  # four digits of up to 1727 °C


# Written into files.
@given(finite, st.sampled_from([u for u in UNITS if u != "K"]))
@example(0.05, "1")
@example(36000.0, "s")
@example(0.333984375, "C")
@example(1e-9, "1")
def test_what_is_written_reads_back_to_ten_digits(value: float, unit: str):
    text = spell(value, unit)
    assert parse(text, unit) == approx(value, rel=1e-9, abs=1e-300)
    assert text.isascii()


@given(st.floats(0.0, 5000.0))
def test_a_written_temperature_reads_back(kelvin: float):
    assert parse(spell(kelvin, "K"), "K") == approx(kelvin, abs=1e-6)  # ten digits of the number in °C


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.06, "ohm", "60 mohm"),
        (18000.0, "C", "5 Ah"),
        (1800.0, "C", "500 mAh"),
        (36000.0, "s", "10 h"),
        (1800.0, "s", "30 min"),
        (2.5e-8, "s", "25 ns"),
        (298.15, "K", "25 °C"),
        (5.0, "dK", "5 K"),
        (0.88, "1", "88 %"),
        (3.0, "1", "3"),
        (0.5 / 3600, "rate", "0.5 C"),
        (8e5, "Hz", "800 kHz"),
        (0.0, "V", "0 V"),
    ],
)
def test_values_are_written_as_people_write_them(value: float, unit: str, text: str):
    assert spell(value, unit) == text


@given(
    st.floats(1e-6, 1e6), st.floats(0.0, 0.9), st.floats(0.0, 0.9), st.sampled_from(["V", "ohm", "1", "W", "Hz", "s"])
)
def test_a_written_band_reads_back(typ: float, down: float, up: float, unit: str):
    band = Toleranced(typ, typ * (1.0 - down), typ * (1.0 + up))
    again = parse_toleranced(spell_toleranced(band, unit), unit)
    assert again.low == approx(band.low, rel=1e-6, abs=1e-9 * typ)
    assert again.typ == approx(band.typ, rel=1e-8)
    assert again.high == approx(band.high, rel=1e-8)


@pytest.mark.parametrize(
    ("band", "unit", "text"),
    [
        (Toleranced(20.0, 19.0, 21.0), "V", "20 V ±5 %"),
        (Toleranced(20.0, 18.2, 20.2), "V", "20 V +1 % -9 %"),
        (Toleranced(1.3, 1.1, 1.5), "1", "110 % to 150 %"),
        (Toleranced(1.2, 1.05, 1.4), "1", "1.2 +0.2 -0.15"),
        (Toleranced(298.15, 293.15, 303.15), "K", "25 °C ±5 K"),
        (Toleranced(0.0, -1.0, 1.0), "V", "0 V ±1 V"),
        (exact(5.0), "V", "5 V"),
    ],
)
def test_bands_are_written_as_people_write_them(band: Toleranced, unit: str, text: str):
    assert spell_toleranced(band, unit) == text

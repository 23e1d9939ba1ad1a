"""Quantities given as options: read, and refused outside the range in which an answer means anything."""

from chargewright.base.errors import ChargewrightError, QuantityError
from chargewright.base.units import parse, show

COLDEST, HOTTEST = 213.15, 373.15
"""Ambient temperatures that are accepted [K]: beyond every cell's limits, so that it can be seen what happens there."""


def given(option: str, text: str, unit: str, low: float, high: float) -> float:
    """Return an option's value in SI. Raises ChargewrightError with the option, what was found and what is accepted."""
    try:
        value = parse(text, unit)
    except QuantityError as error:
        raise ChargewrightError(f"{option} {text}: {error}") from None
    if not low <= value <= high:
        percent = unit == "1" and "%" not in text and low <= value / 100.0 <= high
        hint = f"; did you mean '{text.strip()} %'?" if percent else ""
        raise ChargewrightError(f"{option} {text}: this has to lie in {show(low, unit)} … {show(high, unit)}{hint}")
    return value


def ambient_given(text: str) -> float:
    """Return the temperature around the product [K]."""
    return given("--ambient", text, "K", COLDEST, HOTTEST)


def start_given(text: str) -> float:
    """Return the state of charge at the start [1]."""
    return given("--from", text, "1", 0.0, 1.0)

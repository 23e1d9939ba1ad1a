"""How a computed number is held against a printed one."""

import re
from collections.abc import Callable

import pytest

SCALES = {
    "p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6,
}  # fmt: skip
UNPREFIXED = ("V", "A", "ohm", "W", "J", "Hz", "s", "m", "F", "H", "C", "K", "Ah", "h", "degC", "ohm/ft", "ohm/km", "%")
FACTORS = {"Ah": 3600.0, "h": 3600.0, "ohm/ft": 1.0 / 0.3048, "ohm/km": 1e-3, "%": 0.01}


def _scale(unit: str) -> float:
    if unit == "" or unit in UNPREFIXED:
        return FACTORS.get(unit, 1.0)
    return SCALES[unit[0]] * FACTORS.get(unit[1:], 1.0)


@pytest.fixture
def assert_meets() -> Callable[..., None]:
    """Return a check that a value in SI is the printed one, within the row's tolerance or half of its last digit.

    A printed figure is rounded, so that half of its last digit is allowed; a wider relative tolerance is the row's own
    and covers rounding inside the source. A tolerance of 1e-9 says that the figure is exact as it stands.
    """

    def check(value: float, printed: str, tolerance: float, source: str) -> None:
        number, _, unit = printed.partition(" ")
        offset = 273.15 if unit == "degC" else 0.0
        expected = float(number)
        found = (float(value) - offset) / _scale(unit)
        decimals = len(re.sub(r"e.*|^[^.]*\.?", "", number))
        last_digit = 10.0 ** (int(number.partition("e")[2] or 0) - decimals)
        # 0.501 of a digit: a value half way between two is a matter of binary rounding.
        allowed = tolerance * abs(expected) if tolerance == 1e-9 else max(0.501 * last_digit, tolerance * abs(expected))
        assert abs(found - expected) <= allowed, f"{found!r} is not {printed} ± {allowed:.3g}; {source}"

    return check

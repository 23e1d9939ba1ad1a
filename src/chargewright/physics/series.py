"""Preferred values: the E series of resistors and capacitors, and the member next to a wanted value.

Source: IEC 60063:2015, Preferred number series for resistors and capacitors.
"""

from functools import cache
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import OutOfRange
from chargewright.base.units import Real

Series: TypeAlias = Literal["E3", "E6", "E12", "E24", "E48", "E96", "E192"]

_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
"""Fixed by the standard; not the rounded geometric series."""
_DECADES = range(-15, 13)
_EQUAL = 1e-9
"""Relative distance below which a wanted value is the preferred one: rounding of the arithmetic before."""


def e_series(name: Series) -> npt.NDArray[np.float64]:
    """Return the members of one decade, from 1 up to below 10."""
    members, digits = _members(name)
    return np.array([float(f"{m}e-{digits}") for m in members])


def nearest_preferred(value: Real, name: Series) -> Real:
    """Return the member of the series, in any decade, that is nearest to `value`; of two as near, the smaller.

    value : wanted values in any one unit, 1e-15 … 1e13
    Raises OutOfRange.
    """
    below, above = preferred_at_or_below(value, name), preferred_at_or_above(value, name)
    return _plain(np.where(np.subtract(value, below) <= np.subtract(above, value), below, above))


def preferred_at_or_below(value: Real, name: Series) -> Real:
    """Return the greatest member of the series, in any decade, that is not above `value`.

    value : wanted values in any one unit, 1e-15 … 1e13
    Raises OutOfRange.
    """
    table = _table(name)
    return _plain(table[np.searchsorted(table, _checked(value) * (1.0 + _EQUAL), side="right") - 1])


def preferred_at_or_above(value: Real, name: Series) -> Real:
    """Return the least member of the series, in any decade, that is not below `value`.

    value : wanted values in any one unit, 1e-15 … 1e13
    Raises OutOfRange.
    """
    table = _table(name)
    return _plain(table[np.searchsorted(table, _checked(value) * (1.0 - _EQUAL), side="left")])


def _members(name: Series) -> tuple[list[int], int]:
    """Return one decade as whole numbers, and how many digits follow the first."""
    count = {"E3": 3, "E6": 6, "E12": 12, "E24": 24, "E48": 48, "E96": 96, "E192": 192}.get(name)
    if count is None:
        raise OutOfRange(f"{name!r} is not a series of IEC 60063; there are E3, E6, E12, E24, E48, E96 and E192")
    if count <= 24:
        return list(_E24[:: 24 // count]), 1
    # The standard lists 9.20 in E192, where rounding gives 9.19.
    every = [920 if i == 185 else round(100.0 * 10.0 ** (i / 192.0)) for i in range(192)]
    return every[:: 192 // count], 2


@cache
def _table(name: Series) -> npt.NDArray[np.float64]:
    members, digits = _members(name)
    # Through text, so that 4.7 kΩ is 4700.0 and not its neighbour.
    values = [float(f"{m}e{decade - digits}") for decade in _DECADES for m in members]
    return np.array([*values, float(f"1e{_DECADES.stop}")])


def _checked(value: Real) -> npt.NDArray[np.float64]:
    wanted = np.asarray(value, dtype=np.float64)
    low, high = 10.0**_DECADES.start, 10.0**_DECADES.stop
    if not bool(np.all((wanted >= low) & (wanted <= high))):
        raise OutOfRange(f"preferred values run from {low:g} to {high:g}; got {np.min(wanted):g} … {np.max(wanted):g}")
    return wanted


def _plain(values: npt.NDArray[np.float64]) -> Real:
    return float(values) if np.ndim(values) == 0 else values

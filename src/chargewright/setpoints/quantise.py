"""Codes: from a wanted value to the code that is nearest on the safe side, and back."""

import math
from dataclasses import dataclass

from chargewright.base.errors import OutOfRange
from chargewright.base.units import show
from chargewright.setpoints.controller import Choices, Field, Linear
from chargewright.setpoints.quantities import Direction

_GRAIN = 1e-9
"""Relative size below which a difference is floating error: 0.3 V is code 3 of 0.1 V though it divides to 2.9999…"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coded:
    """A code and the value that it stands for on the controller's own scale."""

    code: int
    value: float
    clamped: bool = False
    """Whether the wanted value lies outside what the field can be set to."""


def encode(field: Field, value: float, direction: Direction) -> Coded:
    """Return the code of `field` for `value`, rounded in `direction`.

    value : on the controller's own scale, in the unit of the quantity; infinite asks for "no limit"
    Outside the field's range the nearest end is returned with `clamped` set. Special codes are taken only where
    exactly their value is asked for. Raises OutOfRange for a value that is not a number.
    """
    if math.isnan(value):
        raise OutOfRange(f"set-point of {field.quantity.key}: the value asked for is not a number")
    for special in field.special:
        if special.value == value:
            return Coded(code=special.code, value=special.value)
    if isinstance(field.scale, Choices):
        return _choose(field.scale, value, direction)
    low, high = code_range(field.scale)
    code = (
        low if value == -math.inf else high + 1 if value == math.inf else _round(_ratio(field.scale, value), direction)
    )
    inside = min(max(code, low), high)
    return Coded(code=inside, value=linear_value(field.scale, inside), clamped=inside != code)


def decode(field: Field, code: int) -> float:
    """Return the value of `code` on the controller's own scale; raises OutOfRange for a code without a meaning."""
    for special in field.special:
        if special.code == code:
            return special.value
    if isinstance(field.scale, Linear):
        return linear_value(field.scale, code)
    for listed, value in field.scale.values:
        if listed == code:
            return value
    raise OutOfRange(f"set-point of {field.quantity.key}: code {code} is not in the list of the controller file")


def to_bits(field: Field, code: int) -> int:
    """Return the word that carries `code` at its place in the register; negative codes as two's complement."""
    return (code << field.low_bit) & field.mask


def from_bits(field: Field, word: int) -> int:
    """Return the code that `word` carries for `field`."""
    code = (word & field.mask) >> field.low_bit
    return code - (1 << field.width) if field.signed and code >> (field.width - 1) else code


def code_range(scale: Linear) -> tuple[int, int]:
    """Return the lowest and the highest code whose values lie inside the range of the field."""
    return _round(_ratio(scale, scale.minimum), "up"), _round(_ratio(scale, scale.maximum), "down")


def codes_of_width(field: Field) -> tuple[int, int]:
    """Return the lowest and the highest code that the bits of the field can carry."""
    return (-(1 << field.width - 1), (1 << field.width - 1) - 1) if field.signed else (0, (1 << field.width) - 1)


def linear_value(scale: Linear, code: int) -> float:
    """Return `offset` + code · `step`, free of the last digit's noise so that it can be compared and printed."""
    return float(f"{scale.offset + code * scale.step:.12g}")


def range_text(field: Field) -> str:
    """Return what the field can be set to, for messages: "1.024 V to 19.2 V"."""
    unit = field.quantity.unit
    if isinstance(field.scale, Linear):
        return f"{show(field.scale.minimum, unit)} to {show(field.scale.maximum, unit)}"
    return ", ".join(show(value, unit) for _, value in field.scale.values)


def _ratio(scale: Linear, value: float) -> float:
    return (value - scale.offset) / scale.step


def _round(ratio: float, direction: Direction) -> int:
    whole = round(ratio)
    if abs(ratio - whole) <= _GRAIN * max(1.0, abs(ratio)):
        return whole
    if direction == "nearest":
        return math.floor(ratio + 0.5 + _GRAIN * max(1.0, abs(ratio)))  # halves go up, as people round
    return math.floor(ratio) if direction == "down" else math.ceil(ratio)


def _choose(scale: Choices, value: float, direction: Direction) -> Coded:
    grain = _GRAIN * abs(value) if math.isfinite(value) else 0.0
    below = [pair for pair in scale.values if pair[1] <= value + grain]
    above = [pair for pair in scale.values if pair[1] >= value - grain]
    if not below or not above:
        code, end = scale.values[0] if not below else scale.values[-1]
        return Coded(code=code, value=end, clamped=True)
    under, over = below[-1], above[0]
    if direction == "nearest":
        code, taken = over if over[1] - value < value - under[1] else under
    else:
        code, taken = under if direction == "down" else over
    return Coded(code=code, value=taken)

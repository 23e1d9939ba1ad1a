"""Fields of 32-bit words: a quantity goes in only if it stands on the field's grid and fits."""

from chargewright.base.errors import OutOfRange
from chargewright.base.units import show

_OFF_GRID = 1e-6
"""Share of a step by which a float may miss the grid: far above rounding, far below any slip."""


def steps(what: str, value: float, step: float, bits: int, unit: str) -> int:
    """Return `value` as a count of steps; raises OutOfRange if it lies between two steps or does not fit the field."""
    count = round(value / step) if value == value and abs(value) != float("inf") else -1
    largest = (1 << bits) - 1
    if not 0 <= count <= largest:
        raise OutOfRange(f"{what} of {show(value, unit)} does not fit: 0 to {show(largest * step, unit, 5)}")
    if abs(value / step - count) > _OFF_GRID:
        below = int(value / step)
        raise OutOfRange(
            f"{what} of {show(value, unit, 7)} is not on the grid of {show(step, unit)}: "
            f"take {show(below * step, unit, 7)} or {show((below + 1) * step, unit, 7)}"
        )
    return count


def take(word: int, high: int, low: int) -> int:
    """Return bits `high` to `low` of `word`."""
    return (word >> low) & ((1 << (high - low + 1)) - 1)


def flags(*named: tuple[bool, int]) -> int:
    """Return a word with the bit of every flag that is set."""
    return sum(1 << bit for is_set, bit in named if is_set)


def require_word(word: int) -> None:
    """Raise OutOfRange unless `word` is a 32-bit word."""
    if not 0 <= word <= 0xFFFFFFFF:
        raise OutOfRange(f"{word:#x} is not a 32-bit word")

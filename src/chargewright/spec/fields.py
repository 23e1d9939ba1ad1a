"""What a field of the design file states once: unit, range, example, reason.

The loader, its messages, the JSON Schema, the starter file and the docs all read these; nothing repeats them.
Ranges catch slips of a thousand, not unusual designs: judging a design is the work of the checks.
"""

from dataclasses import MISSING, dataclass, field
from typing import Any

from chargewright.base.units import Toleranced, exact

KEY = "chargewright"


@dataclass(frozen=True, slots=True, kw_only=True)
class Info:
    """The description of one field."""

    why: str
    """What the field means and why it matters: one plain sentence fragment."""
    unit: str = ""
    """SI unit, or "" for text, choices and groups."""
    low: float = float("-inf")
    high: float = float("inf")
    high_rate: float = 100.0 / 3600.0
    """Greatest multiple of the capacity per hour, in 1/s, of a current that may be given so (unit "A|rate")."""
    example: str = ""
    max_items: int = 64
    max_length: int = 200
    many_lines: bool = False
    """Whether a text may have several lines."""
    names_file: bool = False
    """Whether a text with an ending or a folder in it is a file, relative to the design file."""


@dataclass(frozen=True, slots=True)
class Rated:
    """A current given in ampere, or as a multiple of the capacity per hour ("0.5 C")."""

    value: float
    """Ampere, or 1/s if `per_capacity`."""
    per_capacity: bool

    def amps(self, capacity: float) -> float:
        """Return the current in A for a capacity in coulomb."""
        return self.value * capacity if self.per_capacity else self.value


def rate(c: float) -> Rated:
    """Return a current of `c` times the capacity per hour."""
    return Rated(c / 3600.0, True)


def quantity(
    unit: str,
    *,
    low: float,
    high: float,
    example: str,
    why: str,
    default: Any = MISSING,
    high_c: float = 100.0,
) -> Any:
    """Declare a number with a unit; `low` and `high` are in SI. The type hint says float, int, Toleranced or Rated.

    high_c : for the unit "A|rate": the greatest multiple of the capacity per hour
    """
    info = Info(why=why, unit=unit, low=low, high=high, high_rate=high_c / 3600.0, example=example)
    return field(default=default, metadata={KEY: info}) if default is not MISSING else field(metadata={KEY: info})


def text(
    *,
    why: str,
    example: str = "",
    default: Any = MISSING,
    max_length: int = 200,
    many_lines: bool = False,
    names_file: bool = False,
) -> Any:
    """Declare a text, a yes/no or a choice (type hint Literal)."""
    info = Info(why=why, example=example, max_length=max_length, many_lines=many_lines, names_file=names_file)
    return field(default=default, metadata={KEY: info}) if default is not MISSING else field(metadata={KEY: info})


def group(*, why: str, default: Any = MISSING, example: str = "", max_items: int = 64) -> Any:
    """Declare a nested group, or a list of groups or texts (type hint tuple)."""
    info = Info(why=why, example=example, max_items=max_items)
    return field(default=default, metadata={KEY: info}) if default is not MISSING else field(metadata={KEY: info})


def band(typ: float, tol: float = 0.0) -> Toleranced:
    """Return a default with a relative tolerance."""
    return Toleranced(typ, typ * (1.0 - tol), typ * (1.0 + tol)) if tol else exact(typ)

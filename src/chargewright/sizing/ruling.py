"""One rule judged for many sets of parts at once."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruling:
    """One rule over many sets: arrays (sets,)."""

    rule: str
    where: str
    unit: str
    value: Floats
    limit: Floats
    corner: Ints
    """Corner at which it is tightest; -1 where it does not depend on one."""
    least: bool = False
    """Whether the limit is the least value that is allowed, not the greatest."""
    base: float = 0.0
    """From where the use of the limit counts: ambient for temperatures [unit of the value]."""

    @property
    def use(self) -> Floats:
        """How much of the limit is used [1]; above 1 the rule is broken."""
        if self.least:
            return np.where(self.value > 0.0, self.limit / np.maximum(self.value, 1e-30), np.inf)
        return np.asarray((self.value - self.base) / np.maximum(self.limit - self.base, 1e-30))

    @property
    def margin(self) -> Floats:
        """Distance to the limit over the limit's size [1], from the base; negative where the rule is broken."""
        return 1.0 / self.use - 1.0 if self.least else 1.0 - self.use


def most_over(
    rule: str, where: str, unit: str, value: Floats, limit: Any, only: Ints | None = None, base: float = 0.0
) -> Ruling:
    """Return the rule that a value stays below a limit at every corner.

    value : (sets, corners); limit : (sets,) or one number; only : the corners that count
    """
    at = np.arange(value.shape[1]) if only is None else only
    corner = at[np.argmax(value[:, at], axis=1)]
    worst = value[np.arange(len(value)), corner]
    return Ruling(
        rule=rule,
        where=where,
        unit=unit,
        value=worst,
        limit=np.broadcast_to(limit, worst.shape),
        corner=corner,
        base=base,
    )


def least_over(rule: str, where: str, unit: str, value: Floats, limit: Any) -> Ruling:
    """Return the rule that a value (sets, corners) stays above a limit, (sets,) or one number, at every corner."""
    corner = np.argmin(value, axis=1)
    worst = value[np.arange(len(value)), corner]
    return Ruling(
        rule=rule,
        where=where,
        unit=unit,
        value=worst,
        limit=np.broadcast_to(limit, worst.shape),
        corner=corner,
        least=True,
    )


def rating(rule: str, where: str, unit: str, value: Floats, needed: float) -> Ruling:
    """Return the rule that a rating (sets,) is at least what is needed."""
    return Ruling(
        rule=rule,
        where=where,
        unit=unit,
        value=value,
        limit=np.full(value.shape, needed),
        corner=np.full(value.shape, -1),
        least=True,
    )

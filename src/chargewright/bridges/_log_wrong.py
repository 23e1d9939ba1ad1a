"""What is wrong with a log: kinds of fault, how often and where, and what to do about them."""

from collections.abc import Sequence
from dataclasses import dataclass, field

_TOLD = 3
"""Places that a message names."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of fault."""

    one: str
    many: str
    cure: str = ""


BAD_ROW = Kind(
    "row that cannot be read",
    "rows that cannot be read",
    "Mend these rows, or let bad rows be dropped, so that the value before each holds on (--bad-rows drop).",
)
GAP = Kind(
    "gap",
    "gaps",
    "Say what to do in gaps: let the last value hold on (--gaps hold), or take the product as off (--gaps off).",
)
BACKWARDS = Kind(
    "time that runs backwards",
    "times that run backwards",
    "Put the rows in order of time; a clock that was set back cannot be mended by sorting.",
)
STANDSTILL = Kind(
    "time that stands still with another value",
    "times that stand still with another value",
    "Log the time more finely, or keep one row of each instant.",
)
REPEATED = Kind("repeated row", "repeated rows")


@dataclass(slots=True)
class Wrong:
    """Faults by kind, with the first places of each."""

    counts: dict[Kind, int] = field(default_factory=dict)
    places: dict[Kind, list[str]] = field(default_factory=dict)

    def add(self, kind: Kind, places: Sequence[str], count: int) -> None:
        """Note `count` faults of a kind, some of them with their places."""
        if count:
            self.counts[kind] = self.counts.get(kind, 0) + count
            kept = self.places.setdefault(kind, [])
            kept += places[: _TOLD - len(kept)]

    def __getitem__(self, kind: Kind) -> int:
        return self.counts.get(kind, 0)

    def told(self, kind: Kind) -> str:
        """Return a kind of fault with its number and its first places."""
        n, kept = self[kind], self.places.get(kind, [])
        where = f": {'; '.join(kept)}" if kept else ""
        return f"{n} {kind.one if n == 1 else kind.many}{where}{' …' if n > len(kept) > 0 else ''}"

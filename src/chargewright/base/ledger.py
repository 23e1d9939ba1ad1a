"""A ledger: every watt of one or of many solved points, by place and cause, and what is left unaccounted."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

Side = Literal["in", "out", "loss"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line: watts (float or array over conditions) that come in, go out usefully, or are lost."""

    where: str
    """Element of the path: "blocking pair"."""
    cause: str
    """What takes the watts: "conduction"; or "source", "load", "pack"."""
    side: Side
    watts: Any


@dataclass(slots=True)
class Ledger:
    """Lines in the order of the power flow. In: source, pack that discharges. Out: load, pack that charges."""

    entries: list[Entry] = field(default_factory=list)

    def add(self, where: str, cause: str, side: Side, watts: Any) -> None:
        """Append one line."""
        self.entries.append(Entry(where=where, cause=cause, side=side, watts=watts))

    def total(self, side: Side) -> Any:
        """Return the sum of one side in W, over conditions."""
        return sum((np.asarray(e.watts, dtype=float) for e in self.entries if e.side == side), np.float64(0.0))

    @property
    def unaccounted(self) -> Any:
        """Return what comes in less what goes out less what is lost, in W: zero to rounding."""
        return self.total("in") - self.total("out") - self.total("loss")

    @property
    def unaccounted_relative(self) -> Any:
        """Return `unaccounted` over what comes in [1]; zero where nothing flows."""
        total = np.maximum(self.total("in"), 1e-12)
        return np.abs(self.unaccounted) / total

    def losses(self) -> Iterator[Entry]:
        """Yield the loss lines."""
        return (e for e in self.entries if e.side == "loss")

    def by_place(self) -> dict[str, Any]:
        """Return the losses summed by element, in the order of the path."""
        places: dict[str, Any] = {}
        for entry in self.losses():
            places[entry.where] = places.get(entry.where, 0.0) + np.asarray(entry.watts, dtype=float)
        return places

"""Resampling of a load log while it is read: equal steps that keep the energy, whatever the spacing of the rows.

A row's power holds until the next row. Only the steps are kept, so that a log of any size takes bounded memory.
"""

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import LogError
from chargewright.base.units import show

Floats = npt.NDArray[np.float64]
STEPS_AT_MOST = 40_000_000
"""A year and a quarter of seconds: some 0.5 GB."""


class Bins:
    """Energy, greatest power and source of equal steps; rows come in pieces, in order of time."""

    def __init__(self, step: float, where: str) -> None:
        self.step, self.where = step, where
        self.energy: Floats = np.zeros(1024)
        self.peak: npt.NDArray[np.float32] = np.zeros(1024, dtype=np.float32)
        self.source: npt.NDArray[np.int8] = np.full(1024, -1, dtype=np.int8)
        self.count = 0
        self.total = 0.0

    def add(self, t: Floats, p: Floats, source: npt.NDArray[np.int8]) -> None:
        """Add stretches: `p` and `source` hold from each time to the next; one time more than powers."""
        if len(p) == 0:
            return
        low, high = int(t[0] / self.step), int(np.ceil(t[-1] / self.step - 1e-9))
        self._room(max(high, low + 1))
        e = p * np.diff(t)
        self.total += float(np.sum(e))
        edges = np.clip(np.arange(low, high + 1) * self.step, t[0], t[-1])
        running = np.concatenate([[0.0], np.cumsum(e)])
        self.energy[low:high] += np.diff(np.interp(edges, t, running))
        at = np.minimum((t[:-1] / self.step + 1e-9).astype(np.int64), high - 1)
        np.maximum.at(self.peak, at, p.astype(np.float32))
        # What holds in the middle of a step is its source, and its power where no row lies in it.
        middle = (np.arange(low, high) + 0.5) * self.step
        inside = (middle >= t[0]) & (middle < t[-1])
        holds = np.clip(np.searchsorted(t, middle[inside], side="right") - 1, 0, len(p) - 1)
        places = np.arange(low, high)[inside]
        self.source[places] = source[holds]
        self.peak[places] = np.maximum(self.peak[places], p[holds].astype(np.float32))
        self.count = max(self.count, high)

    def power(self) -> Floats:
        """Return the mean power of each step [W]."""
        return self.energy[: self.count] / self.step

    def _room(self, count: int) -> None:
        if count > STEPS_AT_MOST:
            raise LogError(
                f"{self.where}: the log lasts longer than {STEPS_AT_MOST} steps of {show(self.step, 's')}; take a "
                "longer step, or check the unit of the times"
            )
        if count <= len(self.energy):
            return
        more = min(max(count, 2 * len(self.energy)), STEPS_AT_MOST) - len(self.energy)
        self.energy = np.concatenate([self.energy, np.zeros(more)])
        self.peak = np.concatenate([self.peak, np.zeros(more, dtype=np.float32)])
        self.source = np.concatenate([self.source, np.full(more, -1, dtype=np.int8)])

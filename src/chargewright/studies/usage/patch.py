"""Filling the holes of tables where no steady state was found, so that values between good points stay good."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.parts.cell import Array

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """How the holes of tables are filled: every point is one good point plus a share of the way to another."""

    first: npt.NDArray[np.int64]
    second: npt.NDArray[np.int64]
    share: Array

    @classmethod
    def of(cls, fine: Bools, x: Array) -> "Patch":
        """Fill along the last axis `x` in straight lines, then from the nearest row of the other axes."""
        first = np.arange(fine.size).reshape(fine.shape)
        second, share = first.copy(), np.zeros(fine.shape)
        filled: Bools = np.asarray(fine.any(axis=-1))
        for k in zip(*np.nonzero(filled & ~fine.all(axis=-1)), strict=True):
            good = np.flatnonzero(fine[k])
            # In between the neighbours, beyond the ends the last two points.
            at = np.clip(np.searchsorted(good, np.arange(len(x)), side="right") - 1, 0, max(len(good) - 2, 0))
            low, high = good[at], good[np.minimum(at + 1, len(good) - 1)]
            gap = np.where(high > low, x[high] - x[low], 1.0)
            row = first[k].copy()
            first[k], second[k], share[k] = row[low], row[high], np.where(high > low, (x - x[low]) / gap, 0.0)
        for axis in range(fine.ndim - 2, -1, -1):
            near = _nearest(filled, axis)[..., None]
            first, second = np.take_along_axis(first, near, axis), np.take_along_axis(second, near, axis)
            share = np.take_along_axis(share, near, axis)
            filled = np.broadcast_to(filled.any(axis=axis, keepdims=True), filled.shape)
        return cls(first=first, second=second, share=share)

    def applied(self, table: Array) -> Array:
        """Return a table with its holes filled; zero where no point at all is good."""
        values = np.where(np.isfinite(table), table, 0.0).ravel()
        low = values[self.first]
        return np.asarray(low + self.share * (values[self.second] - low))


def _nearest(filled: Bools, axis: int) -> npt.NDArray[np.int64]:
    """Return, along an axis, the place of the nearest filled entry, the entry's own place where there is none."""
    n = filled.shape[axis]
    places = np.arange(n).reshape([-1 if k == axis else 1 for k in range(filled.ndim)]) + np.zeros(filled.shape, int)
    moved = np.moveaxis(filled, axis, -1)
    distance = np.abs(np.arange(n)[:, None] - np.arange(n)[None, :]) + np.where(moved[..., None, :], 0, 4 * n)
    found = np.moveaxis(np.argmin(distance, axis=-1), -1, axis)
    return np.asarray(np.where(filled.any(axis=axis, keepdims=True), found, places))

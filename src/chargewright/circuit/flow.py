"""The exact state at any instant of a run, for many instants at once: eigenvectors where they serve, else the ladder.

The ladder is the binary form of the time in steps of the mode's own tables, the rest a Taylor series.
"""

from dataclasses import dataclass

import numpy as np

from chargewright.circuit._assembly import Floats
from chargewright.circuit._tables import TERMS, Tables, ladder
from chargewright.circuit.elements import Quantity
from chargewright.circuit.run import Run

BLOCK = 4096
"""Rows worked on at once: they stay in the processor's cache."""


def flow(tables: Tables, mode: int, x: Floats, t: Floats) -> Floats:
    """Return the states (k, n) that a mode leads to from states (k, n) after times (k,) [s]."""
    columns = tables.modes[mode].a.T.copy()
    period, finest = tables.layout.circuit.period, int(tables.finest[mode])
    rungs = ladder(columns, period, finest)
    found = np.empty_like(x)
    for k in range(0, len(x), BLOCK):
        part = slice(k, k + BLOCK)
        found[part] = _flow(columns, rungs, period / 2.0**finest, x[part], t[part])
    return found


def _flow(columns: Floats, rungs: Floats, unit: float, x: Floats, t: Floats) -> Floats:
    finest = len(rungs) - 1
    whole = np.floor(t / unit * (1.0 + 1e-15)).astype(np.int64)
    rest = np.maximum(t - whole * unit, 0.0)
    found = x.copy()
    for level in range(finest, -1, -1):
        due = (whole >> (finest - level) & 1).astype(bool) if level else whole >= 2**finest
        if np.any(due):
            found[due] = found[due] @ rungs[level]
    term = found.copy()
    for k in range(1, TERMS + 1):
        term = (term @ columns) * (rest / k)[:, None]
        found += term
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Samples:
    """States at instants, with the mode each is in; `t` in s from the start of the circuit."""

    tables: Tables
    t: Floats
    mode: np.ndarray
    x: Floats

    def of(self, quantity: Quantity) -> Floats:
        """Return a quantity at every instant."""
        found = np.empty(len(self.t))
        for m in np.unique(self.mode):
            here = self.mode == m
            found[here] = self.x[here] @ self.tables.modes[int(m)].row(quantity)
        return found


def states_at(run: Run, segment: np.ndarray, after: Floats) -> Floats:
    """Return the states (k, n) at times after the beginning of segments."""
    found = np.empty((len(segment), run.x.shape[1]))
    modes = run.mode[segment]
    for m in np.unique(modes):
        here = modes == m
        found[here] = flow(run.tables, int(m), run.x[segment[here]], after[here])
    return found


def samples(run: Run, t: Floats) -> Samples:
    """Return the exact state at instants of the run [s], rising or not; instants outside it take its ends."""
    begins = run.t
    t = np.asarray(t, dtype=float)
    segment = np.clip(np.searchsorted(begins, t, side="right") - 1, 0, len(begins) - 1)
    after = np.clip(t - begins[segment], 0.0, run.length[segment])
    return Samples(tables=run.tables, t=t, mode=run.mode[segment], x=states_at(run, segment, after))


def evenly(run: Run, per_segment: int = 12, first: int = 0, last: int | None = None) -> Samples:
    """Return samples for a plot of periods first … last: each segment's ends and instants between."""
    inside = np.flatnonzero((run.cycle >= first) & (run.cycle < (run.cycle[-1] + 1 if last is None else last)))
    share = np.linspace(0.0, 1.0, per_segment)
    segment = np.repeat(inside, per_segment)
    after = run.length[segment] * np.tile(share, len(inside))
    return Samples(tables=run.tables, t=run.t[segment] + after, mode=run.mode[segment],
                   x=states_at(run, segment, after))  # fmt: skip

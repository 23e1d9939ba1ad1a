"""A charge as the story of its limits: what ruled the current from when to when."""

from dataclasses import dataclass

import numpy as np

from chargewright.sim._charge_audit import LIMITS, Trace

IN_WORDS = {
    "precharge": "precharge: a small current until the cells are above the threshold",
    "charge current": "the charge current rules",
    "charge voltage": "the charge voltage rules, the current tapers",
    "source": "the source is at its limit and leaves this much for the pack",
    "temperature": "the temperature of the cells allows only this much",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """A stretch of a charge under one limit."""

    limit: str
    """One of `LIMITS`."""
    t_start: float
    t_end: float
    i_start: float
    i_end: float
    soc_end: float

    @property
    def words(self) -> str:
        """What rules, in words."""
        return IN_WORDS[self.limit]


def phases(trace: Trace) -> tuple[Phase, ...]:
    """Return the phases of a charge in order; an instant without length is none."""
    edges = np.concatenate([[0], np.flatnonzero(np.diff(trace.limit)) + 1, [len(trace.t)]])
    found = []
    for a, b in zip(edges[:-1].tolist(), (edges[1:] - 1).tolist(), strict=True):
        if trace.t[b] > trace.t[a]:
            found.append(
                Phase(
                    limit=LIMITS[int(trace.limit[a])],
                    t_start=float(trace.t[a]),
                    t_end=float(trace.t[b]),
                    i_start=float(trace.i[a]),
                    i_end=float(trace.i[b]),
                    soc_end=float(trace.soc[b]),
                )
            )
    return tuple(found)

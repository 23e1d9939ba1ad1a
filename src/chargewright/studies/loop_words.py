"""Margins of loops in words, and which of them is the thinnest: for findings and for the report."""

from dataclasses import dataclass
from math import inf, isfinite, log, log10

import numpy as np

from chargewright.base.units import show
from chargewright.studies.stability import GAIN_MARGIN, PHASE_MARGIN, LoopReport, Stability


@dataclass(frozen=True, slots=True, kw_only=True)
class Thinnest:
    """The margin of a loop that is nearest to its rule, or furthest below it."""

    loop: LoopReport
    name: str
    value: float
    """In radians for a phase, a ratio for a gain [1]."""
    limit: float
    unit: str
    share: float
    """How much of the rule is kept [1]; 0 and less: unstable."""
    corner: int
    words: str
    """The margin with its unit."""

    @property
    def stable(self) -> bool:
        """Whether the loop is stable at that corner."""
        return bool(self.loop.margins.stable[self.corner])


def decibels(ratio: float) -> str:
    """Return a gain in decibels for people."""
    if not isfinite(ratio):
        return "unlimited"
    return f"{20.0 * log10(ratio):.1f} dB" if ratio > 0.0 else "none"


def thinnest_of(report: LoopReport) -> Thinnest:
    """Return the thinnest margin of one loop over the envelope; a corner that is not stable comes before all else."""
    m = report.margins
    if not np.all(m.stable):
        k = report.worst if not m.stable[report.worst] else int(np.argmin(m.stable))
        return Thinnest(
            loop=report, name="phase margin", value=0.0, limit=PHASE_MARGIN, unit="rad", share=0.0,
            corner=k, words="none",
        )  # fmt: skip
    at_phase, at_gain, at_down = int(np.argmin(m.phase)), int(np.argmin(m.gain)), int(np.argmax(m.gain_down))
    phase, gain, down = float(m.phase[at_phase]), float(m.gain[at_gain]), float(m.gain_down[at_down])
    fall = 1.0 / down if down > 0.0 else inf
    found = [
        Thinnest(
            loop=report, name="phase margin", value=phase, limit=PHASE_MARGIN, unit="rad", share=phase / PHASE_MARGIN,
            corner=at_phase, words=show(phase, "rad"),
        ),
        Thinnest(
            loop=report, name="gain margin", value=gain, limit=GAIN_MARGIN, unit="1", share=_share(gain),
            corner=at_gain, words=decibels(gain),
        ),
        Thinnest(
            loop=report, name="margin against falling gain", value=fall, limit=GAIN_MARGIN, unit="1",
            share=_share(fall), corner=at_down, words=decibels(fall),
        ),
    ]  # fmt: skip
    return min(found, key=lambda t: t.share)


def thinnest(stability: Stability) -> Thinnest:
    """Return the thinnest margin of all loops; one that a capacitor on the bus cures comes after all others."""
    plain = [r for r in stability.loops if r.stiffened is None]
    return min((thinnest_of(r) for r in plain or stability.loops), key=lambda t: t.share)


def _share(gain: float) -> float:
    return log(gain) / log(GAIN_MARGIN) if gain < inf else inf

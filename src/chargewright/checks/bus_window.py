"""The bus against what the rails and rules allow, at both ends."""

from collections.abc import Iterator
from dataclasses import replace

from chargewright.base.findings import Cure, Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review
from chargewright.studies.window import bus_window

THIN = 0.03
"""Distance to the allowed bus that is told [1] (common practice)."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield where the bus leaves its window or comes close to an end of it."""
    window = review.result.window
    if window is None:
        return
    top = max(window.source_max, window.pack_max)
    if top > window.allowed_max * (1.0 - THIN):
        over = top > window.allowed_max
        yield CHECK.finding(
            "serious" if over else "caution",
            review.at("highest bus"),
            f"The bus reaches {show(top, 'V')}; rails and rules allow {show(window.allowed_max, 'V')}.",
            value=top,
            limit=window.allowed_max,
            unit="V",
            cure=_without_pass_through(review) if review.plan.through else None,
        )
    # A narrow bus that follows a flat pack is held up by the flat-pack state, which has its own requirement.
    if not review.path.narrow and window.source_min < window.allowed_min * (1.0 + THIN):
        under = window.source_min < window.allowed_min
        yield CHECK.finding(
            "serious" if under else "caution",
            review.at("lowest bus on the source"),
            f"The bus falls to {show(window.source_min, 'V')} with the busiest load at the source's low edge; "
            f"the rails need {show(window.allowed_min, 'V')}.",
            value=window.source_min,
            limit=window.allowed_min,
            unit="V",
        )


def _without_pass_through(review: Review) -> Cure | None:
    tried = bus_window(review.case, replace(review.plan, through=frozenset()), review.hardware)
    top = max(tried.source_max, tried.pack_max)
    if top > tried.allowed_max * (1.0 - THIN):
        return None
    return Cure(change="leave pass-through out", value=top, clears=True)


CHECK = Check(
    key="bus-window",
    title="the bus keeps a distance from what the rails allow",
    why="Outside their window the rails brown out or are stressed.",
    source="bus limits of the design file; 3 % of distance is common practice",
    judge=judge,
)

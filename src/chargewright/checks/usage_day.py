"""The usage day: every load served, no source overloaded, and the pack as full at the end as at the start."""

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

from chargewright.base.findings import Cure, Finding
from chargewright.base.units import show
from chargewright.checks._trial import first_cure, trial
from chargewright.checks.review import Check, Review
from chargewright.spec.design import Design
from chargewright.studies.day import day


def judge(review: Review) -> Iterator[Finding]:
    """Yield what goes wrong in the day."""
    d = review.result.day
    if d is None:
        return
    where = review.at("usage day")
    if d.t_unserved > 0.0:
        yield CHECK.finding(
            "serious",
            where,
            f"For {show(d.t_unserved, 's')} of the day no load is served; the pack falls to {show(d.soc_low, '1', 3)}.",
            value=d.t_unserved,
            limit=0.0,
            unit="s",
            cure=_cure(review),
        )
    if d.t_overload > 0.0:
        yield CHECK.finding(
            "serious",
            where,
            f"For {show(d.t_overload, 's')} of the day a source or the pack is asked for more than it may give.",
            value=d.t_overload,
            limit=0.0,
            unit="s",
            why="The source trips, or the product has to throttle.",
        )
    if not d.closes:
        yield CHECK.finding(
            "caution",
            where,
            f"The day does not end as it began: the pack starts at {show(d.soc_start, '1', 3)} and ends at "
            f"{show(float(d.soc[-1]), '1', 3)} of charge.",
            value=float(d.soc[-1]),
            limit=d.soc_start,
            unit="1",
            why="Day after day the pack gets emptier, until the product does not last the day.",
        )


def _cure(review: Review) -> Cure | None:
    return first_cure((text, partial(_again, review, changed)) for text, changed in _changes(review.case.design))


def _again(review: Review, changed: Design) -> tuple[float, bool]:
    tried = trial(review, changed)
    found = day(tried.case, tried.plan, tried.hardware, changed.ambient.typical)
    return found.t_unserved, found.t_unserved == 0.0


def _changes(design: Design) -> Iterator[tuple[str, Design]]:
    for more in (1, 2):
        pack = replace(design.pack, parallel=design.pack.parallel + more)
        yield f"{more} more cell{'s' if more > 1 else ''} in parallel", replace(design, pack=pack)


CHECK = Check(
    key="usage-day",
    title="the product gets through its day",
    why="The product is off when it is needed.",
    source="usage day of the study",
    judge=judge,
)

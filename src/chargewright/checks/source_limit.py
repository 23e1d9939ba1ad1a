"""The coded source current limit, with all its errors, against what each source is rated for and where it trips."""

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import partial

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks._trial import Try, first_cure, trial
from chargewright.checks.review import Check, Review
from chargewright.studies.feasible import judge_one
from chargewright.studies.operate import source_limit
from chargewright.studies.settings import settings, source_limit_point


def judge(review: Review) -> Iterator[Finding]:
    """Yield the sources that the limit, at its high edge, lets pass their rating or their trip point."""
    for name, supply in review.plan.contracts.items():
        point = source_limit_point(review.settings, source_limit(review.case, supply))
        if point is None:
            return
        high = point.high
        trip, rated = supply.overload.i_trip.low, supply.i_rated
        if high <= rated * (1.0 + 1e-9):
            continue
        trips = high > trip
        limit = trip if trips else rated
        yield CHECK.finding(
            "serious" if trips else "caution",
            review.at(name),
            f"The source current limit may really be {show(high, 'A')}; '{supply.contract}' of {name} is rated "
            f"{show(rated, 'A')} and acts from {show(trip, 'A')} on ({supply.overload.kind}).",
            value=high,
            limit=limit,
            unit="A",
            cure=first_cure(_margins(review, name, high, rated)),
        )


def _margins(review: Review, name: str, high: float, rated: float) -> Iterator[Try]:
    """Yield margins that would hold the high edge inside the rating, in whole per cent."""
    needed = 1.0 - (1.0 - review.case.design.rules.source_margin) * rated / high
    for extra in (0.0, 0.01, 0.02):
        margin = math.ceil(100.0 * needed) / 100.0 + extra
        yield f"set the limit {margin:.0%} below the rated current", partial(_again, review, name, margin)


def _again(review: Review, name: str, margin: float) -> tuple[float, bool]:
    """Code the limit anew; it clears if the high edge is inside the rating and the source still carries the load."""
    design = review.case.design
    tried = trial(review, replace(design, rules=replace(design.rules, source_margin=margin)))
    coded = settings(tried.case, tried.plan, review.build)
    supply = tried.plan.contracts[name]
    point = source_limit_point(coded, source_limit(tried.case, supply))
    assert point is not None, "the same controller had the field before"
    runs = judge_one(tried.case, tried.plan, tried.hardware, "runs-on-source", name)
    return point.high, point.high <= supply.i_rated and runs.met


CHECK = Check(
    key="source-limit",
    title="the source current limit, errors included, stays inside what every source gives",
    why="A touchy source trips, and the product falls to its pack or off; the sturdy ones in the lab never show it.",
    source="low edge of the source's trip band against high edge of the coded limit; common practice",
    judge=judge,
)

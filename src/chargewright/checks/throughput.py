"""Cycles a day against the life of the cells."""

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from math import ceil, inf

from chargewright.base.findings import Cure, Finding
from chargewright.checks._trial import first_cure, trial
from chargewright.checks.review import Check, Review
from chargewright.spec.design import Design
from chargewright.studies.day import Day, day

CYCLES = 500.0
"""Equivalent full cycles after which an ordinary cell is taken for worn [1] (common practice; its sheet rules)."""
DAY = 86400.0
YEAR = 365.25 * DAY
LEAST = 2.0 * YEAR
"""Life below which it is told [s]."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield a day that wears the pack out within two years."""
    d = review.result.day
    if d is None or _life(d) >= LEAST:
        return
    yield CHECK.finding(
        "caution",
        review.at("usage day"),
        f"The day takes {d.throughput:.2f} full cycles from the pack: {CYCLES:.0f} cycles are gone after "
        f"{_life(d) / YEAR:.1f} years.",
        value=_life(d),
        limit=LEAST,
        unit="s",
        cure=_larger_pack(review, d),
    )


def _life(d: Day) -> float:
    return CYCLES / d.throughput * DAY if d.throughput > 0.0 else inf


def _larger_pack(review: Review, d: Day) -> Cure | None:
    design = review.case.design
    more = max(1, ceil(design.pack.parallel * (LEAST / _life(d) - 1.0)))
    if more > 4:
        return None
    changed = replace(design, pack=replace(design.pack, parallel=design.pack.parallel + more))
    change = f"{more} more cell{'s' if more > 1 else ''} in parallel"
    return first_cure([(change, partial(_again, review, changed))])


def _again(review: Review, changed: Design) -> tuple[float, bool]:
    tried = trial(review, changed)
    found = _life(day(tried.case, tried.plan, tried.hardware, changed.ambient.typical))
    return found, found >= LEAST


CHECK = Check(
    key="throughput",
    title="the pack lasts two years of such days",
    why="A worn pack is the commonest end of a portable product.",
    source="500 cycles to 80 % of the capacity: common practice; the cell's own sheet rules",
    judge=judge,
)

"""Unmet requirements of the path under review: a `must` stops it, a `should` costs the product something."""

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

from chargewright.base.findings import Cure, Finding, Severity
from chargewright.base.units import show
from chargewright.checks._trial import first_cure, shorter_cable, stronger, trial, with_source
from chargewright.checks.review import Check, Review
from chargewright.spec.design import Design
from chargewright.spec.fields import Rated
from chargewright.studies.feasible import Requirement, judge_one

_MILD = frozenset(("runs-without-pack", "bus-floor"))
"""What a product may live with once it is known."""
_WHY = {
    "finishes-charge": "The pack is never full.",
    "runs-on-source": "The product empties its pack although it is plugged in.",
    "survives-peak": "The source trips or the bus sags, and the product resets.",
    "runs-without-pack": "A product whose pack is missing or asleep looks dead.",
    "starts-flat": "A flat product that is plugged in does not start, or starts and falls over again and again.",
    "bus-ceiling": "Rails see more than they stand.",
    "bus-floor": "Charge that the product cannot use is weight and cost.",
    "ends-charge": "The charge never ends, the pack is held at its charge voltage and ages.",
}


def judge(review: Review) -> Iterator[Finding]:
    """Yield a finding for every requirement that the path does not meet."""
    for r in review.result.requirements:
        if r.met:
            continue
        yield CHECK.finding(
            _severity(r),
            review.at(r.source or r.title),
            f"{r.title[0].upper()}{r.title[1:]}: not met. {r.reason}",
            value=r.value,
            limit=r.limit,
            unit=r.unit,
            why=_WHY.get(r.key, ""),
            cure=_cure(review, r),
        )


def _severity(r: Requirement) -> Severity:
    if r.weight == "must":
        return "stop"
    return "caution" if r.key in _MILD else "serious"


def _cure(review: Review, r: Requirement) -> Cure | None:
    design = review.case.design

    def again(changed: Design) -> tuple[float, bool]:
        tried = trial(review, changed)
        found = judge_one(tried.case, tried.plan, tried.hardware, r.key, r.source)
        # Another limit may bind then, in another unit: the number would say nothing beside the finding's.
        return (found.value if found.unit == r.unit else float("nan")), found.met

    return first_cure(
        (text, partial(again, changed)) for text, changed in _changes(review, design, r) if changed != design
    )


def _changes(review: Review, design: Design, r: Requirement) -> Iterator[tuple[str, Design]]:
    """Yield the changes worth trying for a requirement, the least first."""
    rules, charge, pack = design.rules, design.charge, design.pack
    if r.key == "finishes-charge":
        yield f"halve the cable of {r.source}", with_source(design, r.source, shorter_cable(0.5))
        if rules.duty_max < 0.99:
            yield "let the duty of the stage go up to 99 %", replace(design, rules=replace(rules, duty_max=0.99))
    if r.key in ("runs-on-source", "survives-peak", "runs-without-pack", "starts-flat"):
        for factor in (1.25, 1.6, 2.0):
            text = f"replace {r.source} by a source of {factor:.0%} of its power"
            yield text, with_source(design, r.source, stronger(factor))
    if r.key == "bus-floor":
        yield "one more cell in parallel", replace(design, pack=replace(pack, parallel=pack.parallel + 1))
    if r.key == "ends-charge" and r.limit < r.value:
        ended = charge.termination.amps(review.case.pack.capacity) * 1.1 * r.value / r.limit
        yield (
            f"end the charge at {show(ended, 'A')}",
            replace(design, charge=replace(charge, termination=Rated(ended, False))),
        )


CHECK = Check(
    key="requirements",
    title="every requirement is met",
    why="What the design file asks for is not reached.",
    source="requirements of the design file, judged at their worst case",
    judge=judge,
)

"""Whether each charge that the product must expect comes to its end."""

from collections.abc import Iterator
from functools import partial

from chargewright.base.findings import Cure, Finding
from chargewright.base.units import show
from chargewright.checks._trial import charged_again, first_cure, stronger, trial, with_source
from chargewright.checks.review import Check, Review
from chargewright.spec.design import Design
from chargewright.studies.charge import ChargePlan

_OWN = frozenset(("termination", "timer", "cold", "hot"))
"""Endings that are none of this check: the good one, and those that have their own."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield the charges that stop short of full for want of current, or run past full."""
    for k, plan in enumerate(review.charges):
        run = plan.run
        if run.ended_by in _OWN:
            continue
        soc = float(run.trace.soc[-1])
        yield CHECK.finding(
            "serious" if k == 0 else "caution",
            review.at(plan.title),
            f"The charge {plan.title} does not end: it stops at {show(soc, '1')} of charge. {run.cause}",
            value=soc,
            limit=1.0,
            unit="1",
            cure=_cure(review, plan) if run.ended_by == "starved" else None,
        )


def _cure(review: Review, plan: ChargePlan) -> Cure | None:
    design = review.case.design
    changed = {f: with_source(design, plan.source, stronger(f)) for f in (1.5, 2.5)}
    return first_cure(
        (f"replace {plan.source} by a source of {f:.0%} of its power", partial(_again, review, plan, d))
        for f, d in changed.items()
        if d != design
    )


def _again(review: Review, plan: ChargePlan, changed: Design) -> tuple[float, bool]:
    run = charged_again(trial(review, changed), plan)
    return float(run.trace.soc[-1]), run.ended_by == "termination"


CHECK = Check(
    key="charge-ends",
    title="every charge ends at full",
    why="A pack that never gets full is a product that dies early in the day, and nobody sees why.",
    source="charge run of the study",
    judge=judge,
)

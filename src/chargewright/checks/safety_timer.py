"""The safety timer against the slowest charge that still ends."""

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import partial

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks._trial import charged_again, first_cure, trial
from chargewright.checks.review import Check, Review
from chargewright.spec.design import Design
from chargewright.studies.charge import ChargePlan

SPARE = 0.8
"""Share of the timer that the slowest charge may take [1] (common practice)."""
HOUR = 3600.0


def judge(review: Review) -> Iterator[Finding]:
    """Yield a timer that runs out before a charge ends, or nearly."""
    timer = review.case.design.charge.timer
    counted = [c for c in review.charges if c.run.ended_by in ("termination", "timer")]
    if not counted:
        return
    slowest = max(counted, key=lambda c: (c.run.ended_by == "timer", c.run.t_end))
    runs_out = slowest.run.ended_by == "timer"
    if not runs_out and slowest.run.t_end <= SPARE * timer:
        return
    says = (
        f"The charge {slowest.title} is broken off: {slowest.run.cause}"
        if runs_out
        else f"The charge {slowest.title} takes {show(slowest.run.t_end, 's')}; the safety timer is {show(timer, 's')}."
    )
    yield CHECK.finding(
        "serious" if runs_out else "caution",
        review.at(slowest.title),
        says,
        value=slowest.run.t_end,
        limit=SPARE * timer,
        unit="s",
        cure=first_cure(
            (
                f"set the timer to {show(longer, 's')} or hold it while the source rules",
                partial(_again, review, slowest, d),
            )
            for longer, d in _longer(review.case.design, slowest.run.t_end)
        ),
    )


def _longer(design: Design, t: float) -> Iterator[tuple[float, Design]]:
    for factor in (1.3, 2.0, 3.0):
        timer = HOUR * math.ceil(factor * t / HOUR)
        charge = replace(design.charge, timer=timer, precharge_timer=max(design.charge.precharge_timer, timer / 4.0))
        yield timer, replace(design, charge=charge)


def _again(review: Review, plan: ChargePlan, changed: Design) -> tuple[float, bool]:
    run = charged_again(trial(review, changed), plan)
    return run.t_end, run.ended_by == "termination" and run.t_end <= SPARE * changed.charge.timer


CHECK = Check(
    key="safety-timer",
    title="the safety timer leaves the slowest charge its time",
    why="A timer that runs out in a sound charge leaves the pack short of full, and may lock it off for good.",
    source="common practice",
    judge=judge,
)

"""How much of the usual charge the source rules, instead of the cells."""

from collections.abc import Iterator
from functools import partial

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks._trial import charged_again, first_cure, stronger, trial, with_source
from chargewright.checks.review import Check, Review
from chargewright.sim.charge import ChargeRun
from chargewright.spec.design import Design
from chargewright.studies.charge import ChargePlan

LONG = 0.5
"""Share of the charge ruled by the source above which it is told [1] (common practice)."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield the usual charge if the source rules most of it."""
    if not review.charges:
        return
    plan = review.charges[0]
    share = _share(plan.run)
    if plan.run.ended_by != "termination" or share <= LONG:
        return
    design = review.case.design
    yield CHECK.finding(
        "caution",
        review.at(plan.title),
        f"For {show(share, '1', 3)} of the charge {plan.title} the source rules the current; it takes "
        f"{show(plan.run.t_end, 's')}.",
        value=share,
        limit=LONG,
        unit="1",
        cure=first_cure(
            (f"replace {plan.source} by a source of {f:.0%} of its power", partial(_again, review, plan, d))
            for f in (1.5, 2.0)
            if (d := with_source(design, plan.source, stronger(f))) != design
        ),
    )


def _share(run: ChargeRun) -> float:
    return run.seconds["source"] / run.t_end if run.t_end > 0.0 else 0.0


def _again(review: Review, plan: ChargePlan, changed: Design) -> tuple[float, bool]:
    share = _share(charged_again(trial(review, changed), plan))
    return share, share <= LONG


CHECK = Check(
    key="charge-held-back",
    title="the cells, not the source, rule the usual charge",
    why="The charge current that was paid for in parts is never reached; a larger source or a smaller stage would do.",
    source="charge run of the study; half of the time is common practice",
    judge=judge,
)

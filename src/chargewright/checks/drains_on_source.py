"""A busiest lasting load that takes from the pack although the product is plugged in."""

from collections.abc import Iterator
from functools import partial

import numpy as np

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks._trial import first_cure, stronger, trial, with_source
from chargewright.checks.review import HOT_SOC, Check, Review
from chargewright.spec.design import Design
from chargewright.studies.operate import operate


def judge(review: Review) -> Iterator[Finding]:
    """Yield the sources on which the busiest load is served with the pack's help."""
    case = review.case
    for name, o in review.hot.items():
        helped = o.solved & (o.state == "supplement")
        if not helped.any():
            continue
        i = float(-np.min(np.where(helped, o.i_pack, np.inf)))
        hours = case.pack.charge_span / max(i, 1e-9)
        design = case.design
        yield CHECK.finding(
            "serious" if name in review.used else "caution",
            review.at(name),
            f"The busiest load of {show(case.p_busy, 'W')} on {name} takes {show(i, 'A')} out of the pack at the "
            f"source's low edge: a full pack lasts {show(hours, 's')}.",
            value=i,
            limit=0.0,
            unit="A",
            cure=first_cure(
                (f"replace {name} by a source of {factor:.0%} of its power", partial(_again, review, changed, name))
                for factor in (1.25, 1.6, 2.0)
                if (changed := with_source(design, name, stronger(factor))) != design
            ),
        )


def _again(review: Review, changed: Design, name: str) -> tuple[float, bool]:
    tried = trial(review, changed)
    o = operate(
        tried.case,
        review.path,
        tried.hardware,
        tried.plan.contracts[name],
        soc=HOT_SOC,
        p_load=tried.case.p_busy,
        temp=changed.ambient.hot,
        edge="low",
    )
    taken = float(np.max(np.where(o.solved, np.maximum(-o.i_pack, 0.0), 0.0)))
    return taken, bool(o.solved.all()) and not np.any(o.state == "supplement")


CHECK = Check(
    key="drains-on-source",
    title="a product that is plugged in does not empty its pack",
    why="It dies while it is plugged in, and cycles its pack all day.",
    source="common practice",
    judge=judge,
)

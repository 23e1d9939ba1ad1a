"""The voltage of a faulty source against the blocking pair that has to hold it off."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks._pair import better_pair
from chargewright.checks.review import Check, Review


def judge(review: Review) -> Iterator[Finding]:
    """Yield the source whose fault voltage the open pair does not hold, or only beyond its derating."""
    name, supply = max(review.plan.contracts.items(), key=lambda item: item[1].v_max_fault)
    v, rating = supply.v_max_fault, review.build.blocking.v_max
    derated = review.case.design.rules.v_derating * rating
    if v <= derated:
        return
    over = v > rating
    yield CHECK.finding(
        "stop" if over else "caution",
        review.at("blocking pair"),
        f"A faulty {name} may put out {show(v, 'V')}; the pair is rated {show(rating, 'V')}, of which "
        f"{show(derated, 'V')} may be used.",
        value=v,
        limit=rating if over else derated,
        unit="V",
        cure=better_pair(review, v / review.case.design.rules.v_derating, v),
    )


CHECK = Check(
    key="fault-voltage",
    title="the open blocking pair holds off a faulty source",
    why="When the pair breaks down, the fault is behind it, on parts that stand less.",
    source="fault voltage and derating of the design file",
    judge=judge,
)

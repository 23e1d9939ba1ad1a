"""A load that is seen as charge current and pushes the end of the charge away."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review

SHARE = 0.5
"""Load current over termination current above which it is told [1] (common practice)."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield a path that judges the end of the charge on the sum of pack and load, with a load that matters."""
    for r in review.result.requirements:
        if r.key != "ends-charge" or not r.met or r.value <= SHARE * r.limit:
            continue
        yield CHECK.finding(
            "caution",
            review.at("charge sense resistor"),
            f"The end of the charge is judged on pack and load together: {show(r.value, 'A')} of load leave "
            f"{show(r.limit - r.value, 'A')} of the {show(r.limit, 'A')} that are to end it.",
            value=r.value,
            limit=SHARE * r.limit,
            unit="A",
        )


CHECK = Check(
    key="hidden-termination",
    title="the end of the charge is judged on the pack alone",
    why="The taper has to fall lower than meant, and with a little more load the charge never ends.",
    source="common practice",
    judge=judge,
)

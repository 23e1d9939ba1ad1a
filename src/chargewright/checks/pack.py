"""The pack as described against its own cells."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.checks.review import Check, Review


def judge(review: Review) -> Iterator[Finding]:
    """Yield what building the pack has shown."""
    yield from review.case.pack.findings


CHECK = Check(
    key="pack",
    title="the pack asks nothing of its cells that they do not stand",
    why="A cell beyond its limits ages, and may burn.",
    source="limits of the cell model; the cell maker's sheet outranks it",
    judge=judge,
)

"""What was cut back or assumed on the way from a source to its contract."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.checks.review import Check, Review


def judge(review: Review) -> Iterator[Finding]:
    """Yield the notes of the contracts that the path asks for, and of each source's strongest one."""
    for name, supply in review.plan.contracts.items():
        for text in dict.fromkeys((*review.case.sources[name][0].notes, *supply.notes)):
            yield CHECK.finding(
                "note",
                review.at(name),
                f"{name}: {text}.",
                value=supply.i_rated,
                limit=review.case.sources[name][0].power_rated / supply.v_set.typ,
                unit="A",
            )


CHECK = Check(
    key="contract-notes",
    title="cable and source give all that the source is rated for",
    why="The source is stronger than what reaches the product.",
    source="USB Power Delivery and USB Type-C, cable ratings (status at `parts.usb_pd.limits`)",
    judge=judge,
)

"""Adjustable contracts that a source offers and the study leaves aside."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review


def judge(review: Review) -> Iterator[Finding]:
    """Yield the sources whose adjustable ranges would bring more power or a better voltage."""
    for name, offered in review.case.sources.items():
        ranges = [s for s in offered if s.adjustable is not None]
        if not ranges:
            continue
        best, chosen = max(ranges, key=lambda s: s.power), review.plan.contracts[name]
        yield CHECK.finding(
            "note",
            review.at(name),
            f"{name} also offers {best.contract} ({show(best.power, 'W')}), which the study does not use; it counts on "
            f"'{chosen.contract}' ({show(chosen.power, 'W')}).",
            value=best.power,
            limit=chosen.power,
            unit="W",
        )


CHECK = Check(
    key="adjustable-contracts",
    title="everything that the sources offer is in the study",
    why="A voltage that follows the pack can spare loss in the stage, for firmware that has to ask again and again.",
    source="USB Power Delivery, programmable and adjustable supplies",
    judge=judge,
)

"""What coding the set-points for the controller of the design has shown."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.checks.review import Check, Review
from chargewright.setpoints.quantities import QUANTITIES


def judge(review: Review) -> Iterator[Finding]:
    """Yield the findings of the set-point plan, and what the controller has no field for."""
    yield from review.settings.findings
    missing = review.settings.missing
    if missing:
        titles = ", ".join(QUANTITIES[want.quantity].title for want in missing)
        yield CHECK.finding(
            "note",
            f"{review.settings.controller.name}: fields",
            f"The controller has no field for: {titles}.",
            value=float(len(missing)),
            limit=0.0,
            unit="1",
            why="Something else has to set them: another part, a resistor on the board, or the host itself.",
        )


CHECK = Check(
    key="set-points",
    title="every set-point can be coded, is accurate enough and is safe after a reset",
    why="What firmware writes is what the cells get.",
    source="controller file",
    judge=judge,
)

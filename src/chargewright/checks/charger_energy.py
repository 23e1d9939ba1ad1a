"""The yearly energy of the product as a battery charger, as information."""

from collections.abc import Iterator

from chargewright.base.errors import NoSolution
from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review
from chargewright.parts.energy_rules import Comparison
from chargewright.studies.usage.charger_energy import charger_energy_after


def judge(review: Review) -> Iterator[Finding]:
    """Yield a yearly energy above the limit of its class."""
    row = comparison(review)
    if row is None or row.inside:
        return
    yield CHECK.finding(
        "note",
        review.at("wall energy"),
        f"As a battery charger the product takes {show(row.value, 'J')} a year from the wall by the rule's use; "
        f"{show(row.limit, 'J')} is the limit of {row.class_}; {row.remark}.",
        value=row.value,
        limit=row.limit,
        unit="J",
        source=f"{row.rule}; {row.status}",
    )


def comparison(review: Review) -> Comparison | None:
    """Return the product beside 10 CFR 430.32(z), switched off while it charges; None where that cannot be said."""
    switched_off = next((c for c in review.charges if c.p_load == review.case.design.system.standby), None)
    if switched_off is None:
        return None
    try:
        return charger_energy_after(review.case, review.plan, review.hardware, switched_off).comparison
    except NoSolution:
        return None


CHECK = Check(
    key="charger-energy",
    title="the product's yearly energy as a battery charger lies within the rule",
    why="In the United States a product with a battery counts as a battery charger.",
    source="10 CFR 430.32(z) and 430 subpart B appendix Y: as information, the primary text rules",
    judge=judge,
)

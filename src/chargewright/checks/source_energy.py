"""Efficiency and no-load power of each source beside the energy rules, as information."""

from collections.abc import Iterator

from chargewright.base.errors import OutOfRange
from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review
from chargewright.parts.energy_rules import Comparison, Edition, judge_external_supply, supply_class
from chargewright.parts.supply import Supply

EDITIONS: tuple[Edition, ...] = ("EU 2019/1782", "US 10 CFR 430.32(w)")
"""Rules that bind; the voluntary ones are left to the report."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield where a source's stated figures lie on the other side of a rule's limit."""
    for name, offered in review.case.sources.items():
        for row in comparisons(offered):
            if not row.inside:
                yield CHECK.finding(
                    "note",
                    name,
                    f"{name}: {row.quantity} {show(row.value, row.unit)}, against {show(row.limit, row.unit)} in "
                    f"{row.rule} ({row.class_}); {row.remark}.",
                    value=row.value,
                    limit=row.limit,
                    unit=row.unit,
                    source=f"{row.rule}; {row.status}",
                )


def comparisons(offered: tuple[Supply, ...]) -> tuple[Comparison, ...]:
    """Return the strongest contract of a source beside each rule that covers it."""
    top = offered[0]
    kind = supply_class(top.v_set.typ, top.i_rated)
    found: list[Comparison] = []
    for edition in EDITIONS:
        try:
            found += judge_external_supply(edition, kind, top.power_rated, top.efficiency, top.no_load)
        except OutOfRange:
            continue  # the edition does not cover this power
    return tuple(found)


CHECK = Check(
    key="source-energy",
    title="the sources' stated figures lie within the energy rules",
    why="A source that may not be sold cannot be in the box.",
    source="Reg. (EU) 2019/1782; 10 CFR 430.32(w): as information, the primary text rules",
    judge=judge,
)

"""The chosen parts against the rules that chose them."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review

THIN = 0.03
"""Margin over the limit below which it is told [1] (common practice)."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield the rules that a part of the build meets with next to nothing to spare, or breaks."""
    for m in review.sizing.margins:
        if m.margin >= THIN:
            continue
        broken = m.margin < 0.0
        left = "beyond the rule" if broken else f"{show(m.margin, '1', 2)} to spare"
        yield CHECK.finding(
            "serious" if broken else "note",
            review.at(m.where),
            f"{m.where[0].upper()}{m.where[1:]}, {m.rule}: {show(m.value, m.unit)} against "
            f"{show(m.limit, m.unit)}, {left}.",
            value=m.value,
            limit=m.limit,
            unit=m.unit,
        )


CHECK = Check(
    key="part-margins",
    title="every part has something to spare over the rules",
    why="The rules hold their own derating, so this is no fault; a change of part or load may break it.",
    source="rules of the design file",
    judge=judge,
)

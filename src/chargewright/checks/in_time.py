"""What is done to the product in time: plug, load, limits, start, each against the limits of cell, source and parts."""

from collections.abc import Iterator

from chargewright.base.findings import Finding, Severity
from chargewright.checks.review import Check, Review
from chargewright.studies.transients.judge import cause_of_one
from chargewright.studies.transients.record import Measure, TransientReport

_SEVERE: dict[str, Severity] = {
    "bus_high": "serious",
    "input_high": "serious",
    "pack_high": "serious",
    "coil_most": "serious",
    "bus_low": "serious",
}
"""Measures whose limit breaks a part or resets the product; passing another is a caution."""
_WHERE = {
    "bus_low": "bus", "bus_high": "bus", "input_high": "stage input", "pack_high": "pack", "charge_over": "pack",
    "discharge_over": "pack", "coil_most": "inductor", "source_over": "source", "changes": "loops",
}  # fmt: skip


def judge(review: Review) -> Iterator[Finding]:
    """Yield every limit that a transient passes."""
    if review.transients is None:
        return
    for report in review.transients.reports:
        for measure in report.measures:
            if not measure.passes:
                yield _finding(review, report, measure)


def _finding(review: Review, report: TransientReport, m: Measure) -> Finding:
    assert m.limit is not None
    return CHECK.finding(
        _SEVERE.get(m.key, "caution"),
        review.at(_WHERE.get(m.key, "bus")),
        f"{report.title}: {cause_of_one(report, m)}",
        value=m.value,
        limit=m.limit,
        unit=m.unit,
        why=f"{CHECK.why} What helps: {report.cure}.",
    )


CHECK = Check(
    key="in-time",
    title="bus, pack, coil and source keep their limits when plug, load and loops change",
    why="A limit that is passed for microseconds resets the product or breaks a part, and no steady state shows it.",
    source="the path's circuit in time with the loops' own amplifiers; the controller's delays are assumed",
    judge=judge,
)

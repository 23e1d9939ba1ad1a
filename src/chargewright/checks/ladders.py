"""Protection ladders: every rung has to end before the next begins."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.checks.review import Check, Review
from chargewright.studies.ladder import ladder_findings


def judge(review: Review) -> Iterator[Finding]:
    """Yield the overlaps of all ladders; the limit of the source current against its rating has its own check."""
    for ladder in review.ladders:
        for found in ladder_findings(ladder):
            if not (ladder.key == "source-current" and found.value == ladder.rungs[0].high):
                yield found


CHECK = Check(
    key="ladders",
    title="no protection acts in normal use, and each acts before something breaks",
    why="A protection that acts too early is a fault in the field, one that acts too late is none.",
    source="ladder of bands; tolerances from the design file, the parts and common practice",
    judge=judge,
)

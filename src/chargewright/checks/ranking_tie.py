"""A ranking that is too close to call."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.checks.review import Check, Review

CLOSE = 0.005


def judge(review: Review) -> Iterator[Finding]:
    """Yield a tie of the first two paths."""
    ranking = review.study.ranking
    if not ranking.tie:
        return
    first, second = ranking.order[:2]
    yield CHECK.finding(
        "note",
        "ranking",
        f"{first.key} and {second.key} score {first.total:.3f} and {second.total:.3f}: too close to call.",
        value=first.total - second.total,
        limit=CLOSE,
        unit="1",
    )


CHECK = Check(
    key="ranking-tie",
    title="one path is better than the next",
    why="The models are not good to half a percent; choose by what they leave out: experience, supply, risk.",
    source="common practice",
    judge=judge,
)

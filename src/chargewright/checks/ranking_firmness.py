"""A ranking that turns when a weight is changed a little."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review
from chargewright.studies.verdict import MEASURES

NEAR = 0.30
"""Change of one weight, over the weight, that should leave the winner in place [1] (common practice)."""
WINS = 0.60
"""Share of random weightings, each within a factor of three, that the winner should win [1] (common practice)."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield the nearest weight that turns the ranking, or else a winner of too few weightings."""
    ranking = review.study.ranking
    if len(ranking.order) < 2:
        return
    near = [t for t in ranking.tipping if t.now > 0.0 and abs(t.at - t.now) <= NEAR * t.now]
    if near:
        t = min(near, key=lambda t: abs(t.at - t.now) / t.now)
        yield CHECK.finding(
            "note",
            "ranking",
            f"With a weight of {t.at:.3g} instead of {t.now:.3g} for {MEASURES[t.weight][0]}, {t.then} wins.",
            value=abs(t.at - t.now) / t.now,
            limit=NEAR,
            unit="1",
        )
    elif ranking.order[0].wins < WINS:
        first = ranking.order[0]
        yield CHECK.finding(
            "note",
            "ranking",
            f"{first.key} wins {show(first.wins, '1', 2)} of all weightings within a factor of three of yours.",
            value=first.wins,
            limit=WINS,
            unit="1",
        )


CHECK = Check(
    key="ranking-firmness",
    title="the winner stays the winner when a weight changes a little",
    why="Then the choice rests on the weights, and those deserve a second look.",
    source="common practice",
    judge=judge,
)

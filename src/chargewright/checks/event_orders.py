"""Orders of events that end in a limit cycle, a reset, a latched source or a dead product."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.checks.review import Check, Review


def judge(review: Review) -> Iterator[Finding]:
    """Yield every bad outcome with the shortest order that leads there."""
    if review.orders is None:
        return
    for o in review.orders.outcomes:
        yield CHECK.finding(
            o.severity,
            review.at(o.source),
            f"{o.title[0].upper()}{o.title[1:]}, shortest after '{', '.join(o.script)}'. {o.cause}",
            value=float(o.ways),
            limit=0.0,
            unit="1",
            cure=o.cure,
        )


CHECK = Check(
    key="event-orders",
    title="no order of events ends in a cycle, a reset, a latched source or a dead product",
    why="It shows with some sources, some packs and some orders only: the value is how many of the transitions tried "
    "end so.",
    source="search through every order of events, each run in time; thresholds and delays that nothing states are "
    "common practice",
    judge=judge,
)

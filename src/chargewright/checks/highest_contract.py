"""The highest voltage that a source can be talked into, against what stands behind the inlet."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks._pair import better_pair
from chargewright.checks.review import Check, Review


def judge(review: Review) -> Iterator[Finding]:
    """Yield the sources that offer more than the path asks for, and more than its parts stand."""
    for name, offered in review.case.sources.items():
        top = max(offered, key=lambda s: s.v_max_normal)
        if top.v_max_normal <= review.plan.contracts[name].v_max_normal:
            continue
        v, pair = top.v_max_normal, review.build.blocking.v_max
        behind = _behind(review)
        weakest = min(behind, key=lambda k: behind[k])
        if v > pair:
            yield CHECK.finding(
                "serious",
                review.at("blocking pair"),
                f"{name} also offers '{top.contract}', {show(v, 'V')} at most; the pair is rated {show(pair, 'V')}.",
                value=v,
                limit=pair,
                unit="V",
                cure=better_pair(review, v / review.case.design.rules.v_derating, v),
            )
        elif v > behind[weakest]:
            yield CHECK.finding(
                "caution",
                review.at(weakest),
                f"{name} also offers '{top.contract}', {show(v, 'V')} at most; {weakest}: rated "
                f"{show(behind[weakest], 'V')}. Then only the over-voltage threshold protects.",
                value=v,
                limit=behind[weakest],
                unit="V",
            )


def _behind(review: Review) -> dict[str, float]:
    build = review.build
    found = {
        "source-side capacitors": build.bank_a.part.v_max,
        "source-side high switch": build.a_high.v_max,
        "source-side low switch": build.a_low.v_max,
    }
    if not review.path.narrow:
        found |= {f"rail '{r.name}'": r.v_rating for r in review.plan.rails}
    return found


CHECK = Check(
    key="highest-contract",
    title="the product stands the highest voltage that its sources can be talked into",
    why="One wrong request, by a firmware fault or a source that misreads it, and the parts see it.",
    source="objects that the source offers, top of their band with its excursion; common practice",
    judge=judge,
)

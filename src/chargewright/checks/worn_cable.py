"""How much worse the cable may get before something fails."""

from collections.abc import Iterator
from dataclasses import replace
from math import isfinite

from chargewright.base.findings import Cure, Finding
from chargewright.base.units import Toleranced, show
from chargewright.checks.review import Check, Review
from chargewright.parts.supply import Supply, input_voltage
from chargewright.studies.needs import least_input
from chargewright.studies.operate import operate

LEAST = 0.30
"""Share by which the loop resistance should be able to rise [1] (common practice)."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield a cable whose resistance may hardly rise."""
    reach = review.study.reach
    edge = next((e for e in reach.edges if e.key == "cable"), None) if reach is not None else None
    if reach is None or edge is None or not isfinite(edge.edge) or edge.margin >= LEAST:
        return
    yield CHECK.finding(
        "caution",
        review.at(f"cable of {reach.source}"),
        f"Cable and contacts have {show(edge.now, 'ohm')}; from {show(edge.edge, 'ohm')} on {edge.what_fails}.",
        value=edge.now,
        limit=edge.edge,
        unit="ohm",
        cure=_better_cable(review, review.plan.contracts[reach.source]),
    )


def _better_cable(review: Review, supply: Supply) -> Cure | None:
    """Try less resistance, grown again by what a cable should be able to."""
    for share in (0.75, 0.5, 0.3):
        r = share * supply.r_cable.typ
        worn = _with_loop(supply, r * (1.0 + LEAST))
        case = review.case
        o = operate(
            case,
            review.path,
            review.hardware,
            worn,
            soc=0.5,
            p_load=case.p_busy,
            temp=case.design.ambient.hot,
            edge="low",
        )
        fine = bool(o.solved[0]) and not bool(o.overloaded[0])
        if fine and float(input_voltage(worn, float(o.i_source[0]), "low")) > least_input(case, review.path):
            return Cure(
                change=f"take a cable whose loop, contacts included, has {show(r, 'ohm')}", value=r, clears=True
            )
    return None


def _with_loop(supply: Supply, r: float) -> Supply:
    old = supply.r_cable
    return replace(supply, r_cable=Toleranced(r, r * old.low / old.typ, r * old.high / old.typ))


CHECK = Check(
    key="worn-cable",
    title="the cable may get a third worse",
    why="Cables wear, and users own others: the same product works on one and not on the next.",
    source="asking backwards, at the source's low edge; 30 % to spare is common practice",
    judge=judge,
)

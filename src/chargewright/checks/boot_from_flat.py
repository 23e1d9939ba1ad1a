"""What a product with a flat pack may draw before the pack can help: the boot loop."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from chargewright.base.findings import Cure, Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review
from chargewright.network.solve import solve
from chargewright.parts.supply import Supply
from chargewright.studies.operate import conditions, source_limit

_TRIED = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class _Carried:
    """Loads with a flat pack and which of them the source carries."""

    loads: np.ndarray
    fine: np.ndarray

    @property
    def largest(self) -> float:
        """Largest load [W] up to which all are carried; 0 if none is."""
        first = len(self.fine) if self.fine.all() else int(np.argmin(self.fine))
        return float(self.loads[first - 1]) if first else 0.0


def judge(review: Review) -> Iterator[Finding]:
    """Yield the sources on which the busiest load, with the pack still flat, is more than the source gives."""
    case = review.case
    if review.path.state("flat-pack") is None:
        return
    for name, supply in review.plan.contracts.items():
        largest = _carried(review, supply, case.i_precharge).largest
        if largest < case.p_boot or largest >= case.p_busy:
            continue  # that it does not even start is a requirement
        yield CHECK.finding(
            "caution",
            review.at(name),
            f"With a flat pack {name} carries the start ({show(case.p_boot, 'W')}) but no more than "
            f"{show(largest, 'W')}; the busiest load is {show(case.p_busy, 'W')}.",
            value=largest,
            limit=case.p_busy,
            unit="W",
            cure=_without_precharge(review, supply),
        )


def _carried(review: Review, supply: Supply, i_precharge: float) -> _Carried:
    case = review.case
    loads = np.unique(np.append(np.linspace(0.0, case.p_busy, _TRIED), case.p_boot))
    state = review.path.state("flat-pack")
    assert state is not None, "asked only for paths that have the state"
    c = conditions(
        case,
        review.path,
        "flat-pack",
        supply,
        soc=0.0,
        p_load=loads,
        temp=case.design.ambient.hot,
        edge="low",
        i_pack=i_precharge,
    )
    s = solve(review.path, state, review.hardware, c)
    fine = s.ok & (s.i["source"] <= source_limit(case, supply)) & (s.v[review.path.load_at] >= case.bus_min)
    return _Carried(loads=loads, fine=fine)


def _without_precharge(review: Review, supply: Supply) -> Cure | None:
    tried = _carried(review, supply, 1e-6).largest
    if tried < review.case.p_busy:
        return None
    return Cure(change="stop the precharge while the load is above what both may take", value=tried, clears=True)


CHECK = Check(
    key="boot-from-flat",
    title="a flat product that is plugged in does everything it does later",
    why="It boots, draws more than the source gives, browns out and boots again; hold the load back.",
    source="common practice",
    judge=judge,
)

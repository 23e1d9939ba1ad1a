"""Peaks with no pack fitted, or one that is asleep: nothing fills in above the contract."""

from collections.abc import Iterator

import numpy as np

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review
from chargewright.network.solve import solve
from chargewright.parts.supply import Supply
from chargewright.studies.operate import conditions, for_peaks, source_limit

_TRIED = 40


def judge(review: Review) -> Iterator[Finding]:
    """Yield the sources that carry the busiest load without a pack, but not the peak."""
    case, peak = review.case, review.case.design.system.peak
    if peak is None or case.p_peak <= case.p_busy:
        return
    for name, supply in review.plan.contracts.items():
        allowed = source_limit(case, supply)
        if peak.duration <= supply.overload.time:
            allowed = supply.overload.i_trip.low
        largest = _largest(review, supply, allowed)
        if largest >= case.p_peak:
            continue
        yield CHECK.finding(
            "caution",
            review.at(name),
            f"With no pack a peak of {show(case.p_peak, 'W')} is more than {name} gives: {show(largest, 'W')} at its "
            f"{show(allowed, 'A')}.",
            value=case.p_peak,
            limit=largest,
            unit="W",
        )


def _largest(review: Review, supply: Supply, allowed: float) -> float:
    """Return the largest load [W] that the source carries alone, by a sweep up to the peak; 0 if none."""
    case, state = review.case, review.path.state("no-pack")
    assert state is not None, "every path has the state"
    loads = np.linspace(0.0, case.p_peak, _TRIED + 1)[1:]
    c = conditions(
        case, review.path, "no-pack", supply, soc=0.5, p_load=loads, temp=case.design.ambient.typical, edge="low"
    )
    s = solve(review.path, state, for_peaks(case, review.hardware), c)
    fine = s.ok & (s.i["source"] <= allowed) & (s.v[review.path.load_at] >= case.bus_min)
    if fine.all():
        return case.p_peak
    return float(loads[int(np.argmin(fine)) - 1]) if fine[0] else 0.0


CHECK = Check(
    key="no-pack-peak",
    title="the source alone carries the peak",
    why="Without a pack, or with one that is asleep or locked off, the first peak trips the source and the product "
    "restarts without end: hold the load back, or refuse to start.",
    source="common practice",
    judge=judge,
)

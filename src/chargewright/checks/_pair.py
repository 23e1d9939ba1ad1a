"""Another blocking pair from the catalogue, tried in the path."""

from dataclasses import replace

import numpy as np

from chargewright.base.findings import Cure
from chargewright.checks.review import Review
from chargewright.parts.catalogue import load_parts
from chargewright.parts.switch import Switch
from chargewright.sizing.build import hardware_of
from chargewright.studies.feasible import judge_one


def better_pair(review: Review, v_rating: float, value: float) -> Cure | None:
    """Return the cheapest pair of at least `v_rating` [V] with which every source still carries the busiest load.

    value : what the finding compares with the rating [V]
    """
    case = review.case
    switches = load_parts(case.design.parts, case.folder).switches
    rows = [switches.record(k) for k in range(len(switches))]
    wide = [s for s in rows if s.v_max >= v_rating and s.i_max >= review.build.blocking.i_max]
    best = min(wide, key=lambda s: s.cost, default=None)
    if best is None or not _runs_with(review, best):
        return None
    return Cure(change=f"take '{best.name}' for the blocking pair", value=value, clears=bool(np.isfinite(value)))


def _runs_with(review: Review, pair: Switch) -> bool:
    design = review.case.design
    build = replace(review.build, blocking=pair)
    hardware = hardware_of(build, review.plan.rails, design.rules, design.ambient.board)
    return all(
        judge_one(review.case, review.plan, hardware, "runs-on-source", name).met for name in review.plan.contracts
    )

"""Whether losses and temperatures close at the hottest ambient, or climb without end."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from chargewright.base.findings import Cure, Finding
from chargewright.base.units import show
from chargewright.checks.review import HOT_SOC, Check, Review
from chargewright.network.hardware import Hardware
from chargewright.network.solve import RUNAWAY, TEMP_RUNAWAY, Solution, solve
from chargewright.studies.operate import conditions


def judge(review: Review) -> Iterator[Finding]:
    """Yield the sources on which charge and busiest load lead to no steady temperature."""
    for name in review.plan.contracts:
        s = _charging(review, name, review.hardware)
        # Where the source is at its limit first, the charge is cut back before the temperatures run away.
        if np.any((s.status == RUNAWAY) & (review.hot[name].state != "shared")):
            yield CHECK.finding(
                "stop",
                review.at(name),
                f"At {show(review.case.design.ambient.hot, 'K')} charge and {show(review.case.p_busy, 'W')} from "
                f"{name} drive losses and temperatures past {show(TEMP_RUNAWAY, 'K')}: no steady state exists.",
                value=TEMP_RUNAWAY,
                limit=review.case.design.rules.temp_j_max,
                unit="K",
                cure=_cooler(review, name),
            )


def _charging(review: Review, name: str, hardware: Hardware) -> Solution:
    case, state = review.case, review.path.state("charging")
    assert state is not None, "every path charges"
    c = conditions(
        case,
        review.path,
        "charging",
        review.plan.contracts[name],
        soc=HOT_SOC,
        p_load=case.p_busy,
        temp=case.design.ambient.hot,
        edge="low",
    )
    return solve(review.path, state, hardware, c)


def _cooler(review: Review, name: str) -> Cure | None:
    for factor in (0.7, 0.5, 0.35, 0.2):
        cooled = replace(review.hardware, r_board=factor * review.hardware.r_board)
        s = _charging(review, name, cooled)
        if s.ok.all():
            board = show(cooled.r_board, "K/W")
            hottest = max(float(t.max()) for part, t in s.temp.items() if part not in ("source", "cable", "pack"))
            return Cure(change=f"lead the board's heat away with {board} instead", value=hottest, clears=True)
    return None


CHECK = Check(
    key="thermal-runaway",
    title="losses and temperatures settle at the hottest ambient",
    why="Resistance rises with temperature and loss with resistance; past a point neither stops.",
    source="common practice; no solder or silicon survives 250 °C",
    judge=judge,
)

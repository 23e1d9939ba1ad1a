"""Whether losses and temperatures close at the hottest ambient, or climb without end."""

from collections.abc import Iterator
from dataclasses import replace

from chargewright.base.findings import Cure, Finding
from chargewright.base.units import show
from chargewright.checks.review import HOT_SOC, Check, Review
from chargewright.network.hardware import Hardware
from chargewright.network.solve import TEMP_RUNAWAY
from chargewright.studies.operate import Operation, operate


def judge(review: Review) -> Iterator[Finding]:
    """Yield the sources on which the busiest load leads to no steady temperature."""
    for name, operation in review.hot.items():
        if operation.runaway.any():
            yield CHECK.finding(
                "stop",
                review.at(name),
                f"At {show(review.case.design.ambient.hot, 'K')} and {show(review.case.p_busy, 'W')} of load from "
                f"{name} losses and temperatures climb past {show(TEMP_RUNAWAY, 'K')}: no steady state exists.",
                value=TEMP_RUNAWAY,
                limit=review.case.design.rules.temp_j_max,
                unit="K",
                cure=_cooler(review, name),
            )


def _cooler(review: Review, name: str) -> Cure | None:
    for factor in (0.7, 0.5, 0.35):
        cooled = replace(review.hardware, r_board=factor * review.hardware.r_board)
        tried = _operated(review, name, cooled)
        if tried.solved.all() and not tried.runaway.any():
            board = show(cooled.r_board, "K/W")
            change = f"lead the board's heat away with {board} instead"
            return Cure(change=change, value=float(tried.hottest.max()), clears=True)
    return None


def _operated(review: Review, name: str, hardware: Hardware) -> Operation:
    case = review.case
    return operate(
        case,
        review.path,
        hardware,
        review.plan.contracts[name],
        soc=HOT_SOC,
        p_load=case.p_busy,
        temp=case.design.ambient.hot,
        edge="low",
    )


CHECK = Check(
    key="thermal-runaway",
    title="losses and temperatures settle at the hottest ambient",
    why="Resistance rises with temperature and loss with resistance; past a point neither stops.",
    source="common practice; no solder or silicon survives 250 °C",
    judge=judge,
)

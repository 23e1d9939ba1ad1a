"""The chosen sense resistors at the small currents: precharge and termination."""

from collections.abc import Iterator

from chargewright.base.findings import Cure, Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review
from chargewright.sizing.records import SenseTrade

LIMIT = 0.20
"""Error of a small current from which it is told [1] (common practice)."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield the set-points at which tolerance and offset of a chosen resistor are worth more than a fifth."""
    for trade in review.sizing.sense:
        if not trade.chosen:
            continue
        for error in trade.errors:
            if error.worst > LIMIT:
                yield CHECK.finding(
                    "caution",
                    review.at(f"{trade.role} sense resistor"),
                    f"At {error.at} ({show(error.current, 'A')}) '{trade.name}' is wrong by up to "
                    f"{show(error.worst, '1', 3)}: {show(error.offset, '1', 3)} of it is the amplifier's offset.",
                    value=error.worst,
                    limit=LIMIT,
                    unit="1",
                    cure=_other(review, trade, error.at),
                )


def _other(review: Review, chosen: SenseTrade, at: str) -> Cure | None:
    """Return the least lossy resistor of the same place that is accurate enough and keeps its rating."""
    able = [t for t in review.sizing.sense if t.role == chosen.role and t.fits and t.error(at) <= LIMIT]
    best = min(able, key=lambda t: t.p_loss, default=None)
    if best is None:
        return None
    change = f"take '{best.name}' instead, for {show(best.p_loss - chosen.p_loss, 'W', 3)} more of loss"
    return Cure(change=change, value=best.error(at), clears=True)


CHECK = Check(
    key="sense-accuracy",
    title="precharge and termination are sensed within a fifth",
    why="Offset is the same at every current: a flat cell is stressed, or the taper ends too early or never.",
    source="amplifier offset over sense voltage; 20 % is common practice",
    judge=judge,
)

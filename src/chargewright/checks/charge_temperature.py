"""What cold and heat do to the charge."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review

SLOW = 1.5
"""Charge time over the usual one above which a temperature zone is told [1] (common practice)."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield the ambients at which the pack is not charged, pauses, or takes much longer."""
    limits = review.case.pack.cell.limits
    usual = review.charges[0].run.t_end if review.charges else 0.0
    for plan in review.charges:
        run = plan.run
        cold = plan.temp_ambient < 0.5 * (limits.temp_charge_low + limits.temp_charge_high)
        limit = limits.temp_charge_low if cold else limits.temp_charge_high
        where, ambient = review.at(plan.title), show(plan.temp_ambient, "K", 3)
        if run.ended_by in ("cold", "hot"):
            band = f"{show(limits.temp_charge_low, 'K', 3)} to {show(limits.temp_charge_high, 'K', 3)}"
            inside = limits.temp_charge_low <= plan.temp_ambient <= limits.temp_charge_high
            yield CHECK.finding(
                "caution",
                where,
                f"At an ambient of {ambient} the pack is not charged: "
                + (
                    f"its cells leave the {band} that they allow."
                    if inside
                    else f"the cells allow it from {band}, and would not get there."
                ),
                value=plan.temp_ambient,
                limit=limit,
                unit="K",
                why="That is as it must be; the product has to say so, and must not let anybody get around it.",
            )
        elif run.pauses or (run.seconds["temperature"] > 0.0 and run.t_end > SLOW * usual):
            yield CHECK.finding(
                "caution",
                where,
                f"At an ambient of {ambient} the temperature holds the charge back for "
                f"{show(run.seconds['temperature'], 's')} and stops it {run.pauses} times; it takes "
                f"{show(run.t_end, 's')} instead of {show(usual, 's')}.",
                value=run.t_end,
                limit=SLOW * usual,
                unit="s",
            )


CHECK = Check(
    key="charge-temperature",
    title="the pack is charged over the whole range of ambients",
    why="Users in the cold or in the sun see a charge that stops and starts, or takes all day.",
    source="temperature zones of the cell model; JEITA guideline of 2007 on safe use of lithium cells (from memory)",
    judge=judge,
)

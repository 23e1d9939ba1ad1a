"""The capacitance that a contract step or the closing pair has to charge, against what the source stands."""

from collections.abc import Iterator
from dataclasses import dataclass

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review
from chargewright.parts.rail_inputs import rail_inputs
from chargewright.parts.supply import Supply
from chargewright.parts.usb_pd.limits import SAFE_5_VOLTS, SLEW_MAX
from chargewright.physics.transient import inrush_current
from chargewright.sizing.build import Bank, bank_capacitance


@dataclass(frozen=True, slots=True, kw_only=True)
class Inrush:
    """What a step of one contract charges."""

    c: float
    """Behind the blocking pair, at the bias where the step begins [F]."""
    i: float
    """At the fastest slew the source may make [A]."""


def inrush_of(bank: Bank, supply: Supply, c_rails: float) -> Inrush:
    """Return capacitance and current of the step from 5 V to a contract (or to a source without contracts).

    A ceramic has most of its capacitance at the low end of the step, so that is where it is counted. `c_rails` is what
    the rails add behind the pair [F]: nothing is known of their bias, so their upper tolerance has to do.
    """
    v_start = min(SAFE_5_VOLTS.typ, supply.v_set.typ)
    c = float(bank_capacitance(bank, v_start, 1.0)) + c_rails
    return Inrush(c=c, i=float(inrush_current(c, min(supply.slew, SLEW_MAX))))


def judge(review: Review) -> Iterator[Finding]:
    """Yield the contracts whose capacitance rule, or whose current, the capacitors behind the pair break."""
    # Behind a stage the rails are charged through it, and its soft start decides how fast.
    rails = 0.0 if review.path.narrow else rail_inputs(review.plan.rails).c_high
    counted = f", {show(rails, 'F')} of them at the inputs of the rails" if rails > 0.0 else ""
    for name, supply in review.plan.contracts.items():
        step, allowed = inrush_of(review.build.bank_a, supply, rails), supply.bulk_capacitance_max
        where = review.at(name)
        if allowed is not None and step.c > allowed:
            yield CHECK.finding(
                "serious",
                where,
                f"{show(step.c, 'F')} stand behind the blocking pair at 5 V of bias{counted}; "
                f"{show(allowed, 'F')} may be switched on to '{supply.contract}' at once.",
                value=step.c,
                limit=allowed,
                unit="F",
            )
        elif allowed is not None and step.i > supply.i_rated:
            yield CHECK.finding(
                "caution",
                where,
                f"At the fastest slew allowed, {show(SLEW_MAX, 'V/s')}, the capacitors behind the pair take "
                f"{show(step.i, 'A')}; '{supply.contract}' gives {show(supply.i_rated, 'A')}.",
                value=step.i,
                limit=supply.i_rated,
                unit="A",
            )


CHECK = Check(
    key="inrush",
    title="a contract step charges no more capacitance than the source stands",
    why="The source trips while it changes its voltage, with some cables and sources only.",
    source="USB Power Delivery, bulk capacitance of a sink and slew of a source (status at `parts.usb_pd.limits`)",
    judge=judge,
)

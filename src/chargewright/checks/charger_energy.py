"""The yearly energy of the product as a battery charger, as information."""

from collections.abc import Iterator

from chargewright.base.errors import OutOfRange
from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review
from chargewright.parts.charger_rules import charger_class, charger_yearly_energy, judge_battery_charger
from chargewright.parts.energy_rules import Comparison
from chargewright.parts.pack import pack_ocv
from chargewright.parts.supply import wall_power
from chargewright.studies.operate import operate

_DAY = 86400.0


def judge(review: Review) -> Iterator[Finding]:
    """Yield a yearly energy above the limit of its class."""
    row = comparison(review)
    if row is None or row.inside:
        return
    yield CHECK.finding(
        "note",
        review.at("wall energy"),
        f"As a battery charger the product takes {show(row.value, 'J')} a year from the wall by the rule's use; "
        f"{show(row.limit, 'J')} is the limit of {row.class_}; {row.remark}.",
        value=row.value,
        limit=row.limit,
        unit="J",
        source=f"{row.rule}; {row.status}",
    )


def comparison(review: Review) -> Comparison | None:
    """Return the product beside 10 CFR 430.32(z), switched off while it charges; None where that cannot be said.

    The 24 hours of the test are one charge and, for the rest, a full pack on the source. Without a pack and switched
    off the source stands at no load.
    """
    case = review.case
    switched_off = next((c for c in review.charges if c.p_load == case.design.system.standby), None)
    if switched_off is None or switched_off.run.ended_by != "termination" or switched_off.run.t_end > _DAY:
        return None
    supply = review.plan.contracts[switched_off.source]
    pack = case.pack
    v = float(pack_ocv(pack, 0.5, 298.15))
    e_batt = v * pack.capacity
    full = operate(
        case, review.path, review.hardware, supply, soc=1.0, p_load=case.design.system.standby, may_charge=False
    )
    if not full.solved[0]:
        return None
    p_full = float(wall_power(supply, full.p_source[0]))
    try:
        yearly = charger_yearly_energy(
            charger_class(e_batt, v),
            e_24=switched_off.e_wall + p_full * (_DAY - switched_off.run.t_end),
            e_batt=e_batt,
            p_maintenance=p_full,
            p_standby=supply.no_load,
            p_off=supply.no_load,
            t_charge_test=_DAY,
        )
    except OutOfRange:
        return None
    return judge_battery_charger(e_batt, v, yearly)


CHECK = Check(
    key="charger-energy",
    title="the product's yearly energy as a battery charger lies within the rule",
    why="In the United States a product with a battery counts as a battery charger.",
    source="10 CFR 430.32(z) and 430 subpart B appendix Y: as information, the primary text rules",
    judge=judge,
)

"""The bus in the first moment after the source is pulled: what the body diode of the battery switch holds."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review
from chargewright.parts.pack import pack_ocv, pack_resistance
from chargewright.parts.rail_inputs import rail_inputs
from chargewright.physics.transient import hold_up_time
from chargewright.sizing.build import bank_capacitance

SOC = 0.15
"""State of charge of a pack that is taken for nearly empty [1]."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield a bus that falls too low through the body diode, with the time until it is there."""
    case, wire = review.case, review.path.wire("battery-switch")
    resting = review.path.state("charging" if not review.path.narrow else "source-only")
    if wire is None or resting is None or wire.key not in resting.open or review.build.battery is None:
        return
    soc = 1.0 if review.path.narrow else SOC
    temp = case.design.ambient.cold
    e, r = float(pack_ocv(case.pack, soc, temp)), float(pack_resistance(case.pack, soc, temp, False))
    v_closed = e - r * case.p_busy / e
    v_bus = v_closed - review.build.battery.v_f
    if v_bus >= case.bus_min or v_closed < case.bus_min:
        return  # a pack that is too low with the switch on is a matter of the bus floor
    t = _time(review, case.bus_min)
    yield CHECK.finding(
        "caution",
        review.at("battery switch"),
        f"When the source is pulled, the body diode of the battery switch lets the bus fall to {show(v_bus, 'V')}; the "
        f"rails need {show(case.bus_min, 'V')}, so the switch has to be on within {show(t, 's', 2)}.",
        value=v_bus,
        limit=case.bus_min,
        unit="V",
    )


def _time(review: Review, v_end: float) -> float:
    """Return how long the capacitors on the bus, those of stage and rails, hold the busiest load [s]."""
    bank = review.build.bank_b if review.path.narrow else review.build.bank_a
    v_start = review.case.v_full if review.path.narrow else review.plan.v_bus_source_min
    c = float(bank_capacitance(bank, v_start)) + rail_inputs(review.plan.rails).c
    return float(hold_up_time(c, v_start, v_end, review.case.p_busy))


CHECK = Check(
    key="unplug",
    title="the bus stands the moment in which the source is pulled",
    why="The product resets when its plug is pulled under load.",
    source="body diode, pack resistance and stored energy; rest voltage of a nearly empty, cold pack",
    judge=judge,
)

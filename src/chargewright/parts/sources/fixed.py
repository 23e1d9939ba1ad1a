"""A fixed adapter: one voltage, one rated current."""

import math

from chargewright.base.units import Toleranced, show
from chargewright.parts.sources._kind import SourceKind, cable_loop
from chargewright.parts.supply import OverloadBehaviour, Supply
from chargewright.spec.source import FixedSourceSpec


def supplies(spec: FixedSourceSpec) -> tuple[Supply, ...]:
    """Return the one contract of a fixed adapter.

    The stated band is that of the no-load voltage, so the droop comes on top of it. No standard promises a slew rate or
    limits the capacitance: plugging in is a step.
    """
    return (
        Supply(
            name=spec.name,
            contract=f"{show(spec.voltage.typ, 'V')} {show(spec.current, 'A')}",
            v_set=spec.voltage,
            i_rated=spec.current,
            r_droop=spec.droop,
            band_holds_under_load=False,
            r_cable=cable_loop(spec.cable),
            l_cable=spec.cable.inductance,
            v_max_normal=spec.voltage.high,
            v_max_fault=max(spec.voltage.typ * spec.over_voltage, spec.voltage.high),
            overload=OverloadBehaviour(
                kind=spec.overload, i_trip=spec.overload_limit.scaled(spec.current), time=spec.overload_time
            ),
            efficiency=spec.efficiency,
            no_load=spec.no_load,
            power_rated=spec.voltage.typ * spec.current,
            slew=math.inf,
            bulk_capacitance_max=None,
        ),
    )


SOURCE = SourceKind(
    title="Fixed adapter",
    source="common practice; the figures are those of the adapter's label and data sheet",
    example=FixedSourceSpec(name="wall adapter", voltage=Toleranced(20.0, 19.0, 21.0), current=3.25),
    supplies=supplies,
)

"""A Type-C port without Power Delivery: 5 V and the current that its pull-up advertises."""

import math

from chargewright.base.units import Toleranced, show
from chargewright.parts.sources._kind import SourceKind, cable_loop
from chargewright.parts.supply import OverloadBehaviour, Supply
from chargewright.parts.usb_pd.limits import BULK_CAPACITANCE_MAX_AT_ATTACH, SAFE_5_VOLTS
from chargewright.parts.usb_pd.type_c import advertisement
from chargewright.spec.source import TypeCSourceSpec

# USB Type-C demands an overload protection and leaves its point open: assumed, common practice.
_DROOP = 0.02
_TRIP = Toleranced(1.3, 1.0, 1.6)
_TRIP_TIME = 1e-3
_OVER_VOLTAGE = 1.2


def supplies(spec: TypeCSourceSpec) -> tuple[Supply, ...]:
    """Return the one offer of a Type-C port."""
    entry = advertisement(spec.advertisement)
    notes = [
        f"overload behaviour and fault voltage are assumed (common practice): "
        f"hiccup at {show(_TRIP.low, '1')} to {show(_TRIP.high, '1')} of the advertised current, "
        f"{show(SAFE_5_VOLTS.typ * _OVER_VOLTAGE, 'V')} with a fault"
    ]
    if spec.advertisement == "default":
        notes.append("default current is taken as that of USB 2.0, 500 mA once configured; a USB 3.2 port gives 900 mA")
    return (
        Supply(
            name=spec.name,
            contract=f"{show(SAFE_5_VOLTS.typ, 'V')} {show(entry.i, 'A')}",
            v_set=SAFE_5_VOLTS,
            i_rated=entry.i,
            r_droop=_DROOP,
            band_holds_under_load=True,
            r_cable=cable_loop(spec.cable),
            l_cable=spec.cable.inductance,
            v_max_normal=SAFE_5_VOLTS.high,
            v_max_fault=SAFE_5_VOLTS.typ * _OVER_VOLTAGE,
            overload=OverloadBehaviour(kind="hiccup", i_trip=_TRIP.scaled(entry.i), time=_TRIP_TIME),
            efficiency=spec.efficiency,
            no_load=spec.no_load,
            power_rated=SAFE_5_VOLTS.typ * entry.i,
            slew=math.inf,
            bulk_capacitance_max=BULK_CAPACITANCE_MAX_AT_ATTACH,
            notes=tuple(notes),
        ),
    )


SOURCE = SourceKind(
    title="Type-C port without Power Delivery",
    source="USB Type-C Cable and Connector Specification (IEC 62680-1-3)",
    example=TypeCSourceSpec(name="laptop port", advertisement="3 A"),
    supplies=supplies,
)

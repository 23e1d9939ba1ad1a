"""A source that speaks USB Power Delivery: every contract it can end up in, and the request that leads there."""

import math
from dataclasses import replace

from chargewright.base.errors import OutOfRange, PartsError
from chargewright.base.units import Toleranced, show
from chargewright.parts.sources._kind import SourceKind, cable_loop
from chargewright.parts.supply import Adjustable, OverloadBehaviour, Supply, current_at, range_text
from chargewright.parts.usb_pd.limits import (
    BULK_CAPACITANCE_MAX,
    BULK_CAPACITANCE_MAX_AT_ATTACH,
    EXCURSION_WHILE_MOVING,
    SAFE_5_VOLTS,
    SLEW_MAX,
    cable_resistance_max,
    contract_band,
    current_limit_band,
)
from chargewright.parts.usb_pd.object_text import object_text
from chargewright.parts.usb_pd.objects import AdjustableObject, EprAvsObject, FixedObject, PpsObject, SprAvsObject
from chargewright.parts.usb_pd.offers import Offer, is_extended, offers
from chargewright.parts.usb_pd.power_rule import I_MARKED, I_UNMARKED, SPR_POSITIONS
from chargewright.parts.usb_pd.requests import AvsRequest, FixedRequest, PpsRequest, Request
from chargewright.parts.usb_pd.type_c import advertisement
from chargewright.spec.source import UsbPdSourceSpec


def supplies(spec: UsbPdSourceSpec) -> tuple[Supply, ...]:
    """Return every contract that the cable lets through, and 5 V without one, highest power first.

    An adjustable range stands at its highest voltage until it is set with `at_voltage`. An adjustable object up to
    100 W gives two supplies, since its current changes at 15 V. Raises PartsError for objects that cannot be used.
    """
    i_cable = _cable_current(spec.cable_rating)
    found, left_out = [_without_contract(spec, i_cable)], []
    for offer in offers(spec):
        if is_extended(offer.source_object) and i_cable < I_MARKED:
            text = object_text(offer.source_object)
            left_out.append(f"{text} is out of reach: it needs a cable marked for 5 A and 50 V")
        else:
            found += _contracts(offer, spec, i_cable)
    found.sort(key=_rank)
    notes = (*found[0].notes, *left_out, *_cable_notes(spec, i_cable))
    return (replace(found[0], notes=notes), *found[1:])


def _rank(supply: Supply) -> tuple[float, bool, bool, float]:
    """Sort by falling power, then fixed contracts, then ranges, then what comes without a contract."""
    return -round(supply.power, 6), supply.position is None, supply.adjustable is not None, supply.v_set.typ


def request_for(supply: Supply, i: float, *, mismatch: bool = False) -> Request:
    """Return the request that leads to a contract, with the current `i` [A] rounded up to the next step.

    supply   : from `supplies`; an adjustable one as `at_voltage` gives it
    mismatch : tells the source that the product could use more than it offers
    Raises PartsError for 5 V without a contract, OutOfRange for more current than the contract gives.
    """
    if supply.position is None:
        raise PartsError(f"{supply.name!r}: {supply.contract!r} is no USB PD contract, so there is nothing to request")
    if not 0.0 <= i <= supply.i_rated + 1e-9:
        raise OutOfRange(f"{supply.name!r}: {supply.contract!r} gives up to {show(supply.i_rated, 'A')}, not {i:g} A")
    epr = supply.position > SPR_POSITIONS
    if supply.adjustable is None:
        amps = _next_step(i, 100)
        return FixedRequest(position=supply.position, i_operating=amps, i_max=amps, mismatch=mismatch, epr=epr)
    request = PpsRequest if supply.adjustable.current_limited else AvsRequest
    return request(position=supply.position, v=supply.v_set.typ, i=_next_step(i, 20), mismatch=mismatch, epr=epr)


def _next_step(i: float, per_amp: int) -> float:
    return math.ceil(i * per_amp - 1e-6) / per_amp


def _cable_current(rating: float) -> float:
    """Return what a cable of this rating may carry: cables are rated 3 A, or marked for 5 A, with nothing between."""
    return I_MARKED if rating >= I_MARKED else min(rating, I_UNMARKED)


def _cable_notes(spec: UsbPdSourceSpec, i_cable: float) -> list[str]:
    notes = []
    if i_cable < spec.cable_rating:
        notes.append(f"a cable rated {show(spec.cable_rating, 'A')} counts as unmarked: {show(i_cable, 'A')}")
    loop, allowed = spec.cable.resistance + spec.cable.connectors, cable_resistance_max(i_cable)
    if loop > allowed * (1.0 + 1e-9):
        notes.append(
            f"the cable's {show(loop, 'ohm')} drop more than USB Type-C allows at {show(i_cable, 'A')}, "
            f"which is met with {show(allowed, 'ohm')}"
        )
    return notes


def _loop(spec: UsbPdSourceSpec, i_cable: float) -> Toleranced:
    """Return the loop resistance; hot and worn it stays within what the standard allows, if it does so at 25 °C."""
    loop, allowed = cable_loop(spec.cable), cable_resistance_max(i_cable)
    return replace(loop, high=max(loop.typ, min(loop.high, allowed)))


def _contracts(offer: Offer, spec: UsbPdSourceSpec, i_cable: float) -> list[Supply]:
    if isinstance(offer.source_object, FixedObject):
        v, i_offered = offer.source_object.v, offer.source_object.i
        return [_contract(offer, spec, i_cable, v=v, i=min(i_offered, i_cable), i_offered=i_offered)]
    found = []
    for offered in _ranges(offer.source_object, spec.power):
        reached = replace(offered, i_max=min(offered.i_max, i_cable))
        v, i = reached.v_max, float(current_at(reached, reached.v_max))
        found.append(_contract(offer, spec, i_cable, v=v, i=i, i_offered=offered.i_max, adjustable=reached))
    return found


def _ranges(source_object: AdjustableObject, power: float) -> tuple[Adjustable, ...]:
    """Return each range of an adjustable object, without regard to the cable."""
    match source_object:
        case PpsObject(v_min=v_min, v_max=v_max, i=i, power_limited=limited):
            limit = power if limited else math.inf
            return (_range(v_min, v_max, v_step=0.02, i_max=i, power_max=limit, current_limited=True),)
        case EprAvsObject(v_min=v_min, v_max=v_max, power=limit):
            return (_range(v_min, v_max, v_step=0.1, i_max=I_MARKED, power_max=limit),)
        case SprAvsObject(i_to_15_volts=i_low, i_to_20_volts=i_high):
            low = _range(9.0, 15.0, v_step=0.1, i_max=i_low)
            return (low, _range(15.0, 20.0, v_step=0.1, i_max=i_high)) if i_high > 0.0 else (low,)


def _range(
    v_min: float,
    v_max: float,
    *,
    v_step: float,
    i_max: float,
    power_max: float = math.inf,
    current_limited: bool = False,
) -> Adjustable:
    return Adjustable(
        v_min=v_min,
        v_max=v_max,
        v_step=v_step,
        i_step=0.05,
        i_max=i_max,
        power_max=power_max,
        current_limited=current_limited,
    )


def _contract(
    offer: Offer,
    spec: UsbPdSourceSpec,
    i_cable: float,
    *,
    v: float,
    i: float,
    i_offered: float,
    adjustable: Adjustable | None = None,
) -> Supply:
    band = contract_band(v)
    v_max_normal = band.high + EXCURSION_WHILE_MOVING
    text = f"{show(v, 'V')} {show(i, 'A')}"
    if adjustable is not None:
        watts = isinstance(offer.source_object, EprAvsObject)
        text = f"{range_text(adjustable)} {show(adjustable.power_max, 'W') if watts else show(i, 'A')}"
    trip = OverloadBehaviour(kind=spec.overload, i_trip=spec.overload_limit.scaled(i), time=spec.overload_time)
    if adjustable is not None and adjustable.current_limited:
        trip = OverloadBehaviour(kind="constant-current", i_trip=current_limit_band(i), time=math.inf)
    return replace(
        _without_contract(spec, i_cable),
        contract=text,
        v_set=band,
        i_rated=i,
        v_max_normal=v_max_normal,
        v_max_fault=max(v * spec.over_voltage, v_max_normal),
        overload=trip,
        slew=SLEW_MAX,
        bulk_capacitance_max=BULK_CAPACITANCE_MAX,
        adjustable=adjustable,
        position=offer.position,
        notes=(f"the cable leaves {show(i_cable, 'A')} of {show(i_offered, 'A')}",) if i_cable < i_offered else (),
    )


def _without_contract(spec: UsbPdSourceSpec, i_cable: float) -> Supply:
    """Return the 5 V that the source gives before, or without, a contract: what its pull-up advertises."""
    i = min(advertisement("3 A").i, i_cable)
    return Supply(
        name=spec.name,
        contract=f"{show(SAFE_5_VOLTS.typ, 'V')} {show(i, 'A')} without contract",
        v_set=SAFE_5_VOLTS,
        i_rated=i,
        r_droop=spec.droop,
        band_holds_under_load=True,
        r_cable=_loop(spec, i_cable),
        l_cable=spec.cable.inductance,
        v_max_normal=SAFE_5_VOLTS.high,
        v_max_fault=max(SAFE_5_VOLTS.typ * spec.over_voltage, SAFE_5_VOLTS.high),
        overload=OverloadBehaviour(kind=spec.overload, i_trip=spec.overload_limit.scaled(i), time=spec.overload_time),
        efficiency=spec.efficiency,
        no_load=spec.no_load,
        power_rated=spec.power,
        slew=math.inf,
        bulk_capacitance_max=BULK_CAPACITANCE_MAX_AT_ATTACH,
    )


SOURCE = SourceKind(
    title="USB Power Delivery source",
    source="USB Power Delivery Specification R3.2 (IEC 62680-1-2), USB Type-C Specification (IEC 62680-1-3)",
    example=UsbPdSourceSpec(name="USB-C charger", power=65.0, programmable=True),
    supplies=supplies,
)

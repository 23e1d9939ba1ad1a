"""What one source of the design file offers: its objects in the order and at the places of the standard."""

from dataclasses import dataclass, replace

from chargewright.base.errors import PartsError
from chargewright.base.units import show
from chargewright.parts.usb_pd.object_text import object_text, read_object
from chargewright.parts.usb_pd.objects import EprAvsObject, FixedObject, PpsObject, SourceObject
from chargewright.parts.usb_pd.power_rule import SPR_POSITIONS, SPR_VOLTS, objects_by_power
from chargewright.spec.source import UsbPdSourceSpec

_ROUNDED_UP = 1.01
"""By how much an object may exceed the rated power before it contradicts it: labels are rounded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """One object with its place in the source's list: 1 to 7 in the standard range, from 8 in the extended one."""

    position: int
    source_object: SourceObject


def offers(spec: UsbPdSourceSpec) -> tuple[Offer, ...]:
    """Return the source's list of objects: those of the design file, or those of the power rule.

    The object for 5 V, which every source has to offer first, is added where the design file leaves it out.
    Raises PartsError that names the object which cannot be read, or which a source of this power cannot offer.
    """
    if spec.objects:
        objects = [_of_this_source(text, spec) for text in spec.objects]
        if not any(isinstance(entry, FixedObject) and entry.v == SPR_VOLTS[0] for entry in objects):
            objects.append(objects_by_power(spec.power)[0])
    else:
        objects = list(objects_by_power(spec.power, programmable=spec.programmable))
    standard = sorted((entry for entry in objects if not is_extended(entry)), key=_place)
    extended = sorted((entry for entry in objects if is_extended(entry)), key=_place)
    if len(standard) > SPR_POSITIONS:
        raise PartsError(
            f"{spec.name!r} offers {len(standard)} objects up to 20 V, that for 5 V included; "
            f"USB PD has room for {SPR_POSITIONS}"
        )
    placed = [*enumerate(standard, start=1), *enumerate(extended, start=SPR_POSITIONS + 1)]
    return tuple(Offer(position=position, source_object=entry) for position, entry in placed)


def is_extended(source_object: SourceObject) -> bool:
    """Return whether an object belongs to the extended power range."""
    if isinstance(source_object, FixedObject):
        return source_object.v > SPR_VOLTS[-1]
    return isinstance(source_object, EprAvsObject)


def _place(source_object: SourceObject) -> tuple[bool, float]:
    """Sort fixed objects by rising voltage, then the ranges as they were given."""
    return (False, source_object.v) if isinstance(source_object, FixedObject) else (True, 0.0)


def _of_this_source(text: str, spec: UsbPdSourceSpec) -> SourceObject:
    try:
        found = read_object(text)
    except PartsError as error:
        raise PartsError(f"{spec.name!r}: {error}") from error
    match found:
        case PpsObject() if found.v_max * found.i > spec.power * _ROUNDED_UP:
            return replace(found, power_limited=True)
        case FixedObject():
            power = found.v * found.i
        case EprAvsObject():
            power = found.power
        case _:
            return found
    if power > spec.power * _ROUNDED_UP:
        raise PartsError(
            f"{spec.name!r}: object {object_text(found)!r} promises {show(power, 'W')}, "
            f"but the source is rated {show(spec.power, 'W')}; correct one of the two"
        )
    return found

"""Source objects as people write them: "9 V 3 A", "3.3 V to 21 V 3 A"."""

import re

from chargewright.base.errors import OutOfRange, PartsError, QuantityError
from chargewright.base.units import parse, show
from chargewright.parts.usb_pd.objects import (
    EprAvsObject,
    FixedObject,
    PpsObject,
    SourceObject,
    SprAvsObject,
    encode_source_object,
)
from chargewright.parts.usb_pd.power_rule import AVS_VOLTS_MIN, EPR_VOLTS, I_MARKED, SPR_POWER_MAX, SPR_VOLTS

OBJECT_FORMS = (
    '"9 V 3 A" (fixed), "3.3 V to 21 V 3 A" (PPS), "9 V to 20 V 3 A / 2.25 A" (AVS: up to 15 V / above), '
    '"15 V to 28 V 140 W" (EPR AVS)'
)
"""How an object is written in the design file."""

_Q = r"[-+.\deE]+\s*[A-Za-zµμΩ]+"
_OBJECT = re.compile(rf"\s*({_Q})(?:\s+to\s+({_Q}))?\s+({_Q})(?:\s*/\s*({_Q}))?\s*")
_SPR_AVS_VOLTS = (9.0, 15.0, 20.0)
_PPS_VOLTS = (3.0, 21.0)
_EPR_POWER_MAX = 240.0


def read_object(text: str) -> SourceObject:
    """Return the object that `text` describes.

    Raises PartsError, naming the text, if it cannot be read or if USB PD has no such object.
    """
    match = _OBJECT.fullmatch(text) if len(text) <= 80 else None
    if match is None:
        raise PartsError(f"object {text[:80]!r} cannot be read; write {OBJECT_FORMS}")
    low, high, amount, second = match.groups()
    try:
        found = _object(low, high, amount, second)
        encode_source_object(found)
    except (QuantityError, OutOfRange) as error:
        raise PartsError(f"object {text!r}: {error}; write {OBJECT_FORMS}") from error
    return found


def _object(low: str, high: str | None, amount: str, second: str | None) -> SourceObject:
    v = parse(low, "V")
    if high is None:
        if second is not None:
            raise QuantityError("a second current without a range", "one voltage and one current")
        return _fixed(v, parse(amount, "A"))
    v_max = parse(high, "V")
    if second is not None:
        return _spr_avs(v, v_max, parse(amount, "A"), parse(second, "A"))
    if amount.rstrip().endswith("W"):
        return _epr_avs(v, v_max, parse(amount, "W"))
    return _pps(v, v_max, parse(amount, "A"))


def _fixed(v: float, i: float) -> FixedObject:
    if not SPR_VOLTS[0] <= v <= SPR_VOLTS[-1] and v not in EPR_VOLTS:
        raise OutOfRange(
            f"USB PD has fixed objects from 5 V to 20 V, and at 28 V, 36 V and 48 V, not at {show(v, 'V')}"
        )
    _require_current(i)
    return FixedObject(v=v, i=i)


def _pps(v_min: float, v_max: float, i: float) -> PpsObject:
    if not _PPS_VOLTS[0] <= v_min < v_max <= _PPS_VOLTS[1]:
        raise OutOfRange(
            f"a programmable range goes from 3.3 V or 5 V up to at most 21 V, "
            f"not from {show(v_min, 'V')} to {show(v_max, 'V')}"
        )
    _require_current(i)
    return PpsObject(v_min=v_min, v_max=v_max, i=i)


def _spr_avs(v_min: float, v_max: float, i_low: float, i_high: float) -> SprAvsObject:
    start, change, end = _SPR_AVS_VOLTS
    if v_min != start or v_max != (end if i_high > 0.0 else change):
        raise OutOfRange("an adjustable range up to 100 W is '9 V to 20 V ... / ...', or '9 V to 15 V ... / 0 A'")
    _require_current(i_low)
    if i_high > 0.0:
        _require_current(i_high)
    return SprAvsObject(i_to_15_volts=i_low, i_to_20_volts=i_high)


def _epr_avs(v_min: float, v_max: float, power: float) -> EprAvsObject:
    if v_min != AVS_VOLTS_MIN or v_max not in EPR_VOLTS:
        raise OutOfRange("an adjustable range above 100 W goes from 15 V to 28 V, 36 V or 48 V")
    if not SPR_POWER_MAX < power <= _EPR_POWER_MAX:
        raise OutOfRange(
            f"an adjustable range with a power has more than 100 W and at most 240 W, not {show(power, 'W')}"
        )
    return EprAvsObject(v_min=v_min, v_max=v_max, power=power)


def _require_current(i: float) -> None:
    if not 0.0 < i <= I_MARKED:
        raise OutOfRange(f"USB PD carries up to 5 A, not {show(i, 'A')}")


def object_text(source_object: SourceObject) -> str:
    """Return an object as `read_object` reads it."""
    match source_object:
        case FixedObject():
            return f"{show(source_object.v, 'V')} {show(source_object.i, 'A')}"
        case PpsObject():
            return _range(source_object.v_min, source_object.v_max, show(source_object.i, "A"))
        case EprAvsObject():
            return _range(source_object.v_min, source_object.v_max, show(source_object.power, "W"))
        case SprAvsObject():
            low, high = source_object.i_to_15_volts, source_object.i_to_20_volts
            return _range(9.0, 20.0 if high > 0.0 else 15.0, f"{show(low, 'A')} / {show(high, 'A')}")


def _range(v_min: float, v_max: float, amount: str) -> str:
    return f"{show(v_min, 'V')} to {show(v_max, 'V')} {amount}"

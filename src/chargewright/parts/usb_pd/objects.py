"""Source objects: what a USB Power Delivery source offers, as records and as 32-bit words.

Bit layouts: USB Power Delivery Specification R3.2, 6.4.1 (IEC 62680-1-2), read in two independent open sources that
agree. Volt, ampere and watt inside; a value that is not on a field's grid is refused, never rounded.
"""

from dataclasses import dataclass

from chargewright.base.errors import OutOfRange, PartsError
from chargewright.parts.usb_pd._bits import flags, require_word, steps, take

PEAKS = (1.0, 1.10, 1.25, 1.50)
"""Current over the rated one that is stood for 10 ms at half duty, by the two-bit peak code (PD R3.2 table 6.10)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedObject:
    """One voltage and the greatest current at it; the flags belong to the first object of a source, at 5 V."""

    v: float
    i: float
    peak: float = 1.0
    dual_role: bool = False
    suspend: bool = False
    unconstrained: bool = False
    communications: bool = False
    dual_data: bool = False
    unchunked: bool = False
    epr_capable: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PpsObject:
    """A programmable range: the sink chooses voltage and current limit."""

    v_min: float
    v_max: float
    i: float
    power_limited: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class EprAvsObject:
    """An adjustable range above 100 W: the sink chooses the voltage, power is limited."""

    v_min: float
    v_max: float
    power: float
    peak: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SprAvsObject:
    """An adjustable range up to 100 W: 9 V to 15 V at one current, 15 V to 20 V at another (0: not offered)."""

    i_to_15_volts: float
    i_to_20_volts: float
    peak: float = 1.0


AdjustableObject = PpsObject | EprAvsObject | SprAvsObject
SourceObject = FixedObject | AdjustableObject

_FLAG_BITS = (
    ("dual_role", 29),
    ("suspend", 28),
    ("unconstrained", 27),
    ("communications", 26),
    ("dual_data", 25),
    ("unchunked", 24),
    ("epr_capable", 23),
)


def encode_source_object(source_object: SourceObject) -> int:
    """Return the 32-bit word; raises OutOfRange for a value off the grid or too large for its field."""
    match source_object:
        case FixedObject():
            return encode_fixed(source_object)
        case PpsObject():
            return encode_pps(source_object)
        case EprAvsObject():
            return encode_epr_avs(source_object)
        case SprAvsObject():
            return encode_spr_avs(source_object)


def encode_fixed(fixed: FixedObject) -> int:
    """Return the word of a fixed object: 19..10 in 50 mV, 9..0 in 10 mA, 21..20 peak, flags from bit 23 up."""
    return (
        flags(*((bool(getattr(fixed, name)), bit) for name, bit in _FLAG_BITS))
        | _peak_code(fixed.peak) << 20
        | steps("the voltage", fixed.v, 0.05, 10, "V") << 10
        | steps("the current", fixed.i, 0.01, 10, "A")
    )


def encode_pps(pps: PpsObject) -> int:
    """Return the word of a programmable range: 24..17 and 15..8 in 100 mV, 6..0 in 50 mA, bit 27 power limited."""
    _require_upwards(pps.v_min, pps.v_max)
    return (
        3 << 30
        | flags((pps.power_limited, 27))
        | steps("the highest voltage", pps.v_max, 0.1, 8, "V") << 17
        | steps("the lowest voltage", pps.v_min, 0.1, 8, "V") << 8
        | steps("the current", pps.i, 0.05, 7, "A")
    )


def encode_epr_avs(avs: EprAvsObject) -> int:
    """Return the word of an EPR adjustable range: 25..17 and 15..8 in 100 mV, 7..0 in 1 W, 27..26 peak."""
    _require_upwards(avs.v_min, avs.v_max)
    return (
        3 << 30
        | 1 << 28
        | _peak_code(avs.peak) << 26
        | steps("the highest voltage", avs.v_max, 0.1, 9, "V") << 17
        | steps("the lowest voltage", avs.v_min, 0.1, 8, "V") << 8
        | steps("the power", avs.power, 1.0, 8, "W")
    )


def encode_spr_avs(avs: SprAvsObject) -> int:
    """Return the word of an SPR adjustable range: 19..10 and 9..0 in 10 mA, 27..26 peak."""
    return (
        3 << 30
        | 2 << 28
        | _peak_code(avs.peak) << 26
        | steps("the current up to 15 V", avs.i_to_15_volts, 0.01, 10, "A") << 10
        | steps("the current up to 20 V", avs.i_to_20_volts, 0.01, 10, "A")
    )


def decode_source_object(word: int) -> SourceObject:
    """Return the record of a 32-bit word; reserved bits are ignored, as the standard demands of a receiver.

    Raises PartsError for battery and variable objects and for the reserved kind, OutOfRange for more than 32 bits.
    """
    require_word(word)
    kind, augmented = take(word, 31, 30), take(word, 29, 28)
    if kind == 0:
        return FixedObject(
            v=take(word, 19, 10) * 5 / 100,
            i=take(word, 9, 0) / 100,
            peak=PEAKS[take(word, 21, 20)],
            **{name: bool(take(word, bit, bit)) for name, bit in _FLAG_BITS},
        )
    if kind != 3:
        raise PartsError(f"object {word:#010x} is a {'battery' if kind == 1 else 'variable'} object, which is not read")
    if augmented == 0:
        return PpsObject(
            v_min=take(word, 15, 8) / 10,
            v_max=take(word, 24, 17) / 10,
            i=take(word, 6, 0) * 5 / 100,
            power_limited=bool(take(word, 27, 27)),
        )
    if augmented == 1:
        return EprAvsObject(
            v_min=take(word, 15, 8) / 10,
            v_max=take(word, 25, 17) / 10,
            power=float(take(word, 7, 0)),
            peak=PEAKS[take(word, 27, 26)],
        )
    if augmented == 2:
        return SprAvsObject(
            i_to_15_volts=take(word, 19, 10) / 100,
            i_to_20_volts=take(word, 9, 0) / 100,
            peak=PEAKS[take(word, 27, 26)],
        )
    raise PartsError(f"object {word:#010x} is of a kind that USB PD R3.2 reserves")


def _peak_code(peak: float) -> int:
    if peak not in PEAKS:
        raise OutOfRange(f"a peak of {peak:.0%} has no code: {', '.join(f'{p:.0%}' for p in PEAKS)}")
    return PEAKS.index(peak)


def _require_upwards(v_min: float, v_max: float) -> None:
    if v_min > v_max:
        raise OutOfRange(f"the range runs downwards: {v_min:g} V to {v_max:g} V")

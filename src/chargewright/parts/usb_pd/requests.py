"""Requests: what a sink asks of one of the source's objects, as records and as 32-bit words.

Bit layouts: USB Power Delivery Specification R3.2, 6.4.2 (IEC 62680-1-2). The least step of the voltage differs:
20 mV in a programmable range, 25 mV with two zero bits (so 100 mV) in an adjustable one. Taking one for the other
turns 20 V into 25 V; hence each kind has its own record, and a word is read with the object that it points to.
"""

from dataclasses import dataclass

from chargewright.base.errors import OutOfRange, PartsError
from chargewright.parts.usb_pd._bits import flags, require_word, steps, take
from chargewright.parts.usb_pd.objects import FixedObject, PpsObject, SourceObject


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedRequest:
    """Current from a fixed object."""

    position: int
    i_operating: float
    i_max: float
    """Greatest current that will be drawn; with `give_back`, the least that the sink can live with."""
    give_back: bool = False
    """Out of use since R3.2, yet old sinks send it."""
    mismatch: bool = False
    communications: bool = False
    no_suspend: bool = False
    unchunked: bool = False
    epr: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PpsRequest:
    """Voltage and current limit in a programmable range."""

    position: int
    v: float
    i: float
    mismatch: bool = False
    communications: bool = False
    no_suspend: bool = False
    unchunked: bool = False
    epr: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class AvsRequest:
    """Voltage in an adjustable range, and the current that will be drawn (which the source does not hold by itself)."""

    position: int
    v: float
    i: float
    mismatch: bool = False
    communications: bool = False
    no_suspend: bool = False
    unchunked: bool = False
    epr: bool = False


Request = FixedRequest | PpsRequest | AvsRequest

_FLAG_BITS = (("mismatch", 26), ("communications", 25), ("no_suspend", 24), ("unchunked", 23), ("epr", 22))
_LAST_POSITION = 13


def encode_request(request: Request) -> int:
    """Return the 32-bit word; raises OutOfRange for a value off the grid or too large for its field."""
    match request:
        case FixedRequest():
            return encode_fixed_request(request)
        case PpsRequest():
            return encode_pps_request(request)
        case AvsRequest():
            return encode_avs_request(request)


def encode_fixed_request(request: FixedRequest) -> int:
    """Return the word: 31..28 position, bit 27 give-back, flags, 19..10 operating and 9..0 maximum in 10 mA."""
    return (
        _head(request)
        | flags((request.give_back, 27))
        | steps("the operating current", request.i_operating, 0.01, 10, "A") << 10
        | steps("the maximum current", request.i_max, 0.01, 10, "A")
    )


def encode_pps_request(request: PpsRequest) -> int:
    """Return the word: 31..28 position, flags, 20..9 voltage in 20 mV, 6..0 current in 50 mA."""
    return (
        _head(request)
        | steps("the voltage", request.v, 0.02, 12, "V") << 9
        | steps("the current", request.i, 0.05, 7, "A")
    )


def encode_avs_request(request: AvsRequest) -> int:
    """Return the word: 31..28 position, flags, 20..9 voltage in 25 mV with two zero bits, 6..0 current in 50 mA."""
    return (
        _head(request)
        | steps("the voltage", request.v, 0.1, 10, "V") << 11
        | steps("the current", request.i, 0.05, 7, "A")
    )


def decode_request(word: int, source_object: SourceObject) -> Request:
    """Return the request in `word`, read as the object at its position demands.

    Raises PartsError where the word is no request for such an object, OutOfRange for more than 32 bits.
    """
    require_word(word)
    position = take(word, 31, 28)
    if not 1 <= position <= _LAST_POSITION:
        raise PartsError(f"request {word:#010x} asks for object {position}, which no source has")
    marks = {name: bool(take(word, bit, bit)) for name, bit in _FLAG_BITS}
    if isinstance(source_object, FixedObject):
        return FixedRequest(
            position=position,
            i_operating=take(word, 19, 10) / 100,
            i_max=take(word, 9, 0) / 100,
            give_back=bool(take(word, 27, 27)),
            **marks,
        )
    count, i = take(word, 20, 9), take(word, 6, 0) * 5 / 100
    if isinstance(source_object, PpsObject):
        return PpsRequest(position=position, v=count * 2 / 100, i=i, **marks)
    if count % 4:
        raise PartsError(
            f"request {word:#010x} asks an adjustable range for {count * 25 / 1000:g} V, which is not on its "
            f"100 mV grid: was it coded in 20 mV, for {count * 2 / 100:g} V?"
        )
    return AvsRequest(position=position, v=count * 25 / 1000, i=i, **marks)


def _head(request: Request) -> int:
    if not 1 <= request.position <= _LAST_POSITION:
        raise OutOfRange(f"object position {request.position} does not exist: 1 to {_LAST_POSITION}")
    return request.position << 28 | flags(*((bool(getattr(request, name)), bit) for name, bit in _FLAG_BITS))

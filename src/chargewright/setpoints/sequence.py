"""Writing order, read-back and refresh: how a host brings the set-points into the controller and keeps them there."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf

from chargewright.setpoints.controller import Controller, Field
from chargewright.setpoints.plan import SetPoint
from chargewright.setpoints.quantise import decode, encode, from_bits, to_bits
from chargewright.setpoints.smbus import write_byte_frame, write_word_frame

WRITES_LOST = 1
"""Refreshes that may go missing in a row without the controller taking its host for lost (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Write:
    """One write to the bus."""

    register: int
    word: int
    mask: int
    """Bits of the register that the word decides."""
    quantities: tuple[str, ...]
    why: str
    frame: bytes | None
    """All bytes on the bus; None where the other bits have to be read first and kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadBack:
    """What a register has to hold after all writes."""

    register: int
    word: int
    mask: int
    quantities: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Refresh:
    """How often the host has to write so that it is never taken for lost [s]."""

    interval: float
    shortest_timeout: float
    """Lower edge of the shortest time-out."""
    longest_allowed: float
    """Longest interval that the controller's description allows; infinite if it says nothing."""
    shortest_allowed: float


def write_sequence(points: Sequence[SetPoint], controller: Controller) -> tuple[Write, ...]:
    """Return the writes in their order: time-outs, limits, voltages, currents, and what lets the charge start last.

    Fields that share a register are written together; those that nothing was asked of keep their reset code. Where
    the controller may charge before it is set up, the first write stops that.
    """
    codes = {point.quantity.key: point.code for point in points}
    switch = controller.field("charge_enable")
    held = codes if switch is None else codes | {"charge_enable": encode(switch, 0.0, "nearest").code}
    writes: list[Write] = []
    if switch is not None and "charge_enable" in codes and _may_charge(switch):
        writes.append(_write(controller, switch.register, held, "holds the charge off until everything is set"))
    limits = [point for point in points if point.quantity.key != "charge_enable"]
    stages: dict[int, int] = {}
    for point in limits:
        register = point.field.register
        stages[register] = max(stages.get(register, 0), point.quantity.stage)
    for register in sorted(stages, key=lambda register: (stages[register], register)):
        titles = [point.quantity.title for point in limits if point.field.register == register]
        writes.append(_write(controller, register, held, f"sets {', '.join(titles)}"))
    if switch is not None and "charge_enable" in codes:
        starts = decode(switch, codes["charge_enable"]) != 0.0
        why = "lets the charge start" if starts else "keeps the charge off"
        writes.append(_write(controller, switch.register, codes, why))
    return tuple(_without_repeats(writes))


def read_back(writes: Sequence[Write], controller: Controller) -> tuple[ReadBack, ...]:
    """Return what every readable register has to hold after the writes, in the order in which each was written last."""
    silent = {field.register for field in controller.fields if not field.readable}
    last: dict[int, Write] = {}
    for write in (write for write in writes if write.register not in silent):
        last.pop(write.register, None)
        last[write.register] = write
    return tuple(
        ReadBack(register=w.register, word=w.word, mask=w.mask, quantities=w.quantities) for w in last.values()
    )


def values_read(controller: Controller, register: int, word: int) -> dict[str, float]:
    """Return what a word read from a register says, by quantity, on the controller's own scale.

    Raises OutOfRange for a code that the controller file does not explain.
    """
    return {
        field.quantity.key: decode(field, from_bits(field, word))
        for field in controller.fields
        if field.register == register
    }


def refresh_interval(points: Sequence[SetPoint], controller: Controller) -> Refresh | None:
    """Return how often to write, or None if the controller never gives its host up.

    The interval lets `WRITES_LOST` writes go missing within the lower edge of the shortest time-out.
    """
    timeouts = [point.low for point in points if point.quantity.key == "watchdog"]
    if controller.host_lost.timeout is not None:
        timeouts.append(controller.host_lost.timeout.low)
    shortest = min(timeouts, default=inf)
    if shortest == inf:
        return None
    allowed = controller.host_lost.refresh
    longest = allowed.high if allowed else inf
    return Refresh(
        interval=min(shortest / (WRITES_LOST + 1), longest),
        shortest_timeout=shortest,
        longest_allowed=longest,
        shortest_allowed=allowed.low if allowed else 0.0,
    )


def _may_charge(switch: Field) -> bool:
    return switch.reset is None or decode(switch, switch.reset) != 0.0


def _write(controller: Controller, register: int, codes: Mapping[str, int], why: str) -> Write:
    word = mask = 0
    full = (1 << controller.register_width) - 1
    for field in (field for field in controller.fields if field.register == register):
        code = codes.get(field.quantity.key, field.reset)
        if code is not None:
            word |= to_bits(field, code)
            mask |= field.mask
        elif not controller.keep_other_bits:
            full &= ~field.mask
    if not controller.keep_other_bits:
        mask = full
    frame = write_word_frame if controller.register_width == 16 else write_byte_frame
    return Write(
        register=register,
        word=word,
        mask=mask,
        quantities=tuple(f.quantity.key for f in controller.fields if f.register == register),
        why=why,
        frame=frame(controller.address, register, word, controller.pec)
        if mask == (1 << controller.register_width) - 1
        else None,
    )


def _without_repeats(writes: Sequence[Write]) -> Iterator[Write]:
    """Leave out a write that would not change its register."""
    last: dict[int, int] = {}
    for write in writes:
        if last.get(write.register) != write.word:
            yield write
        last[write.register] = write.word

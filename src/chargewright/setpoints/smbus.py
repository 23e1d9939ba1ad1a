"""Words on the bus: frames of the SMBus protocols write word and read word, with the packet error code.

Source of protocols, byte order and packet error code: System Management Bus Specification, version 2.0, SBS
Implementers Forum 2000, sections 5.4 and 5.5.
"""

from dataclasses import dataclass
from typing import Literal

from chargewright.base.errors import LogError, OutOfRange

CLOCK_LOW_TIMEOUT = (25e-3, 35e-3)
"""A clock held low so long means a hung bus: shortest and longest time-out of a device [s]. SMBus 2.0, table 1."""
DEVICE_STRETCH = 25e-3
"""Longest time for which a device may hold the clock low in one message, in all [s]. SMBus 2.0, table 1."""
HOST_STRETCH = 10e-3
"""Longest time for which a host may hold the clock low within one byte [s]. SMBus 2.0, table 1."""

_POLYNOMIAL = 0x07


def packet_error_code(message: bytes) -> int:
    """Return the packet error code of all bytes of a message, address bytes included.

    Remainder of the message over x⁸ + x² + x + 1, started at zero, neither reflected nor inverted.
    """
    remainder = 0
    for byte in message:
        remainder ^= byte
        for _ in range(8):
            remainder = (remainder << 1) ^ (_POLYNOMIAL if remainder & 0x80 else 0)
            remainder &= 0xFF
    return remainder


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """One word that went over the bus."""

    kind: Literal["write", "read"]
    address: int
    """7-bit address."""
    command: int
    word: int
    pec: bool
    """Whether a packet error code was sent, and right."""


def write_word_frame(address: int, command: int, word: int, pec: bool = True) -> bytes:
    """Return all bytes of a write-word message: address, command, low byte, high byte, packet error code."""
    return _finished(bytes([_seven(address) << 1, _byte(command), *_word(word)]), pec)


def read_word_frame(address: int, command: int, word: int, pec: bool = True) -> bytes:
    """Return all bytes of a read-word message as seen on the bus when the device answers `word`."""
    start = _seven(address) << 1
    return _finished(bytes([start, _byte(command), start | 1, *_word(word)]), pec)


def write_byte_frame(address: int, command: int, value: int, pec: bool = True) -> bytes:
    """Return all bytes of a write-byte message: address, command, value, packet error code."""
    return _finished(bytes([_seven(address) << 1, _byte(command), _byte(value)]), pec)


def decode_frame(frame: bytes, pec: bool = True) -> Message:
    """Return what a write-word or read-word frame says.

    pec : whether the devices send a packet error code; without knowing that, five bytes could be either protocol
    Raises LogError if the bytes are neither protocol, or if the packet error code is wrong.
    """
    body = frame[:-1] if pec else frame
    reads = len(body) == 5 and body[2] == body[0] | 1
    if not (reads or len(body) == 4) or body[0] & 1:
        raise LogError(
            f"{shown(frame)} is neither a write-word nor a read-word frame{' with error code' if pec else ''}"
        )
    if pec and packet_error_code(body) != frame[-1]:
        raise LogError(
            f"{shown(frame)} ends in error code 0x{frame[-1]:02X}, its bytes give 0x{packet_error_code(body):02X}"
        )
    return Message(
        kind="read" if reads else "write",
        address=body[0] >> 1,
        command=body[1],
        word=int.from_bytes(body[-2:], "little"),
        pec=pec,
    )


def shown(frame: bytes) -> str:
    """Return the bytes as people write them: "12 14 B8 0B 94"."""
    return frame.hex(" ").upper()


def signed_word(word: int) -> int:
    """Return a 16-bit word read as two's complement."""
    return word - 0x10000 if word & 0x8000 else word


def _finished(body: bytes, pec: bool) -> bytes:
    return body + bytes([packet_error_code(body)]) if pec else body


def _seven(address: int) -> int:
    if not 0x08 <= address <= 0x77:
        raise OutOfRange(
            f"bus address 0x{address:02X} is outside 0x08 … 0x77; a 7-bit address is wanted, without R/W bit"
        )
    return address


def _byte(value: int) -> int:
    if not 0 <= value <= 0xFF:
        raise OutOfRange(f"{value} does not fit a byte")
    return value


def _word(word: int) -> bytes:
    if not 0 <= word <= 0xFFFF:
        raise OutOfRange(f"{word} does not fit a word of 16 bits; negative values go as two's complement")
    return word.to_bytes(2, "little")

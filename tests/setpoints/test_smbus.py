"""Frames on the bus against published vectors (rows SB01 to SB15 and SB30 of the project's outside values)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import LogError, OutOfRange
from chargewright.setpoints import smbus
from chargewright.setpoints.smbus import decode_frame, packet_error_code, read_word_frame, write_word_frame


def test_error_code_meets_the_catalogued_check_value():
    # SB01: SMBus 2.0, 5.4.1.3; the check value of CRC-8/SMBUS is 0xF4 (confirmed by look-up; recomputed).
    assert packet_error_code(b"123456789") == 0xF4


@pytest.mark.parametrize(
    ("message", "code"),
    [
        # SB02, SB03: known answers in the README of the open library smbus-pec-rs (confirmed by look-up; recomputed).
        ("B4 06 AB CD", 0x5F),
        ("B4 06 B5 26 3A", 0x66),
    ],
)
def test_error_code_meets_the_known_answers_of_an_open_library(message: str, code: int):
    assert packet_error_code(bytes.fromhex(message)) == code


def test_error_code_is_the_remainder_of_the_polynomial_division():
    # Second road: long division of the message, as one big integer times 2⁸, by 0x107.
    message = bytes.fromhex("12 14 B8 0B")
    remainder = int.from_bytes(message, "big") << 8
    while remainder.bit_length() > 8:
        remainder ^= 0x107 << (remainder.bit_length() - 9)
    assert packet_error_code(message) == remainder


@pytest.mark.parametrize(
    ("command", "word", "frame"),
    [
        # SB04 to SB08: error codes by the polynomial of SB01 (recomputed).
        (0x14, 3000, "12 14 B8 0B 94"),
        (0x14, 0, "12 14 00 00 42"),
        (0x14, 2048, "12 14 00 08 7A"),
        (0x14, 65535, "12 14 FF FF 66"),
        (0x15, 8400, "12 15 D0 20 73"),
        (0x15, 12600, "12 15 38 31 EF"),
        (0x15, 16800, "12 15 A0 41 F1"),
        (0x15, 25200, "12 15 70 62 A2"),
        (0x12, 0x0001, "12 12 01 00 2A"),
        (0x16, 0x4000, "12 16 00 40 53"),
    ],
)
def test_writes_to_the_charger_give_the_listed_frames(command: int, word: int, frame: str):
    # SB15: low byte first (SMBus, write word; from memory). SB16: charger 0x09 is 0x12 on the wire.
    assert write_word_frame(0x09, command, word) == bytes.fromhex(frame)


@pytest.mark.parametrize(
    ("address", "command", "word", "frame"),
    [
        # SB10 to SB14 (recomputed).
        (0x0B, 0x09, 7400, "16 09 17 E8 1C D4"),
        (0x0B, 0x08, 2982, "16 08 17 A6 0B 2A"),
        (0x0B, 0x0A, 0xFA24, "16 0A 17 24 FA 43"),
        (0x0B, 0x15, 8400, "16 15 17 D0 20 BE"),
        (0x09, 0x13, 0xC010, "12 13 13 10 C0 AD"),
    ],
)
def test_reads_give_the_listed_frames(address: int, command: int, word: int, frame: str):
    assert read_word_frame(address, command, word) == bytes.fromhex(frame)


def test_a_write_to_the_battery_gives_the_listed_frame():
    # SB09: battery mode with charger broadcasts off (recomputed).
    assert write_word_frame(0x0B, 0x03, 0x4000) == bytes.fromhex("16 03 00 40 69")


def test_hung_bus_times_are_those_of_the_bus_specification():
    # SB30: SMBus 2.0 table 1, seen in a chipset's timing table (confirmed by look-up).
    assert smbus.CLOCK_LOW_TIMEOUT == (0.025, 0.035)
    assert (smbus.DEVICE_STRETCH, smbus.HOST_STRETCH) == (0.025, 0.010)


frames = st.tuples(st.integers(0x08, 0x77), st.integers(0, 0xFF), st.integers(0, 0xFFFF), st.booleans())


@given(frames, st.sampled_from(["write", "read"]))
def test_what_was_framed_is_decoded(parts: tuple[int, int, int, bool], kind: str):
    address, command, word, pec = parts
    frame = (write_word_frame if kind == "write" else read_word_frame)(address, command, word, pec)
    message = decode_frame(frame, pec)
    assert (message.kind, message.address, message.command, message.word) == (kind, address, command, word)


@given(frames, st.integers(0, 39))
def test_any_single_flipped_bit_is_refused(parts: tuple[int, int, int, bool], bit: int):
    # A code with a polynomial of two or more terms finds every single error.
    address, command, word, _ = parts
    frame = bytearray(write_word_frame(address, command, word))
    frame[bit // 8] ^= 1 << bit % 8
    with pytest.raises(LogError):
        decode_frame(bytes(frame))


@pytest.mark.parametrize("frame", ["", "12", "12 14 B8", "13 14 B8 0B 94", "12 14 13 B8 0B 94 00"])
def test_bytes_that_are_no_frame_are_refused(frame: str):
    with pytest.raises(LogError, match="neither"):
        decode_frame(bytes.fromhex(frame))


def test_a_wrong_error_code_is_told_with_both_values():
    with pytest.raises(LogError, match=r"0x95.*0x94"):
        decode_frame(bytes.fromhex("12 14 B8 0B 95"))


@pytest.mark.parametrize(("address", "command", "word"), [(0x12 << 3, 0, 0), (0x07, 0, 0), (9, 256, 0), (9, 0, -1)])
def test_what_does_not_fit_the_bus_is_refused(address: int, command: int, word: int):
    with pytest.raises(OutOfRange):
        write_word_frame(address, command, word)

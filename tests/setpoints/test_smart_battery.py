"""Smart Battery traffic against the open specification (rows SB04 to SB29 of the project's outside values).

SBC: Smart Battery Charger Specification, revision 1.1, SBS Implementers Forum, December 1998, read page by page.
"""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import LogError, OutOfRange
from chargewright.setpoints import smart_battery as sb
from chargewright.setpoints.load import load_controller
from chargewright.setpoints.sensing import step_share
from chargewright.setpoints.smbus import decode_frame, read_word_frame, write_word_frame


def said(frame: str, **options: bool) -> sb.Reading:
    return sb.interpret(decode_frame(bytes.fromhex(frame)), **options)


@pytest.mark.parametrize(
    ("frame", "value", "unit"),
    [
        ("12 14 B8 0B 94", 3.0, "A"),  # SB04
        ("12 14 FF FF 66", inf, "A"),  # SB05, SB18: 65535 is no current limit
        ("12 15 D0 20 73", 8.4, "V"),  # SB06
        ("16 09 17 E8 1C D4", 7.4, "V"),  # SB10
        ("16 08 17 A6 0B 2A", 298.2, "K"),  # SB11
        ("16 0A 17 24 FA 43", -1.5, "A"),  # SB12: two's complement, discharge is negative
        ("16 15 17 D0 20 BE", 8.4, "V"),  # SB13
    ],
)
def test_a_frame_says_its_quantity_in_si_units(frame: str, value: float, unit: str):
    # SB29: mV, mA, 0.1 K (SBD; confirmed by look-up). Exact up to the last digit of a float.
    reading = said(frame)
    assert reading.value == pytest.approx(value, rel=1e-12)
    assert reading.unit == unit


def test_capacity_follows_the_mode_bit():
    # SB29: mAh, or 10 mWh with mode bit 15 (SBD; confirmed by look-up). 5000 mAh are 18 000 C; 5000 · 10 mWh are
    # 50 Wh or 180 000 J. Mistaking one for the other is a factor of ten times the pack voltage.
    frame = read_word_frame(sb.BATTERY, 0x0F, 5000)
    assert sb.interpret(decode_frame(frame)).value == pytest.approx(18_000.0)
    energy = sb.interpret(decode_frame(frame), capacity_in_energy=True)
    assert (energy.value, energy.unit) == (pytest.approx(180_000.0), "J")


def test_a_capture_follows_the_mode_bit_as_it_passes():
    frames = [
        read_word_frame(sb.BATTERY, 0x0F, 5000),
        write_word_frame(sb.BATTERY, sb.BATTERY_MODE, 0x8000),
        read_word_frame(sb.BATTERY, 0x0F, 5000),
    ]
    text = "# remaining capacity, twice\n" + "\n".join(f"{frame.hex(' ')}  # a remark" for frame in frames)
    assert [reading.unit for reading in sb.read_capture(text)] == ["C", "", "J"]


def test_a_capture_names_the_line_that_is_wrong():
    with pytest.raises(LogError, match=r"line 2: .*0x94"):
        list(sb.read_capture("12 14 B8 0B 94\n12 14 B8 0B 00"))
    with pytest.raises(LogError, match=r"line 1: .*row of bytes"):
        list(sb.read_capture("3000 mA"))


def test_charger_status_names_its_bits():
    # SB14, SB27: 0xC010 is AC present, battery present, level 2 (SBC 5.1.5, p. 14; confirmed by look-up).
    assert said("12 13 13 10 C0 AD").flags == ("level 2", "battery present", "AC present")


@pytest.mark.parametrize(
    ("names", "bits", "word"),
    [
        (("inhibit",), sb.CHARGER_MODE_BITS, 0x0001),  # SB07, SB26 (SBC 5.1.4, p. 13; confirmed by look-up)
        (("polling",), sb.CHARGER_MODE_BITS, 0x0002),
        (("power-on reset", "requests to zero"), sb.CHARGER_MODE_BITS, 0x000C),
        (("terminate charge",), sb.ALARM_BITS, 0x4000),  # SB08, SB28 (SBC 5.1.3, p. 12; confirmed by look-up)
        (("over-charged", "over temperature"), sb.ALARM_BITS, 0x9000),
    ],
)
def test_flags_become_the_listed_words(names: tuple[str, ...], bits: dict[int, str], word: int):
    assert sb.flags_word(names, bits) == word


def test_an_unknown_flag_is_refused():
    with pytest.raises(OutOfRange, match="inhibited"):
        sb.flags_word(("inhibited",), sb.CHARGER_MODE_BITS)


@pytest.mark.parametrize(
    ("word", "stops"), [(0x8000, True), (0x4000, True), (0x2000, True), (0x1000, True), (0x0800, False)]
)
def test_any_of_the_upper_four_alarm_bits_stops_the_charge(word: int, stops: bool):
    # SB28: SBC 5.1.3, p. 12 (confirmed by look-up); 0x0800 allows a restart.
    assert sb.stops_charge(word) is stops


@pytest.mark.parametrize(
    ("r", "seen"),
    [
        # SB25: SBC 6.1.1, p. 19 (confirmed by look-up); bands overlap on purpose.
        (0.0, ("under range",)),
        (500.0, ("under range", "hot")),
        (1000.0, ("hot",)),
        (3000.0, ("hot", "normal")),
        (10e3, ("normal",)),
        (30e3, ("normal", "cold")),
        (50e3, ("cold",)),
        (100e3, ("cold", "open")),
    ],
)
def test_safety_signal_bands(r: float, seen: tuple[str, ...]):
    assert sb.safety_signal(r) == seen


def test_every_resistance_that_must_not_charge_can_only_be_seen_as_hot():
    low, high = sb.MUST_NOT_CHARGE
    assert (low, high) == (575.0, 2850.0)
    assert {sb.safety_signal(low + share * (high - low)) for share in (0.01, 0.5, 0.99)} == {("hot",)}


def test_addresses_and_commands_are_those_of_the_specification():
    # SB16: charger 0x09 (confirmed by look-up), battery 0x0B (from memory). SB17: SBC appendix A, p. 26 (confirmed).
    assert (sb.CHARGER, sb.BATTERY) == (0x09, 0x0B)
    names = [sb.interpret(decode_frame(write_word_frame(sb.CHARGER, command, 0))).name for command in range(0x11, 0x17)]
    assert names == [
        "charger specification",
        "charger mode",
        "charger status",
        "charging current",
        "charging voltage",
        "alarm warning",
    ]
    assert sb.interpret(decode_frame(write_word_frame(sb.CHARGER, 0x17, 1))).name == "command 0x17"


def test_the_shipped_description_says_what_the_specification_says():
    charger = load_controller("smart-battery-charger")
    voltage, current = charger.field("charge_voltage"), charger.field("charge_current")
    assert voltage is not None
    assert current is not None
    # SB16, SB17.
    assert (charger.address, voltage.register, current.register, charger.pec) == (0x09, 0x15, 0x14, True)
    # SB18: ±5 %; SB19: +1 % / -9 %, both of the greatest value (SBC 5.1.1, 5.1.2; confirmed by look-up).
    assert (current.accuracy.gain.low, current.accuracy.gain.high) == pytest.approx((0.95, 1.05))
    assert (voltage.accuracy.gain.low, voltage.accuracy.gain.high) == pytest.approx((0.91, 1.01))
    assert current.accuracy.of_full_scale
    assert voltage.accuracy.of_full_scale
    assert {special.code: special.value for special in current.special} == {0: 0.0, 0xFFFF: inf}
    # SB21: broadcasts 5 s to 60 s (SBC 5, p. 8); SB23: host lost 140 s to 210 s (SBC 6.1.8, p. 21; confirmed).
    refresh, timeout = charger.host_lost.refresh, charger.host_lost.timeout
    assert refresh is not None
    assert timeout is not None
    assert (refresh.low, refresh.high) == (5.0, 60.0)
    assert (timeout.low, timeout.typ, timeout.high) == (140.0, 175.0, 210.0)
    # SB24: at most 100 mA before anybody asks (SBC 6.1.8, p. 21); SB22: polling once a minute (SBC 5.2, p. 16).
    assert current.reset == 1e3 * sb.WAKE_UP_CURRENT_MAX == 100
    assert (sb.OFF_CURRENT_MAX, sb.POLLING_MAX) == (0.010, 60.0)


def test_least_steps_of_a_four_ampere_charger():
    # SB20: 15.625, 7.8125, 3.90625, 1.953125 mA; SBC 5, p. 9 prints 15.6, 7.8, 3.9, 1.9 (confirmed; recomputed).
    assert [4.0 * step_share(bits) * 1e3 for bits in (8, 9, 10, 11)] == [15.625, 7.8125, 3.90625, 1.953125]


@given(st.integers(0, 65534))
def test_requests_come_back_as_they_were_asked(thousandths: int):
    word = sb.charging_voltage_word(thousandths / 1e3)
    assert sb.interpret(decode_frame(write_word_frame(sb.CHARGER, sb.CHARGING_VOLTAGE, word))).value == pytest.approx(
        thousandths / 1e3, abs=1e-12
    )


@given(st.floats(0.0, 65.5))
def test_requests_are_never_rounded_up(i: float):
    # 1e-9 A is the floating error below which a value counts as a whole number of milliamperes.
    assert sb.charging_current_word(i) / 1e3 <= i + 1e-8


def test_requests_out_of_range_are_refused_and_no_limit_is_its_own_word():
    assert sb.charging_current_word(inf) == 0xFFFF
    for value in (-0.001, 65.535, float("nan")):
        with pytest.raises(OutOfRange):
            sb.charging_current_word(value)


def test_a_reading_is_told_to_people_with_its_unit():
    assert said("16 0A 17 24 FA 43").text == "battery: current -1.5 A"
    assert said("12 14 FF FF 66").text == "charger: charging current unlimited"
    assert said("12 12 01 00 2A").text == "charger: charger mode inhibit"

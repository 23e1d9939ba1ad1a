"""Writing order, read-back and refresh."""

import pytest

from chargewright.setpoints.context import Context, Want
from chargewright.setpoints.controller import Controller
from chargewright.setpoints.load import load_controller, read_controller
from chargewright.setpoints.plan import SetPoint, plan_setpoints
from chargewright.setpoints.quantities import QUANTITIES
from chargewright.setpoints.sequence import read_back, refresh_interval, values_read, write_sequence
from chargewright.setpoints.smbus import decode_frame

GENERIC, SMART = load_controller("generic"), load_controller("smart-battery-charger")
PACK = Context(series=2, v_cell_max=4.2, i_charge_max=5.0)
VALUES = {
    "charge_enable": 1.0,
    "charge_current": 3.0,
    "charge_voltage": 8.4,
    "termination_current": 0.25,
    "precharge_current": 0.288,
    "input_current": 3.25,
    "input_voltage": 17.0,
    "watchdog": 80.0,
    "safety_timer": 36000.0,
}


def planned(controller: Controller, **values: float) -> tuple[SetPoint, ...]:
    return plan_setpoints([Want(quantity=key, value=value) for key, value in values.items()], controller, PACK)


def test_limits_come_before_voltage_voltage_before_current_and_the_switch_is_last():
    # Common practice: nothing may flow before what limits it is set.
    writes = write_sequence(planned(GENERIC, **VALUES), GENERIC)
    registers = [write.register for write in writes]
    place = {key: registers.index(GENERIC.field(key).register) for key in VALUES if key != "charge_enable"}
    assert place["input_current"] < place["charge_voltage"] < place["charge_current"]
    assert place["input_voltage"] < place["charge_current"]
    assert place["precharge_current"] < place["charge_current"]
    assert writes[-1].why == "lets the charge start"
    switch = GENERIC.field("charge_enable")
    assert [bool(write.word & switch.mask) for write in writes if write.register == switch.register] == [False, True]


def test_every_wanted_value_is_read_back_from_the_words_written():
    # Second road: what the controller's registers hold after all writes, decoded field by field.
    points = planned(GENERIC, **VALUES)
    registers: dict[int, int] = {}
    for write in write_sequence(points, GENERIC):
        assert write.frame is not None
        message = decode_frame(write.frame)
        registers[message.command] = message.word
    held = {
        key: value
        for register, word in registers.items()
        for key, value in values_read(GENERIC, register, word).items()
    }
    assert held == {point.quantity.key: point.coded for point in points}
    expected = read_back(write_sequence(points, GENERIC), GENERIC)
    assert {row.register: row.word for row in expected} == registers


def test_a_shared_register_keeps_the_reset_code_where_nothing_is_asked():
    (write,) = write_sequence(planned(GENERIC, watchdog=80.0), GENERIC)
    held = values_read(GENERIC, write.register, write.word)
    assert held == {"watchdog": 80.0, "safety_timer": 43200.0, "charge_enable": 0.0}


def test_a_charger_that_starts_by_itself_is_held_off_first():
    # SB07, SB06, SB04 in this order: inhibit, 8400 mV, 3000 mA; then the inhibit bit is taken back.
    writes = write_sequence(planned(SMART, charge_current=3.0, charge_voltage=8.4, charge_enable=1.0), SMART)
    assert [write.frame.hex(" ").upper() for write in writes] == [
        "12 12 01 00 2A",
        "12 15 D0 20 73",
        "12 14 B8 0B 94",
        "12 12 00 00 3F",
    ]


def test_write_only_registers_are_not_read_back():
    # SBC appendix A, p. 26: mode, current and voltage are written only (confirmed by look-up).
    points = planned(SMART, charge_current=3.0, charge_voltage=8.4, charge_enable=1.0)
    assert read_back(write_sequence(points, SMART), SMART) == ()


def test_where_other_bits_have_to_be_kept_there_is_no_ready_frame():
    text = "format: 1\nname: x\norigin: invented\naddress: 0x2C\npec: yes\nfields:\n  charge_voltage: " + (
        "{register: 0x10, low_bit: 3, width: 12, step: 8 mV, minimum: 1 V, maximum: 20 V}\n"
    )
    careful = read_controller(text, "x.yaml")
    (write,) = write_sequence(planned(careful, charge_voltage=8.4), careful)
    assert (write.word, write.mask, write.frame) == (1050 << 3, 0x7FF8, None)
    free = read_controller(text.replace("pec: yes", "pec: yes\nother_bits: zero"), "x.yaml")
    (write,) = write_sequence(planned(free, charge_voltage=8.4), free)
    assert write.mask == 0xFFFF
    assert write.frame is not None


def test_eight_bit_registers_are_written_as_bytes():
    text = (
        "format: 1\nname: x\norigin: invented\naddress: 0x2C\nregister_width: 8\nfields:\n"
        "  input_current: {register: 0x03, step: 50 mA, minimum: 100 mA, maximum: 5 A}\n"
    )
    controller = read_controller(text, "x.yaml")
    (write,) = write_sequence(planned(controller, input_current=3.25), controller)
    assert write.frame == bytes([0x2C << 1, 0x03, 65])


def test_the_refresh_survives_a_lost_write_within_the_shortest_time_out():
    # 80 s less 15 % is 68 s; half of it is 34 s.
    refresh = refresh_interval(planned(GENERIC, watchdog=80.0), GENERIC)
    assert refresh is not None
    assert refresh.shortest_timeout == pytest.approx(68.0)
    assert refresh.interval == pytest.approx(34.0)
    assert 2 * refresh.interval <= refresh.shortest_timeout


def test_a_smart_battery_charger_is_written_to_within_its_broadcast_interval():
    # SB23: the lower edge is 140 s, not the middle of 175 s; SB21: at most 60 s apart, at least 5 s (SBC p. 8, 21).
    refresh = refresh_interval(planned(SMART, charge_voltage=8.4), SMART)
    assert refresh is not None
    assert (refresh.interval, refresh.shortest_timeout) == (60.0, 140.0)
    assert refresh.shortest_allowed == 5.0


def test_without_a_time_out_there_is_nothing_to_refresh():
    assert refresh_interval(planned(GENERIC, charge_voltage=8.4), GENERIC) is None
    assert refresh_interval(planned(GENERIC, watchdog=float("inf")), GENERIC) is None


def test_every_quantity_has_its_place_before_the_switch():
    assert max(QUANTITIES.values(), key=lambda quantity: quantity.stage).key == "charge_enable"
    assert QUANTITIES["charge_voltage"].stage < QUANTITIES["charge_current"].stage

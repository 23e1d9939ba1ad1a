"""Findings about set-points: one case that is clean and one that is not, for each rule."""

import pytest

from chargewright.base.findings import Finding
from chargewright.base.units import exact, parse_toleranced
from chargewright.setpoints.context import Context, Want
from chargewright.setpoints.controller import Controller
from chargewright.setpoints.judge import judge_setpoints
from chargewright.setpoints.load import load_controller, read_controller

GENERIC, SMART = load_controller("generic"), load_controller("smart-battery-charger")

EXACT = """\
format: 1
name: exact charger
origin: invented
address: 0x2C
host_lost: {timeout: 100 s, then: stops charging}
fields:
  charge_voltage: {register: 1, step: 1 mV, minimum: 3 V, maximum: 60 V, gain: ±0.1 %, reset: 0x0BB8}
  charge_current: {register: 2, step: 1 mA, minimum: 10 mA, maximum: 20 A, reset: 10}
"""


def found(check: str, controller: Controller, context: Context, **values: float) -> list[Finding]:
    wants = [Want(quantity=key, value=value) for key, value in values.items()]
    return [finding for finding in judge_setpoints(wants, controller, context) if finding.check == check]


def pack(series: int = 2, **more: object) -> Context:
    return Context(series=series, v_cell_max=4.2, i_charge_max=5.0, **more)


def test_a_careful_choice_gives_no_finding_at_all():
    wants = [Want(quantity="charge_voltage", value=8.39), Want(quantity="charge_current", value=3.0)]
    assert judge_setpoints(wants, read_controller(EXACT, "x.yaml"), pack(refresh=40.0)) == ()


def test_an_unsafe_reset_value_stops_the_design_if_the_charge_starts_by_itself():
    # 12.6 V after reset on a pack of two cells.
    wild = read_controller(EXACT.replace("0x0BB8", "12600"), "x.yaml")
    (finding,) = found("reset-value", wild, pack(), charge_voltage=8.39)
    assert (finding.severity, finding.value, finding.limit) == ("stop", pytest.approx(12.6), pytest.approx(8.4))
    assert "12.6 V is above 8.4 V" in finding.what
    # The generic controller keeps the charge off, so the same kind of value is milder.
    single = Context(series=1, v_cell_max=4.2, i_charge_max=2.0)
    findings = found("reset-value", GENERIC, single, charge_voltage=4.2)
    (finding,) = (finding for finding in findings if finding.where.endswith("charge voltage"))
    assert finding.severity == "caution"
    assert "the charge is off" in finding.why


def test_a_reset_value_comes_back_with_a_lost_host_only_where_the_file_says_so():
    wild = EXACT.replace("0x0BB8", "12600")
    for then, again in (("goes back to reset values", True), ("stops charging", False)):
        controller = read_controller(wild.replace("stops charging", then), "x.yaml")
        (finding,) = found("reset-value", controller, pack(), charge_voltage=8.39)
        assert ("again after the host is lost" in finding.why) is again


def test_a_zero_that_means_full_power_is_found():
    # The register falls back to 0, which the controller reads as "no limit".
    (finding,) = found("reset-value", GENERIC, pack(i_source_max=3.25), input_current=3.25)
    assert finding.severity == "serious"
    assert "unlimited" in finding.what


@pytest.mark.parametrize(
    ("quantity", "value", "severity"),
    [
        ("charge_voltage", 25.2, "caution"),  # stays short of what is asked
        ("charge_voltage", 2.0, "stop"),  # 3 V instead of 2 V: above what is asked
        ("input_current", 0.05, "serious"),
        ("input_voltage", 35.0, "serious"),  # a floor that cannot be set as high as asked
        ("watchdog", 240.0, "note"),
    ],
)
def test_what_the_range_cuts_off_is_told_with_its_side(quantity: str, value: float, severity: str):
    context = pack(series=6) if value > 20 else pack()
    (finding,) = found("set-point-out-of-range", GENERIC, context, **{quantity: value})
    assert finding.severity == severity


def test_what_lies_inside_the_range_is_not_told():
    assert found("set-point-out-of-range", GENERIC, pack(), charge_voltage=8.4, watchdog=80.0) == []


def test_the_accuracy_of_a_smart_battery_charger_alone_passes_the_limit():
    # SB19: +1 % at 8.4 V is +84 mV (SBC 5.1.2, p. 11; confirmed by look-up).
    (finding,) = found("charge-voltage-accuracy", SMART, pack(), charge_voltage=8.4)
    assert finding.severity == "serious"
    assert finding.value - finding.limit == pytest.approx(0.084)
    assert "84 mV" in finding.what
    # The cure was tried: 8.4 V / 1.01 = 8.3168 V; what is proposed is no more than that, and still near it.
    assert finding.cure is not None
    assert finding.cure.clears
    assert 8.39 < finding.cure.value <= 8.4
    assert found("charge-voltage-accuracy", SMART, pack(), charge_voltage=8.316) == []


def test_ordinary_accuracy_is_a_caution():
    (finding,) = found("charge-voltage-accuracy", GENERIC, pack(), charge_voltage=8.4)
    assert finding.severity == "caution"


def test_the_highest_cell_is_judged_by_its_upper_limit():
    context = pack(v_cell_upper=4.25, v_cell_spread=0.010)
    (finding,) = found("highest-cell", SMART, context, charge_voltage=8.4)
    # 8.4 V · 1.01 / 2 + 10 mV.
    assert (finding.severity, finding.value) == ("stop", pytest.approx(4.252))
    assert finding.cure is not None
    assert finding.cure.value <= 4.25
    assert found("highest-cell", GENERIC, context, charge_voltage=8.4) == []


def test_a_small_current_is_judged_by_its_own_error():
    # 10 mΩ and 0.1 mV are 10 mA: 4 % of 250 mA but 20 % of 50 mA (arithmetic). With 2 % gain the latter is passed.
    text = EXACT + (
        "  termination_current: {register: 3, step: 1 mA, minimum: 1 mA, maximum: 2 A, gain: ±2 %, "
        "sense_offset: ±0.1 mV}\nsense: {pack: 10 mohm}\n"
    )
    controller = read_controller(text, "x.yaml")
    assert found("small-current-accuracy", controller, pack(), termination_current=0.25) == []
    (finding,) = found("small-current-accuracy", controller, pack(), termination_current=0.05)
    # (50 mA · 1.02 + 10 mA) / 50 mA - 1 = 22 %
    assert finding.value == pytest.approx(0.22)
    assert finding.cure is not None
    assert finding.cure.value <= 0.20


def test_another_resistor_than_configured_is_told_with_what_would_flow():
    # PV10: 6 A for 3 A asked.
    (finding,) = found("sense-resistor", GENERIC, pack(r_pack=exact(0.005)), charge_current=3.0)
    assert finding.value == pytest.approx(6.0)
    assert (
        found("sense-resistor", GENERIC, pack(r_pack=parse_toleranced("10 mohm ±1 %", "ohm")), charge_current=3.0) == []
    )


def test_a_floor_above_the_lowest_source_never_charges():
    assert found("floor-above-source", GENERIC, pack(v_source_min=18.0), input_voltage=17.0) == []
    (finding,) = found("floor-above-source", GENERIC, pack(v_source_min=4.6), input_voltage=8.0)
    assert finding.severity == "serious"


@pytest.mark.parametrize(
    ("refresh", "severity", "limit"),
    [
        # SB23: 140 s is the lower edge; 170 s lies under the nominal 175 s and is still too slow.
        (170.0, "serious", 140.0),
        # SB21: the document wants 5 s to 60 s.
        (65.0, "serious", 60.0),
        (2.0, "caution", 5.0),
    ],
)
def test_a_refresh_that_is_too_slow_or_too_quick_is_told(refresh: float, severity: str, limit: float):
    (finding,) = found("host-refresh", SMART, pack(refresh=refresh), charge_voltage=8.3)
    assert (finding.severity, finding.limit) == (severity, limit)


def test_a_refresh_that_one_lost_write_breaks_is_a_caution():
    exact_charger = read_controller(EXACT, "x.yaml")
    (finding,) = found("host-refresh", exact_charger, pack(refresh=60.0), charge_voltage=8.3)
    assert (finding.severity, finding.limit) == ("caution", 50.0)
    assert found("host-refresh", exact_charger, pack(refresh=50.0), charge_voltage=8.3) == []


def test_a_host_that_nobody_misses_is_told():
    (finding,) = found("host-refresh", GENERIC, pack(), charge_voltage=8.3)
    assert "falls silent" in finding.what


def test_wants_without_a_field_are_told_together():
    (finding,) = found("set-point-without-field", SMART, pack(), watchdog=80.0, input_current=3.0, charge_voltage=8.3)
    assert "host time-out" in finding.what
    assert "source current limit" in finding.what
    assert finding.value == 2.0


def test_an_accuracy_of_an_unknown_full_scale_is_told():
    assert len(found("full-scale-unknown", SMART, pack(), charge_voltage=8.3, charge_current=3.0)) == 2
    assert found("full-scale-unknown", GENERIC, pack(), charge_voltage=8.3) == []


def test_the_worst_comes_first():
    wants = [Want(quantity=key, value=value) for key, value in {"charge_voltage": 8.4, "watchdog": 200.0}.items()]
    ranks = ["stop", "serious", "caution", "note"]
    severities = [ranks.index(f.severity) for f in judge_setpoints(wants, SMART, pack(v_cell_upper=4.22))]
    assert severities == sorted(severities)
    assert len(severities) > 3


def test_a_charge_that_is_held_off_at_reset_makes_an_unsafe_value_milder():
    held = (
        EXACT.replace("0x0BB8", "12600") + "  charge_enable: {register: 3, width: 1, values: {0: 0, 1: 1}, reset: 0}\n"
    )
    for text, severity in ((held, "caution"), (held.replace("reset: 0}", "reset: 1}"), "stop")):
        findings = found("reset-value", read_controller(text, "x.yaml"), pack(), charge_voltage=8.39)
        assert {f.severity for f in findings} == {severity}


def test_a_small_current_is_judged_by_its_worse_side():
    text = EXACT + "  precharge_current: {register: 3, step: 1 mA, minimum: 1 mA, maximum: 2 A, gain: +30 % -0 %}\n"
    (finding,) = found("small-current-accuracy", read_controller(text, "x.yaml"), pack(), precharge_current=0.5)
    assert finding.value == pytest.approx(0.30)
    # No larger current cures a gain error.
    assert finding.cure is None

"""Set-points on a described controller: asked, coded, real, error left, reset values."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import OutOfRange
from chargewright.base.units import exact, parse_toleranced
from chargewright.setpoints.context import Context, Want
from chargewright.setpoints.controller import Controller
from chargewright.setpoints.load import load_controller, read_controller
from chargewright.setpoints.plan import SetPoint, plan_setpoints

GENERIC = load_controller("generic")
PACK = Context(series=2, v_cell_max=4.2, i_charge_max=5.0, i_precharge_max=0.5, i_source_max=3.25, v_source_min=18.0)


def planned(quantity: str, value: float, context: Context = PACK, controller: Controller = GENERIC) -> SetPoint:
    return plan_setpoints([Want(quantity=quantity, value=value)], controller, context)[0]


def with_resistors(pack: str = "10 mohm", source: str = "10 mohm", **more: float) -> Context:
    return Context(
        series=2,
        v_cell_max=4.2,
        i_charge_max=5.0,
        r_pack=parse_toleranced(pack, "ohm"),
        r_source=parse_toleranced(source, "ohm"),
        **more,
    )


def test_the_generic_controller_takes_a_two_cell_pack():
    # 8.4 V / 8 mV = 1050; 3 A / 32 mA = 93.75, rounded down 93 or 2.976 A (arithmetic).
    voltage, current = planned("charge_voltage", 8.4), planned("charge_current", 3.0)
    assert (voltage.code, voltage.real, voltage.error) == (1050, 8.4, 0.0)
    assert (current.code, current.real) == (93, pytest.approx(2.976))
    assert current.error == pytest.approx(-0.024)
    # ±0.5 % of 8.4 V.
    assert (voltage.low, voltage.high) == (pytest.approx(8.358), pytest.approx(8.442))


def test_a_fitted_resistor_is_made_up_for_in_the_code():
    # PV10: with 5 mΩ where the controller counts on 10 mΩ, the code for 3 A has to say 1.5 A (ratio; recomputed).
    point = planned("charge_current", 3.0, with_resistors("5 mohm"))
    assert point.code == 46  # 1.5 A / 32 mA = 46.875, down
    assert point.coded == pytest.approx(1.472)
    assert point.real == pytest.approx(2.944)
    assert point.step == pytest.approx(0.064)
    # The other way round: 20 mΩ halves what flows, so the code says 6 A.
    assert planned("charge_current", 3.0, with_resistors("20 mohm")).coded == pytest.approx(5.984)


def test_only_the_resistor_of_its_own_path_counts_for_a_current():
    context = with_resistors(pack="5 mohm", source="20 mohm")
    assert planned("charge_current", 3.0, context).coded == pytest.approx(1.472)
    assert planned("input_current", 3.0, context).coded == pytest.approx(6.0)
    assert planned("charge_voltage", 8.4, context).sensing is None


@given(
    st.sampled_from(["charge_current", "input_current", "precharge_current"]),
    st.floats(0.3, 5.0),
    st.floats(0.002, 0.02),
)
def test_the_current_that_flows_never_exceeds_what_is_asked(quantity: str, asked: float, r: float):
    context = Context(series=2, v_cell_max=4.2, i_charge_max=5.0, r_pack=exact(r), r_source=exact(r))
    point = planned(quantity, asked, context)
    if not point.clamped:
        # 1e-8: what counts as floating error when asked over step is a whole number.
        assert asked - point.step - 1e-8 <= point.real <= asked + 1e-8
        assert point.low <= point.real <= point.high
    else:
        assert point.real != pytest.approx(asked)


def test_a_want_may_ask_for_another_direction():
    wants = [Want(quantity="charge_current", value=3.0, direction="up")]
    assert plan_setpoints(wants, GENERIC, PACK)[0].real == pytest.approx(3.008)


def test_a_limit_is_rounded_the_way_that_protects():
    # Floor of the source: up. End of the taper: up. Host time-out: down. (common practice)
    assert planned("input_voltage", 17.0).real == pytest.approx(17.024)
    assert planned("termination_current", 0.25).real == pytest.approx(0.256)
    assert planned("watchdog", 100.0).real == 80.0


def test_what_lies_out_of_range_is_marked():
    point = planned("charge_voltage", 25.2)
    assert point.clamped
    assert point.real == pytest.approx(21.0)
    assert point.error == pytest.approx(-4.2)


def test_no_limit_takes_its_own_code_and_has_no_band():
    point = planned("input_current", inf)
    assert (point.code, point.real, point.low, point.high, point.error) == (0, inf, inf, inf, 0.0)


def test_a_want_without_a_field_gets_no_set_point():
    charger = load_controller("smart-battery-charger")
    assert plan_setpoints([Want(quantity="watchdog", value=80.0)], charger, PACK) == ()


def test_mistaken_wants_are_told():
    with pytest.raises(OutOfRange, match="did you mean 'charge_voltage'"):
        Want(quantity="charge_voltege", value=8.4)
    with pytest.raises(OutOfRange, match="wanted twice"):
        plan_setpoints([Want(quantity="watchdog", value=80.0)] * 2, GENERIC, PACK)


def test_a_smart_battery_charger_steps_no_finer_than_its_resolution():
    # SBC 5, p. 9: eight bits of full scale; 8.4 V / 256 = 32.8125 mV, although the word counts millivolts.
    charger = load_controller("smart-battery-charger")
    assert planned("charge_voltage", 8.4, PACK, charger).step == pytest.approx(0.0328125)


@pytest.mark.parametrize(
    ("quantity", "value", "context", "verdict", "says"),
    [
        ("charge_voltage", 8.4, PACK, "safe", "8.4 V"),
        ("charge_voltage", 4.2, Context(series=1, v_cell_max=4.2, i_charge_max=2.0), "unsafe", "8.4 V is above 4.2 V"),
        ("charge_current", 3.0, PACK, "safe", "0 A"),
        # 0 reads as full power: the trap of a field whose zero means "no limit".
        ("input_current", 3.25, PACK, "unsafe", "unlimited: no limit, the source alone decides"),
        ("input_voltage", 17.0, PACK, "unsafe", "4.352 V is below 17 V"),
        ("watchdog", 240.0, PACK, "safe", "200 s"),
        ("watchdog", 80.0, PACK, "unsafe", "200 s is above 80 s"),
        ("safety_timer", 36000.0, PACK, "unsafe", "above"),
        ("charge_enable", 1.0, PACK, "safe", "until the host allows it"),
        # The same code is twice the current where half the resistor is fitted.
        ("precharge_current", 0.25, PACK, "safe", "288 mA"),
        ("precharge_current", 0.25, with_resistors("5 mohm", i_precharge_max=0.5), "unsafe", "576 mA is above 500 mA"),
    ],
)
def test_a_reset_value_is_judged_against_this_pack(
    quantity: str, value: float, context: Context, verdict: str, says: str
):
    reset = planned(quantity, value, context).reset
    assert reset.verdict == verdict
    assert says in reset.reason


def test_a_low_source_that_the_reset_floor_locks_out_is_told():
    text = "input_voltage: {register: 0x10, step: 0.1 V, minimum: 3 V, maximum: 25 V, reset: 80}"
    controller = read_controller(f"format: 1\nname: x\norigin: invented\naddress: 0x2C\nfields:\n  {text}\n", "x.yaml")
    # A floor of 8 V on a port that also takes 5 V: nothing is ever charged.
    context = Context(series=2, v_cell_max=4.2, i_charge_max=5.0, v_source_min=4.6)
    assert "never charges" in planned("input_voltage", 7.5, context, controller).reset.reason


def test_a_controller_that_charges_by_itself_is_as_safe_as_its_reset_values():
    charger = load_controller("smart-battery-charger")
    point = planned("charge_enable", 1.0, PACK, charger)
    # Its charge voltage after reset is left to the maker, so nobody can tell.
    assert point.reset.verdict == "unknown"
    assert "starts by itself" in point.reset.reason

"""Conversion ratios and sources by second roads: volt-seconds, power balance, the equations they were solved from."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.physics.converter import (
    boost_duty,
    boost_efficiency_with_winding,
    boost_gain_with_winding,
    buck_boost_voltage,
    buck_duty,
    duty_of_greatest_boost_gain,
    four_switch_ratio,
    greatest_boost_gain,
    least_buck_source,
    series_resistance_efficiency,
)
from chargewright.physics.source import (
    charge_current_left,
    constant_power_current,
    constant_power_voltage,
    droop_voltage,
    greatest_power,
    negative_input_resistance,
    power_after_resistance,
    supplement_power,
)

DUTY = st.floats(0.05, 0.95)
VOLTS = st.floats(3.0, 50.0)


@given(v_in=VOLTS, duty=DUTY, boost=DUTY)
def test_ideal_ratios_balance_the_inductor_s_volt_seconds(v_in, duty, boost):
    # Conservation: the inductor's mean voltage is zero at the ratio given. Rounding only.
    v_out = v_in * duty
    assert buck_duty(v_in, v_out) * (v_in - v_out) == pytest.approx((1.0 - buck_duty(v_in, v_out)) * v_out)
    v_out = v_in / (1.0 - duty)
    assert boost_duty(v_in, v_out) * v_in == pytest.approx((1.0 - boost_duty(v_in, v_out)) * (v_out - v_in))
    assert duty * v_in == pytest.approx(-(1.0 - duty) * buck_boost_voltage(v_in, duty))
    assert duty * v_in == pytest.approx((1.0 - boost) * v_in * four_switch_ratio(duty, boost))


def test_the_four_switch_stage_is_a_buck_or_a_boost_at_the_ends():
    assert four_switch_ratio(0.42, 0.0) == 0.42
    assert four_switch_ratio(1.0, 0.5) == 2.0


@given(duty=DUTY, part=st.floats(1e-4, 0.1))
def test_the_lossy_boost_solves_its_own_circuit(duty, part):
    # Second road: inductor volt-seconds with i_L = i_out/D', solved as a linear equation for Vout at Vin = 1, R = 1.
    i_l_of_v_out = 1.0 / (1.0 - duty)
    v_out = 1.0 / ((1.0 - duty) + part * i_l_of_v_out)
    assert boost_gain_with_winding(duty, part, 1.0) == pytest.approx(v_out, rel=1e-12)
    # Output over input power: Vout² over Vin·i_L.
    assert boost_efficiency_with_winding(duty, part, 1.0) == pytest.approx(v_out**2 / (v_out * i_l_of_v_out), rel=1e-12)


def test_no_duty_gives_more_than_the_greatest_boost_gain():
    # Search over duty. abs: 1e-5 steps at a flat top.
    duty = np.linspace(0.0, 0.999, 99_901)
    gain = boost_gain_with_winding(duty, 0.013, 1.0)
    assert np.max(gain) == pytest.approx(greatest_boost_gain(0.013, 1.0), rel=1e-8)
    assert duty[np.argmax(gain)] == pytest.approx(duty_of_greatest_boost_gain(0.013, 1.0), abs=2e-5)


def test_a_series_resistance_takes_its_share_of_the_power():
    # By hand: 1 A through 4 Ω and 1 Ω gives 4 W of 5 W.
    assert series_resistance_efficiency(4.0, 1.0) == pytest.approx(0.8, rel=1e-12)


@given(v_pack=VOLTS, i=st.floats(0.0, 10.0), r=st.floats(0.0, 0.5), duty_max=st.floats(0.5, 1.0))
def test_the_least_source_just_charges_at_the_greatest_duty(v_pack, i, r, duty_max):
    v_in = least_buck_source(v_pack, i, r, duty_max)
    # Conservation: the switch node's mean voltage less the drop is the pack's. Rounding only.
    assert droop_voltage(duty_max * v_in, r, i) == pytest.approx(v_pack, rel=1e-12)


@given(v=VOLTS, r=st.floats(0.001, 1.0), share=st.floats(-1.0, 0.999))
def test_the_constant_power_point_takes_that_power(v, r, share):
    # Definition: v·i = p and v = v_source − r·i. abs: near the top the root loses half of the digits.
    p = share * greatest_power(v, r)
    v_load, i = constant_power_voltage(v, r, p), constant_power_current(v, r, p)
    assert v_load * i == pytest.approx(p, rel=1e-9, abs=1e-9)
    assert v_load == pytest.approx(droop_voltage(v, r, i), rel=1e-7)
    assert v_load >= v / 2.0


def test_above_the_greatest_power_there_is_no_voltage():
    assert np.isnan(constant_power_voltage(5.0, 0.3, 21.0))
    assert np.isnan(constant_power_current(5.0, 0.3, 21.0))
    both = constant_power_voltage(5.0, 0.3, np.array([15.0, 21.0]))
    assert np.isfinite(both[0])
    assert np.isnan(both[1])


def test_no_current_brings_more_than_the_greatest_power():
    # Search over current.
    i = np.linspace(0.0, 20.0, 20_001)
    assert np.max(power_after_resistance(5.0, i, 0.3)) == pytest.approx(greatest_power(5.0, 0.3), rel=1e-6)


def test_the_negative_resistance_is_the_slope_of_the_load_line():
    # Definition dv/di, by a central difference on i = p/v.
    v, p, h = 9.0, 60.0, 1e-4
    slope = 2.0 * h / (p / (v + h) - p / (v - h))
    assert negative_input_resistance(v, p) == pytest.approx(slope, rel=1e-8)


@given(p_in=st.floats(1.0, 200.0), p_system=st.floats(1.0, 200.0), eta=st.floats(0.5, 1.0))
def test_charging_and_supplement_balance_the_bus(p_in, p_system, eta):
    # Conservation at the bus, with the loss of the converter as a line of its own.
    into_pack = charge_current_left(p_in, p_system, eta, 8.0) * 8.0
    assert p_system + into_pack + (1.0 - eta) * (p_in - p_system) == pytest.approx(p_in, rel=1e-9, abs=1e-9)
    from_pack = supplement_power(p_system, p_in, eta)
    assert p_in + from_pack - (1.0 - eta) * from_pack == pytest.approx(p_system, rel=1e-9, abs=1e-9)

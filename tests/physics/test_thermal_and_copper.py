"""Heat and copper by second roads: iteration to rest, integration over the skin, inverse functions."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import OutOfRange
from chargewright.physics.conduction import resistance_at, resistive_loss
from chargewright.physics.copper import (
    INNER_LAYER,
    OUTER_LAYER,
    awg_diameter,
    copper_resistivity,
    ipc2221_current,
    ipc2221_width,
    round_wire_resistance,
    sheet_resistance,
    skin_depth,
    trace_resistance,
)
from chargewright.physics.thermal import (
    heated_temperature,
    rise_after,
    runaway_current,
    self_heated_temperature,
    temperature_rise,
)


@pytest.mark.parametrize("i", [1.0, 5.0, 15.0])
def test_the_resting_temperature_is_where_iteration_ends(i):
    # Second road: temperature from loss, loss from temperature, until it rests; the loop shrinks by i²/22.36² a round.
    temp = 313.15
    for _ in range(200):
        temp = heated_temperature(313.15, resistive_loss(i, resistance_at(0.010, 0.004, temp)), 50.0)
    assert self_heated_temperature(313.15, 50.0, i, 0.010, 0.004) == pytest.approx(temp, rel=1e-9)


def test_from_the_runaway_current_on_there_is_no_temperature():
    limit = runaway_current(50.0, 0.010, 0.004)
    below, above = self_heated_temperature(313.15, 50.0, np.array([0.999, 1.001]) * limit, 0.010, 0.004)
    assert np.isfinite(below)
    assert above == np.inf


def test_rise_and_temperature_differ_by_the_reference():
    assert heated_temperature(313.15, 0.25, 50.0) - 313.15 == pytest.approx(temperature_rise(0.25, 50.0), rel=1e-12)


def test_a_rise_starts_with_the_slope_that_the_heat_capacity_gives():
    # Limit: after a short time the rise is loss over heat capacity times time. rel: next term t/(2·tau).
    r_th, heat_capacity, p, t = 50.0, 0.02, 0.25, 1e-5
    assert rise_after(temperature_rise(p, r_th), t, r_th * heat_capacity) == pytest.approx(
        p * t / heat_capacity, rel=1e-5
    )
    assert rise_after(12.5, 100.0, 1.0) == pytest.approx(12.5, rel=1e-12)


def test_a_temperature_in_celsius_is_refused():
    with pytest.raises(OutOfRange, match="temp_amb leaves 100"):
        self_heated_temperature(40.0, 50.0, 5.0, 0.010, 0.004)
    with pytest.raises(OutOfRange, match="temp leaves 100"):
        copper_resistivity(20.0)


def test_a_half_space_carries_its_current_as_if_one_skin_depth_deep():
    # Definition: a current density of exp(−(1 + j)·x/depth) integrates to depth/√2. rel: trapezoidal rule.
    depth = skin_depth(1.7241e-8, 600e3)
    x = np.linspace(0.0, 30.0 * depth, 300_001)
    density = np.exp(-(1.0 + 1.0j) * x / depth)
    total = np.sum((density[1:] + density[:-1]) / 2.0) * (x[1] - x[0])
    assert abs(total) == pytest.approx(depth / np.sqrt(2.0), rel=1e-6)
    # Wave equation: (1 + j)²/depth² = j·ω·µ0/rho.
    assert 2.0 / depth**2 == pytest.approx(2.0 * np.pi * 600e3 * 4e-7 * np.pi / 1.7241e-8, rel=1e-12)


def test_a_trace_is_as_many_squares_as_it_is_long():
    # By hand: 50 mm by 5 mm is ten squares.
    rho = copper_resistivity(293.15)
    assert trace_resistance(rho, 0.050, 0.005, 35e-6) == pytest.approx(10.0 * sheet_resistance(rho, 35e-6), rel=1e-12)


@given(i=st.floats(0.1, 30.0), rise=st.floats(5.0, 100.0), k_layer=st.sampled_from([OUTER_LAYER, INNER_LAYER]))
def test_the_trace_width_carries_the_current_it_was_made_for(i, rise, k_layer):
    # Inverse. Rounding through two powers.
    width = ipc2221_width(k_layer, i, rise, 35e-6)
    assert ipc2221_current(k_layer, rise, width * 35e-6) == pytest.approx(i, rel=1e-9)


def test_six_gauges_halve_the_diameter_nearly():
    # ASTM B258 (from memory): 39 steps are a factor 92 from 36 to 4/0, so six steps are 92^(6/39) = 2.0050.
    assert awg_diameter(36) == pytest.approx(0.127e-3, rel=1e-12)
    assert awg_diameter(-3) == pytest.approx(92.0 * 0.127e-3, rel=1e-12)
    assert awg_diameter(18) / awg_diameter(24) == pytest.approx(2.0050, abs=5e-5)


def test_a_round_wire_is_a_trace_of_the_same_cross_section():
    area = np.pi * 0.5e-3**2 / 4.0
    bar = trace_resistance(1.7241e-8, 1.0, area / 35e-6, 35e-6)
    assert round_wire_resistance(1.7241e-8, 0.5e-3) == pytest.approx(bar, rel=1e-12)

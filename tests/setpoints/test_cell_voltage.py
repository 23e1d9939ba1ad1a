"""From the charge voltage to the highest cell, and what an error of it is worth (row CE08)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.units import Toleranced
from chargewright.parts.cells import shelf
from chargewright.setpoints.cell_voltage import CellVoltage, cell_voltage_error, full_state
from chargewright.setpoints.context import Context, Want
from chargewright.setpoints.load import load_controller, read_controller
from chargewright.setpoints.plan import plan_setpoints

FILE = """\
format: 1
name: bench charger
origin: invented
address: 0x2C
fields:
  charge_voltage: {{register: 0x10, step: {step}, minimum: 3 V, maximum: 60 V, gain: {gain}}}
"""


def highest_cell(asked: float, gain: str, step: str = "1 mV", series: int = 2, **more: object) -> CellVoltage:
    context = Context(series=series, v_cell_max=4.2, i_charge_max=5.0, **more)
    controller = read_controller(FILE.format(gain=gain, step=step), "bench.yaml")
    (point,) = plan_setpoints([Want(quantity="charge_voltage", value=asked)], controller, context)
    return cell_voltage_error(point, context)


@pytest.mark.parametrize(
    ("gain", "v_error", "soc_low", "soc_high"),
    [
        # CE08: ±1 % and ±0.5 % of 4.2 V are ±42 mV and ±21 mV; state of charge 0.9760 … 1.0221 and 0.9885 … 1.0111
        # (PyBaMM's parameter set of Chen et al. 2020; recomputed). Tolerance 0.001 as listed.
        ("±1 %", 0.042, 0.9760, 1.0221),
        ("±0.5 %", 0.021, 0.9885, 1.0111),
    ],
)
def test_an_error_of_the_charge_voltage_is_worth_this_much_charge(
    gain: str, v_error: float, soc_low: float, soc_high: float
):
    voltage = highest_cell(8.4, gain)
    assert voltage.high - voltage.asked == pytest.approx(v_error, abs=1e-9)
    assert voltage.asked - voltage.low == pytest.approx(v_error, abs=1e-9)
    state = full_state(shelf.get("nmc-energy"), voltage)
    assert (state.low, state.asked, state.high) == pytest.approx((soc_low, 1.0, soc_high), abs=0.001)


def test_the_smart_battery_document_allows_what_a_cell_refuses():
    # SB19: +1 % of 8.4 V is +84 mV on the pack, 42 mV on a cell of 4.2 V (SBC 5.1.2, p. 11; confirmed by look-up).
    context = Context(series=2, v_cell_max=4.2, i_charge_max=5.0)
    wants = [Want(quantity="charge_voltage", value=8.4)]
    (point,) = plan_setpoints(wants, load_controller("smart-battery-charger"), context)
    assert point.high - point.asked == pytest.approx(0.084)
    assert cell_voltage_error(point, context).high == pytest.approx(4.242)
    assert cell_voltage_error(point, context).margin == pytest.approx(-0.042)


@given(
    st.integers(1, 10),
    st.floats(3.0, 4.3),
    st.floats(0.0, 0.05),
    st.floats(0.0, 0.2),
    st.floats(0.0, 0.1),
    st.sampled_from(["1 mV", "16 mV", "64 mV"]),
)
def test_the_rows_add_up_to_the_band(series: int, v: float, spread: float, lead: float, more: float, step: str):
    voltage = highest_cell(
        series * v,
        "+1 % -9 %",
        step,
        series,
        v_cell_spread=spread,
        v_lead=Toleranced(lead + more / 2.0, lead, lead + more),
    )
    # Sums of five numbers of a few volts: rounding only.
    assert voltage.asked + sum(row.low for row in voltage.rows) == pytest.approx(voltage.low, abs=1e-9)
    assert voltage.asked + sum(row.high for row in voltage.rows) == pytest.approx(voltage.high, abs=1e-9)


def test_a_drop_to_the_cells_leaves_them_short_and_the_spread_adds_to_the_highest():
    voltage = highest_cell(8.4, "±0 %", v_lead=Toleranced(0.020, 0.010, 0.030), v_cell_spread=0.015)
    # 30 mV over two cells are 15 mV each; at best 10 mV are dropped, and the highest cell is 15 mV above the mean.
    assert voltage.low == pytest.approx(4.185)
    assert voltage.high == pytest.approx(4.210)


def test_the_margin_is_to_the_upper_limit_of_the_cell():
    assert highest_cell(8.4, "±0.5 %", v_cell_upper=4.25).margin == pytest.approx(0.029)

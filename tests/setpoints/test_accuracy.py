"""Errors of set-points (rows PV10 to PV13 of the project's outside values) and the relations behind them."""

import inspect
import re
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.relation import Relation
from chargewright.base.units import Toleranced, exact, parse_toleranced
from chargewright.setpoints import sensing
from chargewright.setpoints.accuracy import Sensing, accuracy_band, error_budget, error_rows, field_rows
from chargewright.setpoints.controller import Accuracy, Field, Linear
from chargewright.setpoints.quantities import QUANTITIES
from chargewright.setpoints.sensing import flowing_current, highest_cell_voltage, sensed_current, step_share

RELATIONS = [thing for thing in vars(sensing).values() if isinstance(thing, Relation)]


def around(value: float, share: float) -> Toleranced:
    return Toleranced(value, value * (1.0 - share), value * (1.0 + share))


def band(half: float) -> Toleranced:
    return Toleranced(0.0, -half, half)


@pytest.mark.parametrize("of", RELATIONS, ids=lambda of: of.name)
def test_a_relation_computes_what_its_printed_formula_says(of: Relation):
    # The formula of the docstring, evaluated by itself, at inputs inside every range.
    inputs = {name: 0.31 + 0.17 * index for index, name in enumerate(of.parameters)}
    if "series" in inputs:
        inputs["series"] = 3.0
    _, _, text = of.formula.partition(" = ")
    for printed, code in (("·", "*"), ("−", "-"), ("^", "**")):
        text = text.replace(printed, code)
    assert of(**inputs) == pytest.approx(eval(text, {"__builtins__": {}}, dict(inputs)), rel=1e-12)


@pytest.mark.parametrize("of", RELATIONS, ids=lambda of: of.name)
def test_a_relation_explains_units_validity_and_source(of: Relation):
    text = inspect.cleandoc(of.__doc__ or "")
    for name, unit in of.parameters.items():
        assert re.search(rf"^{name} *: [^\[]*\[{re.escape({'ohm': 'Ω'}.get(unit, unit))}\]", text, re.M), name
    assert re.search(rf"^returns [^\[]*\[{of.unit}\]", text, re.M)
    assert re.search(r"^Holds ", text, re.M)
    assert of.source


def test_another_resistor_than_configured_changes_the_current_by_the_ratio():
    # PV10: 10 mΩ configured, 5 mΩ fitted, 3 A asked: 6.000 A flow; the other way round 1.500 A (ratio; recomputed).
    assert flowing_current(3.0, 0.010, 0.005) == pytest.approx(6.0, rel=1e-12)
    assert flowing_current(3.0, 0.005, 0.010) == pytest.approx(1.5, rel=1e-12)


def test_the_sense_voltage_at_the_current_that_flows_is_what_the_code_asks_for():
    # Second road: the loop holds v_sense = r_fitted·i − v_offset at i_coded·r_configured.
    i = np.array([0.5, 3.0]), 0.01, 0.01, 1e-4, 0.0049
    flows = sensed_current(*i)
    assert 0.0049 * flows - 1e-4 == pytest.approx((i[0] + 0.01) * 0.01, rel=1e-12)


def test_least_step_halves_with_every_bit():
    assert step_share(9.0) / step_share(8.0) == 0.5
    assert 2.0**8 * step_share(8.0) == 1.0


def test_the_cells_of_a_string_add_up_to_what_the_charger_holds():
    # Second road: three cells, one 20 mV above the other two, so 13.33 mV above their mean; drop 90 mV.
    low = 4.15
    cells = np.array([low, low, low + 0.020])
    v_set = cells.sum() + 0.090
    assert highest_cell_voltage(v_set, 0.090, 3, cells.max() - cells.mean()) == pytest.approx(cells.max(), rel=1e-12)


@pytest.mark.parametrize(
    ("r", "sizes_mA", "rss_mA", "worst_mA"),
    [
        # PV11: 3.25 A, 10 mΩ of 1 %, offset 0.1 mV, gain 0.5 %, step 64 mA (GUM for the uniform law; recomputed).
        (0.010, {"sense resistor": 32.5, "amplifier offset": 10.0, "gain": 16.25, "step": 18.48}, 41.97, 90.75),
        # PV12: the same with 5 mΩ (recomputed).
        (0.005, {"sense resistor": 32.5, "amplifier offset": 20.0, "gain": 16.25, "step": 18.48}, 45.41, 100.75),
    ],
)
def test_a_current_budget_adds_up(r: float, sizes_mA: dict[str, float], rss_mA: float, worst_mA: float):
    # Tolerance 1e-3: the listed figures are rounded to four digits.
    rows = error_rows(
        value=3.25, step=0.064, gain=around(1.0, 0.005), resistor=around(r, 0.01), sense_offset=band(1e-4)
    )
    budget = error_budget(rows)
    assert {row.cause: row.deviation * 1e3 for row in rows} == pytest.approx(sizes_mA, rel=1e-3)
    assert budget.rss * 1e3 == pytest.approx(rss_mA, rel=1e-3)
    assert budget.worst * 1e3 == pytest.approx(worst_mA, rel=1e-3)


def test_rounding_counts_by_its_uniform_law():
    # PV13: q/√12 = 0.288675 q (GUM 4.3.7; from memory, recomputed). Second road: the scatter of 10 000 roundings.
    (row,) = error_rows(value=1.0, step=1.0)
    assert row.deviation == pytest.approx(0.288675, abs=1e-6)
    values = np.linspace(0.0, 100.0, 10_001)
    assert np.std(values - np.round(values)) == pytest.approx(row.deviation, rel=1e-3)


def current_field(accuracy: Accuracy) -> Field:
    scale = Linear(step=0.032, minimum=0.032, maximum=8.0)
    return Field(quantity=QUANTITIES["charge_current"], register=0x10, scale=scale, accuracy=accuracy)


ORDINARY = Accuracy(gain=around(1.0, 0.02), sense_offset=band(1e-4))


@given(st.floats(0.05, 8.0), st.floats(0.98, 1.02), st.floats(-1e-4, 1e-4), st.floats(0.0049, 0.0051), st.booleans())
def test_the_band_encloses_every_board(coded: float, gain: float, v_offset: float, r: float, same: bool):
    # Second road: one board, drawn anywhere inside the tolerances. 1e-9 is rounding.
    sensed = Sensing(r_configured=0.005 if same else 0.010, r_fitted=Toleranced(0.005, 0.0049, 0.0051))
    low_high = accuracy_band(current_field(ORDINARY), coded, sensed)
    flows = (coded * gain * sensed.r_configured + v_offset) / r
    assert low_high.low - 1e-9 <= flows <= low_high.high + 1e-9


def test_the_band_is_touched_at_its_ends():
    sensed = Sensing(r_configured=0.010, r_fitted=around(0.010, 0.01))
    low_high = accuracy_band(current_field(ORDINARY), 3.0, sensed)
    boards = [(3.0 * gain * 0.010 + v) / r for gain, v, r in product((0.98, 1.02), (-1e-4, 1e-4), (0.0099, 0.0101))]
    assert (low_high.low, low_high.high) == (pytest.approx(min(boards)), pytest.approx(max(boards)))


def test_the_budget_and_the_band_agree_to_first_order():
    sensed = Sensing(r_configured=0.010, r_fitted=around(0.010, 0.01))
    field = current_field(ORDINARY)
    low_high = accuracy_band(field, 3.0, sensed)
    rows = [row for row in field_rows(field, 3.0, sensed) if row.law == "limit"]
    # Products of two errors of 1 % and 2 % are left out of the rows: 3 A · (1 % · 3 % + …) is below 1.5 mA.
    assert error_budget(rows).high == pytest.approx(low_high.high - 3.0, abs=1.5e-3)
    assert error_budget(rows).low == pytest.approx(low_high.low - 3.0, abs=1.5e-3)


def test_offset_decides_at_small_currents():
    # 10 mΩ and 0.1 mV are 10 mA: 4 % of 250 mA but 20 % of 50 mA (arithmetic).
    sensed = Sensing(r_configured=0.010, r_fitted=exact(0.010))
    for i, share in ((0.250, 0.04), (0.050, 0.20)):
        low_high = accuracy_band(current_field(Accuracy(sense_offset=band(1e-4))), i, sensed)
        assert (low_high.high - i) / i == pytest.approx(share, rel=1e-9)


def test_accuracy_of_full_scale_does_not_shrink_with_the_value():
    # SBC 5.1.2, p. 11: +1 % / -9 % of the greatest voltage. At a 16.8 V charger set to 8.4 V: +168 mV, -1.512 V.
    accuracy = Accuracy(gain=parse_toleranced("1 V +1 % -9 %", "V"), of_full_scale=True, full_scale=16.8)
    scale = Linear(step=0.001, minimum=0.001, maximum=65.0)
    field = Field(quantity=QUANTITIES["charge_voltage"], register=0x15, scale=scale, accuracy=accuracy)
    low_high = accuracy_band(field, 8.4, None)
    assert (low_high.low, low_high.high) == (pytest.approx(8.4 - 1.512), pytest.approx(8.4 + 0.168))
    # Without a stated full scale the value itself counts: 84 mV.
    kind = replace(field, accuracy=replace(accuracy, full_scale=None))
    assert accuracy_band(kind, 8.4, None).high == pytest.approx(8.484)


def test_half_the_resistor_doubles_every_error_but_the_resistors_own():
    # Second road: the same code, the same amplifier and gain, half the resistor: each ampere on the scale becomes two.
    accuracy = Accuracy(
        gain=around(1.0, 0.02), of_full_scale=True, full_scale=8.0, offset=band(0.005), sense_offset=band(1e-4)
    )
    field = current_field(accuracy)
    same = field_rows(field, 1.5, Sensing(r_configured=0.010, r_fitted=around(0.010, 0.01)))
    half = field_rows(field, 1.5, Sensing(r_configured=0.010, r_fitted=around(0.005, 0.01)))
    assert [row.cause for row in same] == ["gain", "sense resistor", "amplifier offset", "offset", "step"]
    assert [row.size for row in half] == pytest.approx([2.0 * row.size for row in same])
    # 2 % of 8 A, 1 % of 1.5 A, 0.1 mV over 10 mΩ, 5 mA, half of 32 mA.
    assert [row.size for row in same] == pytest.approx([0.16, 0.015, 0.010, 0.005, 0.016])

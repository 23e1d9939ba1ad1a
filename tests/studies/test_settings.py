"""Set-points of a path on a controller: coded the safe way, and only what the controller has."""

import pytest

from chargewright.studies.settings import settings, source_limit_point


def coded(b):
    return settings(b.case, b.plan, b.build)


def point(found, quantity: str):
    return next(p for p in found.points if p.want.quantity == quantity)


def test_limits_are_rounded_down_and_the_source_is_spared(bench, twelve):
    # Arithmetic on the generic controller's steps: a limit is never coded above what was asked.
    found = coded(bench("direct", twelve))
    for quantity, asked in (("charge_voltage", 8.4), ("charge_current", 2.5), ("input_current", 0.97 * 3.25)):
        p = point(found, quantity)
        assert p.want.value == pytest.approx(asked)
        assert p.real <= asked + 1e-9, quantity
        assert asked - p.real < p.step, quantity  # and no lower than it has to be


def test_a_charge_voltage_between_two_codes_takes_the_lower(bench, twelve):
    # 2 · 4.15 V = 8.3 V between two steps of 8 mV: 8.3/0.008 = 1037.5, so code 1037, 8.296 V.
    found = coded(bench("direct", twelve.replace("capacity: 5 Ah", "capacity: 5 Ah\n  v_cell_max: 4.15 V")))
    p = point(found, "charge_voltage")
    assert (p.step, p.code) == (pytest.approx(0.008), 1037)
    assert p.real == pytest.approx(8.296)


def test_the_weakest_contract_sets_the_input_limit(bench, twelve):
    text = twelve.replace("pack:\n", "  - {name: car, kind: fixed, voltage: 15 V ±5 %, current: 2 A}\npack:\n")
    found = coded(bench("narrow-buck", text))
    assert point(found, "input_current").want.value == pytest.approx(0.97 * 2.0)
    assert "car" in point(found, "input_current").want.reason
    # The other contract's limit is coded the same way.
    other = source_limit_point(found, 0.97 * 3.25)
    assert other is not None
    assert 0.97 * 3.25 - other.step < other.real <= 0.97 * 3.25
    assert found.context.i_source_max == 2.0


def test_what_the_controller_lacks_is_listed_and_not_lost(bench, twelve):
    wanted = {"charge_voltage", "charge_current", "precharge_current", "termination_current", "input_current"}
    for controller in ("generic", "smart-battery-charger"):
        found = coded(bench("direct", twelve + f"controller: {controller}\n"))
        has = {p.want.quantity for p in found.points}
        lacks = {w.quantity for w in found.missing}
        assert wanted <= has | lacks
        assert not has & lacks
    # A smart-battery charger knows charge voltage and current, and no input limit (Smart Battery Charger 1.1, commands
    # 0x14 and 0x15; confirmed by look-up).
    assert {"charge_voltage", "charge_current"} <= has
    assert "input_current" in lacks
    assert source_limit_point(found, 3.0) is None


def test_the_highest_cell_follows_from_the_coded_voltage(bench, twelve):
    found = coded(bench("direct", twelve))
    assert found.cell is not None
    # By hand: the coded 8.4 V ± 0.5 % (the controller's accuracy) over two cells is 4.179 V to 4.221 V.
    assert found.cell.low <= 4.179 + 1e-6
    assert found.cell.high >= 4.2 * 1.004
    assert found.full is not None


def test_leads_count_only_where_the_converter_senses(bench, twelve):
    at_cells = coded(bench("direct", twelve)).context.v_lead
    at_converter = coded(
        bench("direct", twelve.replace("capacity: 5 Ah", "capacity: 5 Ah\n  sensed_at: converter"))
    ).context.v_lead
    # 17 mohm of interconnect and protection (defaults) at 0.25 A of termination current: 4.25 mV.
    assert at_cells.typ == 0.0
    assert at_converter.typ == pytest.approx(17e-3 * 0.25)

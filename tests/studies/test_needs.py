"""From situation and path to contracts and bus: which offer a path asks for, and how wide its bus is."""

import pytest

from chargewright.parts.supply import worst_input_voltage
from chargewright.paths import shelf
from chargewright.studies.needs import can_pass_through, contract_for, demand, least_input, plan

USB = """\
name: Contracts
sources:
  - name: charger
    kind: usb-pd
    power: 65 W
    objects: [OBJECTS]
    cable: {resistance: 200 mohm, connectors: 50 mohm}
pack:
  cell: nmc-energy
  series: SERIES
  capacity: 5 Ah
system:
  load: 12 W
"""


def offered(case_of, objects: str, series: int = 2):
    return case_of(USB.replace("OBJECTS", objects).replace("SERIES", str(series)))


def contract(case, key: str) -> str:
    return contract_for(case, shelf.get(key), case.sources["charger"]).contract


def test_a_buck_takes_the_strongest_contract_that_can_fill_the_pack(case_of):
    # PB09 (derived from USB Power Delivery's −5 % and Type-C's 750 mV; recomputed): 9 V leaves 7.80 V, which is below
    # two full cells. 15 V leaves 13.50 V and can; it is weaker than 20 V, but 20 V is not offered.
    case = offered(case_of, '"5 V 3 A", "9 V 3 A", "15 V 1.5 A"')
    assert contract(case, "narrow-buck") == "15 V 1.5 A"
    # Four switches need not care: the strongest is the one at 9 V.
    assert contract(case, "narrow-buck-boost") == "9 V 3 A"


def test_of_equally_strong_contracts_the_one_nearest_to_the_pack_is_taken(case_of):
    # 45 W at 15 V or at 20 V: less to step down loses less (common practice).
    case = offered(case_of, '"5 V 3 A", "15 V 3 A", "20 V 2.25 A"')
    assert contract(case, "narrow-buck") == "15 V 3 A"


def test_where_no_contract_can_fill_the_pack_the_strongest_is_taken_and_judged(case_of):
    case = offered(case_of, '"5 V 3 A", "9 V 3 A"', series=3)
    assert contract(case, "direct") == "9 V 3 A"


def test_the_fill_limit_is_judged_with_a_worn_cable_and_a_low_source(case_of):
    # UP24 (recomputed from the standards' ±5 % and 750 mV): a 9 V 3 A contract leaves 7.80 V in the worst steady case.
    case = offered(case_of, '"5 V 3 A", "9 V 3 A"')
    nine = next(s for s in case.sources["charger"] if s.contract == "9 V 3 A")
    assert float(worst_input_voltage(nine, 3.0)) == pytest.approx(7.80, abs=1e-9)
    assert least_input(case, shelf.get("direct")) == pytest.approx(8.4 / 0.98)
    assert least_input(case, shelf.get("narrow-buck-boost")) == 0.0


def test_adjustable_ranges_are_left_out(case_of):
    # The study says so in `NOT_MODELLED`; a PPS range must not slip in as if it were fixed.
    text = USB.replace("OBJECTS", '"5 V 3 A", "3.3 V to 21 V 3.25 A", "15 V 1.5 A"').replace("SERIES", "2")
    case = case_of(text)
    assert any(s.adjustable for s in case.sources["charger"])
    assert contract(case, "narrow-buck-boost") == "15 V 1.5 A"


def test_the_direct_bus_reaches_the_source_and_the_narrow_one_ends_above_the_pack(case_of, twelve):
    # CP04, CP05 (common practice): 20 V on the adapter against 8.4 V and the floor kept above the pack.
    case = case_of(twelve)
    assert plan(case, shelf.get("direct")).v_bus_max == pytest.approx(21.0)  # 20 V + 5 %
    narrow = plan(case, shelf.get("narrow-buck"))
    assert narrow.v_bus_max == pytest.approx(8.4 + case.design.rules.floor_above_empty)
    # The rails pay for the bus they see: a higher rating behind a direct path.
    assert plan(case, shelf.get("direct")).rails[0].v_rating > narrow.rails[0].v_rating


def test_the_source_passes_through_only_near_the_bus_and_above_the_full_pack(case_of, twelve):
    through = shelf.get("narrow-through")
    near = case_of(twelve.replace("20 V ±5 %", "10 V ±5 %"))
    (supply,) = near.sources["adapter"]
    assert can_pass_through(near, through, supply)
    assert not can_pass_through(near, shelf.get("narrow-buck-boost"), supply)
    for voltage in ("20 V ±5 %", "8.5 V ±5 %"):
        case = case_of(twelve.replace("20 V ±5 %", voltage))
        assert not can_pass_through(case, through, case.sources["adapter"][0]), voltage
    ruled = case_of(twelve.replace("20 V ±5 %", "10 V ±5 %") + "rules: {bus_max: 10.2 V}\n")
    assert not can_pass_through(ruled, through, ruled.sources["adapter"][0])
    assert plan(near, through).v_bus_max == pytest.approx(10.5)


def test_the_demand_on_parts_covers_every_corner(case_of, twelve):
    case = case_of(twelve + "  peak: {power: 90 W, duration: 10 ms, duty: 5 %}\n")
    asked = demand(case, plan(case, shelf.get("direct-boost")))
    stage = asked.stage
    # Source edges: 21 V without load; 19 V less droop, worn cable and contacts at rated current.
    lowest = float(worst_input_voltage(case.sources["adapter"][0], 3.25))
    assert sorted(set(stage.corners.v_in[~stage.corners.reverse])) == pytest.approx([lowest, 21.0])
    assert {case.v_full, case.pack.v_precharge} <= set(stage.corners.v_out)
    assert stage.weights.sum() == pytest.approx(1.0)
    # The peak runs the stage backwards; 10 ms do not last, their mean heat does.
    backwards = stage.corners.reverse
    assert backwards.any()
    assert set(stage.corners.lasting[backwards]) == {True, False}
    assert asked.wires.v_source_max == pytest.approx(25.0)  # 125 % of 20 V, the adapter's fault voltage
    assert asked.wires.i_source == pytest.approx(0.97 * 3.25)  # the input limit, 3 % below rated

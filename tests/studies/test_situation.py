"""The situation: what is resolved from a design, and that whatever was filled in is said."""

import pytest

from chargewright.studies.situation import mode_power


def test_twelve_lines_leave_no_silent_guess(case_of, twelve):
    # What the file leaves out and the study needs: rails, modes, boot power, a day. Each is said with its number.
    said = case_of(twelve).assumptions
    for words in ("12 W", "one generic 3.3 V buck rail", "One mode", "need 6 W", "generic day"):
        assert any(words in sentence for sentence in said), (words, said)
    assert len(said) == 4


def test_a_design_that_says_everything_leaves_nothing_to_assume(case_of, twelve):
    text = twelve.replace(
        "  load: 12 W\n",
        """\
  rails:
    - {name: core, voltage: 3.3 V, power: 12 W, bus_max: 24 V}
  modes:
    - {name: work, power: 12 W}
  boot: 7 W
usage:
  - {mode: work, source: adapter, duration: 24 h}
""",
    )
    assert case_of(text).assumptions == ()


def test_the_generic_rail_lies_below_the_emptiest_pack(case_of, twelve):
    # A buck rail has to stay below its bus with headroom: 3.3 V where two cells may fall to 5 V, 5 V above 6 V.
    low = case_of(twelve)
    assert low.rails[0].voltage == 3.3
    assert low.pack.v_empty == pytest.approx(5.0)
    high = case_of(twelve.replace("capacity: 5 Ah", "capacity: 5 Ah\n  v_cell_min: 3 V"))
    assert high.rails[0].voltage == 5.0
    for case in (low, high):
        assert case.bus_min < case.pack.v_empty


def test_a_charge_current_beyond_the_cells_is_cut_and_said(case_of, twelve):
    fast = case_of(twelve + "charge: {current: 5 C}\n")
    allowed = fast.pack.cell.limits.rate_charge * fast.pack.capacity
    assert fast.i_charge < 25.0
    assert fast.i_charge <= allowed
    assert any("cut from 25 A" in sentence for sentence in fast.assumptions)
    slow = case_of(twelve)
    assert slow.i_charge == pytest.approx(2.5)  # the default of 0.5 C of 5 Ah
    assert not any("cut from" in sentence for sentence in slow.assumptions)


RAILS = """\
  rails:
    - {name: core, voltage: 3.3 V, power: 2 W, bus_max: 26 V}
    - {name: ports, voltage: 5 V, power: 5 W, bus_min: 5.6 V}
    - {name: audio, voltage: 9 V, power: 5 W, regulator: boost, bus_min: 4 V, bus_max: 22 V}
"""


def test_the_bus_has_to_suit_the_most_demanding_rail(case_of, twelve):
    # The highest floor and the lowest ceiling rule; a buck without a stated floor needs its voltage and the headroom.
    text = twelve.replace("  load: 12 W\n", RAILS)
    case = case_of(text)
    assert (case.bus_min, case.bus_max) == (5.6, 22.0)
    no_floor = case_of(text.replace(", bus_min: 5.6 V", ""))
    assert no_floor.bus_min == pytest.approx(5.0 + no_floor.design.rules.headroom)
    ruled = case_of(text + "rules: {bus_min: 6.1 V, bus_max: 21 V}\n")
    assert (ruled.bus_min, ruled.bus_max) == (6.1, 21.0)
    assert case_of(twelve).bus_max == float("inf")


def test_modes_peak_and_boot(case_of, twelve):
    text = twelve + "  modes: [{name: work, power: 9 W}, {name: rest, power: 2 W}]\n  standby: 30 mW\n"
    case = case_of(text)
    assert case.p_busy == 9.0
    assert case.p_peak == case.p_busy  # none stated
    assert case.p_boot == pytest.approx(6.0)  # half of the 12 W of all rails, and not above the busiest mode
    assert mode_power(case, "rest") == 2.0
    assert mode_power(case, "off") == 0.03
    assert case_of(text + "  peak: {power: 40 W, duration: 5 ms}\n").p_peak == 40.0


def test_currents_per_capacity_count_the_whole_pack(case_of, twelve):
    text = twelve.replace("series: 2", "series: 2\n  parallel: 3") + (
        "charge: {current: 0.5 C, precharge: 0.1 C, termination: 0.05 C}\n"
    )
    case = case_of(text)
    # 3 cells of 5 Ah: 15 Ah; 0.5, 0.1 and 0.05 of it an hour.
    assert (case.i_charge, case.i_precharge, case.i_termination) == pytest.approx((7.5, 1.5, 0.75))
    assert case.v_full == pytest.approx(8.4)

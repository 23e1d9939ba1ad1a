"""Who rules the current when, what ends a charge, and what is said about it."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.parts.cell import ChargeZone, ocv, r0
from chargewright.parts.pack import Pack, pack_charge_current
from chargewright.sim.charge import LIMITS, ChargeRun, run_charge
from chargewright.sim.charge_setup import ChargeSettings, CurrentTable, charge_settings, recharge_point
from chargewright.spec.fields import rate
from chargewright.spec.pack import ChargeSpec, ChargeStepSpec

ROOM = 298.15
Make = Callable[..., Pack]


def settings_of(pack: Pack, **keys: object) -> ChargeSettings:
    return replace(charge_settings(ChargeSpec(), pack), **keys)  # type: ignore[arg-type]


def charged(pack: Pack, *, settings: ChargeSettings | None = None, **keys: object) -> ChargeRun:
    given = {"soc_start": 0.0, "temp_ambient": ROOM} | keys
    return run_charge(pack, settings or settings_of(pack), **given)  # type: ignore[arg-type]


def ruling(run: ChargeRun) -> list[str]:
    """Return the limits in the order in which they took over."""
    codes = run.trace.limit
    return [LIMITS[code] for code in codes[np.concatenate([[True], np.diff(codes) != 0])]]


def test_phases_come_in_order_and_each_says_its_limit(make_pack: Make):
    run = charged(make_pack())
    assert ruling(run) == ["precharge", "charge current", "charge voltage", "done"]
    assert sum(run.seconds.values()) == pytest.approx(run.t_end)
    assert run.seconds["precharge"] == pytest.approx(run.t_precharge)
    assert run.seconds["precharge"] + run.seconds["charge current"] == pytest.approx(run.t_voltage)


def test_precharge_ends_at_its_threshold(make_pack: Make):
    # Threshold 3.0 V per cell, sensed at the cells under the precharge current (common practice CP08).
    pack = make_pack()
    run = charged(pack)
    at = int(np.searchsorted(run.trace.t, run.t_precharge))
    before = run.trace.v_pack[at] - run.trace.i[at] * pack.lead_resistance
    assert run.trace.i[at] == pytest.approx(0.5)
    assert before == pytest.approx(6.0, abs=1e-5)
    assert run.trace.i[at + 1] == pytest.approx(2.5)
    assert run.trace.t[at + 1] == run.trace.t[at]


def test_current_steps_fall_at_their_voltages(make_pack: Make):
    pack = make_pack()
    run = charged(pack, settings=settings_of(pack, i_charge=1.5, steps=((7.8, 3.0), (8.1, 2.0))))
    flowing = np.unique(np.round(run.trace.i[run.trace.limit == 1], 9))
    assert flowing.tolist() == [1.5, 2.0, 3.0]
    first_fall = int(np.argmax(run.trace.i[1:] < run.trace.i[:-1] - 0.5))
    assert run.trace.v_pack[first_fall] - 3.0 * pack.lead_resistance == pytest.approx(7.8, abs=1e-5)


def test_a_weak_source_rules_until_the_taper_needs_less(make_pack: Make):
    pack = make_pack()
    run = charged(pack, soc_start=0.2, available=lambda v: 9.0 / v)
    assert ruling(run) == ["source", "charge voltage", "done"]
    held = run.trace.limit == LIMITS.index("source")
    np.testing.assert_allclose(run.trace.i[held], 9.0 / run.trace.v_pack[held], rtol=1e-6)
    assert run.t_end > charged(pack, soc_start=0.2).t_end
    assert run.time_limited == run.seconds["source"]


def test_a_table_of_available_current_means_what_its_function_means(make_pack: Make):
    v = np.linspace(5.0, 9.0, 4001)
    by_table = charged(make_pack(), soc_start=0.2, available=CurrentTable(v_pack=v, i=9.0 / v))
    by_function = charged(make_pack(), soc_start=0.2, available=lambda v: 9.0 / v)
    # 1e-5: straight lines between the points of both.
    assert by_table.t_end == pytest.approx(by_function.t_end, rel=1e-5)


def test_a_source_that_gives_way_before_the_pack_is_full_starves_it(make_pack: Make):
    # Needs row 20: what looks like a charge folds back to nothing. The source gives no current above 8.1 V of pack.
    pack = make_pack(series=2)
    run = charged(pack, soc_start=0.3, available=lambda v: np.clip(4.0 * (8.1 - v), 0.0, 3.0))
    assert run.ended_by == "starved"
    assert "The source leaves no current for the pack at 8.1 V" in run.cause
    assert run.trace.soc[-1] < 0.9


def test_a_load_above_the_source_s_limit_leaves_nothing_from_the_start(make_pack: Make):
    run = charged(make_pack(), soc_start=0.5, available=lambda v: -1.0 + 0.0 * v)
    assert (run.ended_by, run.t_end, run.charge) == ("starved", 0.0, 0.0)


def test_the_safety_timer_is_said_with_what_held_the_charge_back(make_pack: Make):
    # Needs row 18: the timer expires because the source cut the charge.
    run = charged(make_pack(), soc_start=0.1, available=lambda v: 3.0 / v)
    assert run.ended_by == "timer"
    assert run.t_end == pytest.approx(36000.0, abs=1e-5)
    assert "The safety timer of 10 h 00 min ran out" in run.cause
    assert "For 100 % of the time the source held the current back" in run.cause


def test_the_precharge_timer_ends_a_pack_that_does_not_rise(make_pack: Make):
    pack = make_pack()
    run = charged(pack, settings=settings_of(pack, i_precharge=0.05, precharge_timer=600.0))
    assert run.ended_by == "timer"
    assert run.t_end == pytest.approx(600.0, abs=1e-5)
    assert "below 6 V" in run.cause
    assert run.t_precharge is None


def test_a_full_pack_is_done_at_once(make_pack: Make):
    run = charged(make_pack(), soc_start=1.0)
    assert (run.ended_by, run.t_end) == ("termination", 0.0)
    assert "is full" in run.cause


def test_a_cold_pack_is_never_charged(make_pack: Make):
    # Never charge below the cold limit: plating is invisible and later.
    run = charged(make_pack(), temp_ambient=268.15)
    assert (run.ended_by, run.charge) == ("cold", 0.0)
    assert "below 0 °C" in run.cause


@pytest.mark.parametrize("cell", ["nmc-energy", "nmc-power", "lfp", "lco"])
def test_a_charge_may_start_at_the_cold_edge_itself(make_pack: Make, cell: str):
    # By hand: the zones reach from 0 °C, so 0 °C is inside; hysteresis is for coming back. An empty cell cools a little
    # as it is charged, which must not end the charge; the audit names the band.
    run = charged(make_pack(cell=cell, spread_capacity=0.0), temp_ambient=273.15)
    assert run.ended_by == "termination"
    assert run.trace.temp.min() >= 273.15 - 0.5
    (row,) = (row for row in run.audit if row.what == "coldest cell while charging")
    assert row.ok
    assert "0.5 K" in row.note
    assert all(row.ok for row in run.audit if row.what == "charge current")


def test_below_the_band_the_charge_stops(make_pack: Make):
    # A room that cools the cells from 1 °C to below the edge: nothing flows below −0.5 °C, and the cause is said.
    run = charged(make_pack(), soc_start=0.5, temp_start=274.15, temp_ambient=271.15, thermal_resistance=1.0)
    assert run.ended_by == "cold"
    assert run.trace.temp[run.trace.i > 0.0].min() >= 273.15 - 0.5 - 1e-4


def test_a_cold_pack_in_a_warm_room_waits_and_then_charges_slowly_and_then_faster(make_pack: Make):
    pack = make_pack(i_discharge_max=rate(1.0))
    run = charged(pack, soc_start=0.3, temp_start=263.15)
    assert ruling(run) == ["temperature", "charge current", "charge voltage", "done"]
    warming = run.trace.limit == LIMITS.index("temperature")
    # 2 K of hysteresis on the way up: nothing until 2 °C, 0.2 C until 12 °C.
    assert run.trace.i[warming & (run.trace.temp < 275.15 - 1e-6)].max() == 0.0
    assert run.trace.i[warming & (run.trace.temp > 275.15 + 1e-6)].max() == pytest.approx(1.0)
    assert run.trace.temp[run.trace.limit == 1].min() == pytest.approx(285.15, abs=1e-4)


def test_a_pack_that_heats_past_its_limit_pauses_and_goes_on(make_pack: Make):
    # Needs row 28: a limit without hysteresis would flap for ever. Poor cooling, 40 °C around.
    pack = make_pack()
    run = charged(pack, soc_start=0.3, temp_ambient=313.15, thermal_resistance=35.0)
    assert run.pauses > 2
    assert run.ended_by == "termination"
    stopped = (run.trace.limit == LIMITS.index("temperature")) & (run.trace.i == 0.0)
    assert run.trace.temp.max() == pytest.approx(318.15, abs=1e-3)
    assert run.trace.temp[stopped].min() == pytest.approx(316.15, abs=1e-3)
    assert run.time_limited == pytest.approx(run.seconds["temperature"])


def test_more_hysteresis_pauses_less_often(make_pack: Make):
    pack = make_pack()
    counts = [
        charged(
            pack,
            settings=settings_of(pack, zone_hysteresis=k),
            soc_start=0.3,
            temp_ambient=313.15,
            thermal_resistance=35.0,
        ).pauses
        for k in (0.5, 2.0, 4.0)
    ]
    assert counts[0] > counts[1] > counts[2] > 0


def test_a_hot_room_ends_the_charge(make_pack: Make):
    run = charged(make_pack(), temp_ambient=320.15)
    assert run.ended_by == "hot"
    assert "above 45 °C" in run.cause


def test_a_zone_of_less_voltage_lowers_the_charge_voltage(make_pack: Make):
    pack = make_pack()
    zones = (ChargeZone(temp_low=273.15, temp_high=333.15, rate=1.0 / 3600.0, v_max=4.1),)
    lowered = replace(pack, cell=replace(pack.cell, limits=replace(pack.cell.limits, zones=zones)))
    run = charged(lowered)
    at_voltage = run.trace.limit == LIMITS.index("charge voltage")
    sensed = run.trace.v_pack[at_voltage] - run.trace.i[at_voltage] * pack.lead_resistance
    np.testing.assert_allclose(sensed, 8.2, atol=1e-6)


def test_current_never_passes_the_zone_of_the_temperature(make_pack: Make):
    pack = make_pack()
    run = charged(pack, settings=settings_of(pack, i_charge=6.0), temp_start=274.15, temp_ambient=303.15, soc_start=0.1)
    # At the edge itself the row before the change still carries the zone just left.
    allowed = np.maximum(*(pack_charge_current(pack, run.trace.temp + d) for d in (-1e-3, 1e-3)))
    assert np.all(run.trace.i <= allowed * (1.0 + 1e-12))
    assert "temperature" in ruling(run)


def test_the_highest_cell_stands_above_the_mean_and_the_sum_is_kept(make_pack: Make):
    pack = make_pack(series=4, spread_capacity=0.03)
    run = charged(pack)
    cells_mean = (run.trace.v_pack - run.trace.i * pack.lead_resistance) / 4.0
    assert np.all(run.trace.v_cell_highest[1:] > cells_mean[1:])
    assert cells_mean.max() == pytest.approx(4.2, abs=1e-6)
    even = charged(make_pack(series=4, spread_capacity=0.0, spread_resistance=0.0))
    np.testing.assert_allclose(
        even.trace.v_cell_highest, (even.trace.v_pack - even.trace.i * pack.lead_resistance) / 4.0, atol=1e-9
    )


def test_an_unbalanced_lfp_pack_lifts_one_cell_far_above_the_others(make_pack: Make):
    # Needs row 41: the pack's voltage looks fine. By hand: while the others rest on the flat part, below 3.35 V, the
    # one cell carries what is missing to 7.2 V.
    run = charged(make_pack(cell="lfp", spread_capacity=0.02))
    rows = {row.what: row for row in run.audit}
    assert not rows["highest cell voltage"].ok
    assert 3.65 < run.trace.v_cell_highest.max() < 7.2 - 3.3
    assert run.trace.v_pack.max() == pytest.approx(7.2, abs=0.02)


def test_a_cell_that_runs_far_ahead_ends_the_charge(make_pack: Make):
    # By hand: 4S, 40 % spread: the one holds 70 % of the mean, so it is at 105 % when the pack is at 73.5 %.
    run = charged(make_pack(series=4, spread_capacity=0.4))
    assert run.ended_by == "overfull"
    assert run.trace.soc[-1] == pytest.approx(0.735, abs=1e-6)
    assert "highest cell passed 105%" in run.cause


def test_the_audit_holds_every_limit_that_the_charge_touches(make_pack: Make):
    run = charged(make_pack(spread_capacity=0.0))
    assert [row.what for row in run.audit] == [
        "highest cell voltage",
        "highest cell voltage, tolerance included",
        "charge current",
        "charge current, tolerance included",
        "hottest cell while charging",
        "coldest cell while charging",
        "current below the precharge threshold",
    ]
    assert all(row.ok for row in run.audit)


@pytest.mark.parametrize(
    ("keys", "what"),
    [
        ({"v_set": 8.55}, "highest cell voltage"),
        ({"v_error": 0.02}, "highest cell voltage, tolerance included"),
        ({"i_charge": 3.5, "i_error": 0.03}, "charge current, tolerance included"),
        ({"i_precharge": 1.0}, "current below the precharge threshold"),
    ],
)
def test_the_audit_fails_what_passes_a_limit(make_pack: Make, keys: dict[str, float], what: str):
    pack = make_pack()
    zones = tuple(replace(zone, v_max=5.0) for zone in pack.cell.limits.zones)
    pack = replace(pack, cell=replace(pack.cell, limits=replace(pack.cell.limits, zones=zones)))
    rows = {row.what: row for row in charged(pack, settings=settings_of(pack, **keys)).audit}
    assert not rows[what].ok
    assert rows[what].value > rows[what].limit


def test_a_held_resistance_table_is_a_finding(make_pack: Make):
    run = charged(make_pack(), temp_start=253.15)
    assert [finding.check for finding in run.findings] == ["cell-table-temperature"]


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"i_termination": 3.0}, "must be above zero and below charge.current"),
        ({"i_termination": 0.0}, "must be above zero"),
        ({"v_set": 5.5}, "must rise in this order"),
        ({"steps": ((9.0, 1.0),)}, "must rise in this order"),
        ({"v_set": 9.0}, "is above every rest voltage"),
    ],
)
def test_settings_that_contradict_each_other_are_refused(make_pack: Make, keys: dict[str, object], says: str):
    pack = make_pack()
    with pytest.raises(OutOfRange) as told:
        charged(pack, settings=settings_of(pack, **keys))
    assert says in str(told.value)


@pytest.mark.parametrize(
    ("available", "says"),
    [
        (CurrentTable(v_pack=np.array([7.0, 9.0]), i=np.ones(2)), "this charge needs 4.98 V to 8.463"),
        (CurrentTable(v_pack=np.array([9.0, 4.0]), i=np.ones(2)), "needs rising pack voltages"),
        (CurrentTable(v_pack=np.array([4.0, 9.0]), i=np.array([1.0, np.nan])), "a finite current"),
        (lambda v: np.full(v.shape, np.inf), "a finite current"),
    ],
)
def test_an_available_current_that_says_too_little_is_refused(make_pack: Make, available: object, says: str):
    with pytest.raises(OutOfRange) as told:
        charged(make_pack(), available=available)
    assert says in str(told.value)


def test_a_start_outside_the_cell_is_refused(make_pack: Make):
    with pytest.raises(OutOfRange, match="starts between 0 % and 100 %"):
        charged(make_pack(), soc_start=1.1)


@pytest.mark.slow  # compiling takes several seconds
def test_limits_that_chase_each_other_end_in_words(make_pack: Make):
    # Hysteresis of next to nothing on a pack that heats against its limit: pauses without number.
    pack = make_pack()
    with pytest.raises(NoSolution, match="changes its limit without end"):
        charged(
            pack,
            settings=settings_of(pack, zone_hysteresis=1e-9),
            soc_start=0.3,
            temp_ambient=313.15,
            thermal_resistance=35.0,
            engine="compiled",
        )


def test_a_flat_pack_is_woken_up_before_precharge(make_pack: Make):
    pack = make_pack()
    run = charged(pack, settings=settings_of(pack, wake=(5.6, 0.1, 7200.0)))
    low = run.trace.limit == LIMITS.index("precharge")
    assert sorted(set(np.round(run.trace.i[low], 9))) == [0.1, 0.5]
    rises = int(np.argmax(run.trace.i > 0.3))
    assert run.trace.v_pack[rises - 1] - 0.1 * pack.lead_resistance == pytest.approx(5.6, abs=1e-5)
    assert run.ended_by == "termination"


def test_a_pack_that_does_not_rise_is_refused(make_pack: Make):
    # A trickle of 0.1 A for a minute moves a flat 5 Ah cell by 0.03 %: it cannot rise.
    pack = make_pack()
    run = charged(pack, settings=settings_of(pack, wake=(5.6, 0.1, 60.0)))
    assert (run.ended_by, run.t_end) == ("refused", pytest.approx(60.0, abs=1e-5))
    assert "does not rise above 5.6 V within" in run.cause
    assert run.t_precharge is None


@pytest.mark.parametrize(("rule", "speed"), [("runs", 1.0), ("half", 0.5), ("pauses", 0.0)])
def test_timers_follow_their_rule_while_the_source_limits(make_pack: Make, rule: str, speed: float):
    # By hand: the timer shows the time of all other limits and `speed` times that of the source.
    pack = make_pack()
    spec = ChargeSpec(timer_rule=rule)  # type: ignore[arg-type]
    run = charged(pack, settings=charge_settings(spec, pack), soc_start=0.2, available=lambda v: 9.0 / v)
    assert run.ended_by == "termination"
    assert run.seconds["source"] > 3600.0
    assert run.t_timer == pytest.approx(run.t_end - (1.0 - speed) * run.seconds["source"], rel=1e-9)


def test_a_paused_timer_lets_a_weak_source_finish(make_pack: Make):
    # Needs row 18: the same source runs out of time where the timer runs on.
    pack = make_pack()
    ends = {
        rule: charged(
            pack,
            settings=charge_settings(ChargeSpec(timer_rule=rule), pack),  # type: ignore[arg-type]
            soc_start=0.1,
            available=lambda v: 3.0 / v,
        ).ended_by
        for rule in ("runs", "pauses")
    }
    assert ends == {"runs": "timer", "pauses": "termination"}


def test_half_speed_doubles_the_time_until_the_timer_ends_the_charge(make_pack: Make):
    pack = make_pack()
    run = charged(
        pack, settings=settings_of(pack, timer=3600.0, timer_speed=0.5), soc_start=0.1, available=lambda v: 3.0 / v
    )
    assert run.ended_by == "timer"
    assert run.t_end == pytest.approx(7200.0, abs=1e-4)


def test_steps_of_the_design_file_are_steps_of_the_charge(make_pack: Make):
    pack = make_pack()
    steps = (ChargeStepSpec(until=3.9, current=rate(0.6)), ChargeStepSpec(until=4.05, current=rate(0.4)))
    run = charged(pack, settings=charge_settings(ChargeSpec(current=rate(0.3), steps=steps), pack))
    assert np.unique(np.round(run.trace.i[run.trace.limit == 1], 9)).tolist() == [1.5, 2.0, 3.0]


def test_recharge_starts_where_the_rest_voltage_has_fallen(make_pack: Make):
    # Second road: the cell rests there at that voltage.
    pack = make_pack()
    v, soc = recharge_point(ChargeSpec(recharge_drop=0.1), pack, ROOM)
    assert v == pytest.approx(8.2)
    assert 2.0 * ocv(pack.cell, soc, ROOM) == pytest.approx(8.2, abs=1e-9)


def test_self_discharge_leaves_one_cell_ahead(make_pack: Make):
    # By hand: 2S, 2 % apart: the one is 1 % ahead of the mean, so it starts at 51 %.
    pack = make_pack(spread_capacity=0.0, spread_resistance=0.0, spread_soc=0.02)
    run = charged(pack, soc_start=0.5)
    start = run.trace.i[0] * r0(pack.cell, 0.51, ROOM, True) + ocv(pack.cell, 0.51, ROOM)
    assert run.trace.v_cell_highest[0] == pytest.approx(start, rel=1e-6)
    assert abs(run.unaccounted) < 1e-6 * run.energy_in


def test_balancing_brings_the_highest_cell_down(make_pack: Make):
    # By hand: what is taken is the current times the time above the voltage; energy stays accounted for.
    keys = {"series": 4, "spread_capacity": 0.03, "spread_resistance": 0.0}
    without = charged(make_pack(**keys), soc_start=0.5)
    pack = make_pack(**keys, balance_current=0.05, balance_from=4.0)
    run = charged(pack, soc_start=0.5)
    assert run.trace.v_cell_highest.max() < without.trace.v_cell_highest.max() - 5e-3
    assert abs(run.unaccounted) < 1e-6 * run.energy_in
    above = run.trace.v_cell_highest >= 4.0
    seconds = run.t_end - run.trace.t[int(np.argmax(above))]
    # It stays above the others throughout; the cell rests between 4.0 and 4.2 V while it is bled.
    assert np.all(run.trace.v_cell_highest > run.trace.v_cell_lowest)
    assert run.heat_balancing == pytest.approx(0.05 * seconds * 4.1, rel=0.03)
    assert without.heat_balancing == 0.0


def test_highest_and_lowest_cells_make_up_the_pack(make_pack: Make):
    pack = make_pack(series=3, spread_capacity=0.02)
    run = charged(pack, soc_start=0.3)
    cells = run.trace.v_pack - run.trace.i * pack.lead_resistance
    np.testing.assert_allclose(run.trace.v_cell_highest + 2.0 * run.trace.v_cell_lowest, cells, rtol=1e-12)
    assert np.all(run.trace.v_cell_lowest <= run.trace.v_cell_highest)


def test_a_cell_with_hysteresis_is_charged_along_its_upper_branch(make_pack: Make):
    # By hand: the branch lies 20 mV above the mean, and so does the voltage under the same current.
    pack = make_pack(series=1)
    lifted = replace(pack.cell, ocv_charge=pack.cell.ocv + 0.02, ocv_discharge=pack.cell.ocv - 0.02)
    plain, hysteretic = (
        charged(replace(pack, cell=cell), soc_start=0.3, settings=settings_of(pack, timer=600.0))
        for cell in (pack.cell, lifted)
    )
    assert hysteretic.trace.v_pack[0] - plain.trace.v_pack[0] == pytest.approx(0.02, abs=1e-9)
    assert abs(hysteretic.unaccounted) < 1e-6 * hysteretic.energy_in


def test_a_source_that_leaps_does_not_lift_the_current_above_its_stage(make_pack: Make):
    # What is left over leaps from 2 A to 9 A within 10 mV; the stage allows 3 A, at every instant.
    def leap(v: np.ndarray) -> np.ndarray:
        return np.where(v < 7.6, 2.0, 9.0)

    run = charged(make_pack(), settings=settings_of(make_pack(), i_charge=3.0), soc_start=0.2, available=leap)
    assert run.ended_by == "termination"
    assert run.seconds["source"] > 0.0
    assert run.trace.i.max() <= 3.0 * (1.0 + 1e-9)

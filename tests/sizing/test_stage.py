"""Running many stages at once: the solver's stage with the solver's roles, and the rules on its waveform."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from chargewright.network.hardware import COPPER_TEMP_CO
from chargewright.network.solve import Conditions, solve
from chargewright.network.stage import CoilAt, SwitchAt
from chargewright.network.sweep import StageDesign, design_rows
from chargewright.parts.catalogue import Parts
from chargewright.parts.regulator import generic_regulator
from chargewright.paths import shelf
from chargewright.physics.conduction import resistance_at
from chargewright.physics.waveform import two_slope_ripple
from chargewright.sizing.build import coil_at_25, hardware_of
from chargewright.sizing.demand import Demand, Points
from chargewright.sizing.stage_rules import ON_TIME_LEAST, coil_rulings
from chargewright.sizing.tables import Choice, Tables, heating_of, merged, rows_of, run, tables
from chargewright.spec.system import RailSpec


def choice_of(t: Tables, parts: Parts, names: tuple[str, ...], coil: str, f_sw: int = 0) -> Choice:
    """One set by name; an absent leg is the last row of the table."""
    switches = [str(n) for n in parts.switches.column("name")]
    coils = [str(n) for n in parts.inductors.column("name")]
    places = [switches.index(n) for n in names] + [len(switches)] * (4 - len(names))
    return Choice(
        places=np.array([places]), coil=np.array([coils.index(coil)]), f_sw=np.array([f_sw]), esr=np.zeros((1, 2))
    )


def one_point(v_in: float, v_out: float, i_out: float, reverse: bool = False) -> Points:
    return Points(
        v_in=np.array([v_in]),
        v_out=np.array([v_out]),
        i_out=np.array([i_out]),
        reverse=np.array([reverse]),
        lasting=np.array([True]),
    )


@pytest.mark.parametrize(
    ("path_key", "state_key", "which"),
    [
        ("direct", "charging", "both ways"),
        ("direct-boost", "supplement", "both ways"),
        ("narrow-buck-boost", "charging", "four switches"),
    ],
)
def test_a_run_loses_what_the_solver_loses_at_the_same_voltages_and_temperatures(
    path_key: str, state_key: Any, which: str, demands: dict[str, Demand], sized: Any, every_part: Parts
):
    # Second road: the network solver, with its own roles of the legs and its own way to the coil current. Both go
    # through `stage_point`; the solver's fixed point of the coil current is converged, ours has three passes: 1e-4.
    demand, build = demands[which], sized(which).build
    path = shelf.get(path_key)
    rail = generic_regulator(RailSpec(name="load", voltage=5.0, power=20.0), 21.0, 0.8, 0.3)
    found = solve(
        path,
        path.state(state_key),
        hardware_of(build, (rail,), demand.rules, 10.0),
        Conditions(
            e_source=15.0 if which == "four switches" else 20.0,
            r_source=0.02,
            r_cable=0.05,
            e_cells=11.0,
            r_pack=0.05,
            p_load=60.0 if state_key == "supplement" else 15.0,
            i_source=2.0,
            i_pack=1.5,
            temp_ambient=298.15,
        ),
    )
    assert found.ok.all()
    t = tables(demand, every_part)
    names = tuple(s.name for s in (build.a_high, build.a_low, build.b_low, build.b_high) if s is not None)
    choice = choice_of(t, every_part, names, build.coil.name, demand.f_sw.index(build.f_sw))
    esr = [bank.part.esr / bank.count for bank in (build.bank_a, build.bank_b)]
    choice = replace(choice, esr=np.array([esr]))
    temps = [float(found.temp.get(k, np.array([298.15]))[0]) for k in ("a_high", "a_low", "b_low", "b_high")]
    rows = rows_of(t, choice, np.array([temps]), float(found.temp["coil"][0]))
    v_a, v_b = (float(found.v[node][0]) for node in (path.stage.a, path.stage.b))
    back = state_key == "supplement"
    at = one_point(v_b, v_a, -float(found.i_a[0]), True) if back else one_point(v_a, v_b, float(found.i_b[0]))
    ours = run(rows, at)
    assert ours.total[0, 0] == pytest.approx(float(found.p_stage[0]), rel=1e-4)
    assert ours.i_l[0, 0] > 0.0
    assert ours.heat().sum() < ours.total[0, 0]


def test_rows_are_the_sweep_s_design_rows(demands: dict[str, Demand], every_part: Parts):
    t = tables(demands["four switches"], every_part)
    names = ("SW 20V 4.5mohm A", "SW 30V 12mohm A", "SW 20V 6.6mohm B", "SW 40V 12mohm B")
    choice = choice_of(t, every_part, names, "IND 4.7uH 8mm ferrite", 1)
    switches = []
    for name in names:
        part = every_part.switches.named(name)
        r_on = resistance_at(part.r_on_25, part.r_on_temp_co, 350.0)
        switches.append(
            SwitchAt(
                r_on,
                part.q_gate,
                part.q_sw,
                part.v_plateau,
                part.r_gate + 2.0,
                part.c_oss_energy,
                part.q_rr,
                part.t_rr,
                part.v_f,
            )
        )
    coil: CoilAt = coil_at_25(every_part.inductors.named("IND 4.7uH 8mm ferrite"))
    coil = coil._replace(r_dc=resistance_at(coil.r_dc, COPPER_TEMP_CO, 360.0))
    design = StageDesign(*switches, coil, t.setting._replace(f_sw=8e5))
    assert rows_of(t, choice, 350.0, 360.0) == pytest.approx(design_rows(design), rel=1e-12)


def test_the_ripple_rule_is_the_book_s_ripple_at_the_low_inductance(demands: dict[str, Demand], every_part: Parts):
    # Erickson & Maksimovic, Fundamentals of Power Electronics, 2nd ed., ch. 2.2: two slopes that fill the period.
    # 6.8 uH less 20 %, 400 kHz, 21 V to 8.4 V: the drops of switches and winding are below 3 % of the voltages, and
    # the inductor has lost 1.4 % at 2.5 A, so 4 % covers both.
    demand = demands["buck"]
    t = tables(demand, every_part)
    choice = choice_of(t, every_part, ("SW 30V 4.8mohm A", "SW 30V 4.8mohm A"), "IND 6.8uH 8mm composite")
    found = run(rows_of(t, choice, 330.0, 330.0, worst_coil=True), demand.stage.corners)
    ripple = coil_rulings(t, choice, found, every_part, demand)[0]
    assert ripple.value[0] == pytest.approx(two_slope_ripple(21.0 - 8.4, 8.4, 0.8 * 6.8e-6, 4e5), rel=0.04)
    assert ripple.limit[0] == pytest.approx(0.45 * 2.5)
    corners = demand.stage.corners
    assert (corners.v_in[ripple.corner[0]], corners.v_out[ripple.corner[0]]) == (21.0, 8.4)


def test_saturation_is_judged_hot_for_ferrite_and_with_the_peak(demands: dict[str, Demand], every_part: Parts):
    demand = demands["buck"]
    t = tables(demand, every_part)
    for coil, hot in (("IND 10uH 8mm ferrite", 0.8), ("IND 10uH 8mm composite", 1.0)):
        choice = choice_of(t, every_part, ("SW 30V 4.8mohm A", "SW 30V 4.8mohm A"), coil)
        found = run(rows_of(t, choice, 330.0, 330.0, worst_coil=True), demand.stage.corners)
        ruling = coil_rulings(t, choice, found, every_part, demand)[1]
        assert ruling.limit[0] == pytest.approx(0.9 * hot * every_part.inductors.named(coil).i_sat)
        # Mean plus half the ripple, with the ripple of the same corner.
        at = ruling.corner[0]
        assert ruling.value[0] == pytest.approx(2.5 + 0.5 * found.wave.di_pp[0, at], rel=1e-9)


def test_duty_and_on_time_are_those_of_the_leg_that_switches(demands: dict[str, Demand], every_part: Parts):
    demand = demands["buck"]
    t = tables(demand, every_part)
    choice = choice_of(t, every_part, ("SW 30V 4.8mohm A", "SW 30V 4.8mohm A"), "IND 10uH 8mm ferrite", 1)
    found = run(rows_of(t, choice, 330.0, 330.0, worst_coil=True), demand.stage.corners)
    by_name = {r.rule: r for r in coil_rulings(t, choice, found, every_part, demand)}
    # Lossless 6/21 and 8.4/18.6; drops add up to 3 %.
    assert by_name["least duty"].value[0] == pytest.approx(6.0 / 21.0, rel=0.03)
    assert by_name["greatest duty"].value[0] == pytest.approx(8.4 / 18.6, rel=0.03)
    assert by_name["least on-time"].value[0] == pytest.approx(by_name["least duty"].value[0] / 8e5)
    assert by_name["least on-time"].limit[0] == ON_TIME_LEAST


def test_a_four_switch_stage_is_not_judged_by_its_duty_where_both_legs_switch(
    demands: dict[str, Demand], every_part: Parts
):
    demand = demands["four switches"]
    t = tables(demand, every_part)
    choice = choice_of(t, every_part, ("SW 20V 4.5mohm A",) * 4, "IND 6.8uH 8mm composite")
    near = one_point(12.0, 12.7, 2.0)
    found = run(rows_of(t, choice, 330.0, 330.0), near)
    assert 0.0 < found.wave.d_out[0, 0] < 0.1
    assert 0.95 < found.wave.d_in[0, 0] < 1.0
    rulings = {r.rule: r for r in coil_rulings(t, choice, found, every_part, demand)}
    assert rulings["greatest duty"].use[0] == 0.0
    assert rulings["least on-time"].value[0] == pytest.approx(found.wave.d_out[0, 0] / 4e5)


def test_merged_points_keep_the_weights_and_only_the_hottest_corners_warm():
    twice = Points(
        v_in=np.array([20.0, 20.0, 20.0, 20.0]),
        v_out=np.array([8.0, 8.0, 8.0, 8.0]),
        i_out=np.array([2.0, 2.0, 1.0, 3.0]),
        reverse=np.zeros(4, dtype=bool),
        lasting=np.array([True, True, True, False]),
    )
    once, weights = merged(twice, np.array([0.1, 0.2, 0.3, 0.4]))
    assert sorted(zip(once.i_out.tolist(), weights.tolist(), strict=True)) == [
        (1.0, pytest.approx(0.3)),
        (2.0, pytest.approx(0.3)),
        (3.0, pytest.approx(0.4)),
    ]
    # The 3 A point is brief, and 1 A at the same voltages is cooler than 2 A.
    assert once.i_out[heating_of(once)].tolist() == [2.0]

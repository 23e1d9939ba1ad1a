"""Circuits made from a path and its hardware: the network solver's own steady state is what they must settle at."""

from typing import Any

import numpy as np
import pytest

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.circuit.build import Control, SlewedStart, Surround, circuit_of
from chargewright.circuit.circuit import Circuit
from chargewright.circuit.control import Clamp, Loop
from chargewright.circuit.elements import i_of, v_node
from chargewright.circuit.measures import energies, window
from chargewright.circuit.run import run
from chargewright.circuit.steady import steady_state
from chargewright.network.hardware import Hardware, HotPart, StageParts, WireParts
from chargewright.network.solve import Conditions, Solution, solve
from chargewright.network.stage import CoilAt, Setting, SwitchAt
from chargewright.paths import shelf

SWITCH = SwitchAt(10e-3, 0.0, 0.0, 2.2, 3.0, 0.0, 0.0, 15e-9, 0.8)
PLACES = ("a_high", "a_low", "b_low", "b_high", "coil")
BANKS = Surround(c_a=40e-6, c_b=60e-6, l_cable=0.3e-6)


def hardware(four: bool) -> Hardware:
    # No charge and no core: what is left is what a circuit of resistances and diodes can lose.
    setting = Setting(0.0, 6e5, 10e-9, 5.0, 0.0, 0.92, 0.5, 0.0, 0.3, 3e-3, 2e-3)
    wires: dict[Any, WireParts] = {
        key: WireParts(r_25=r, temp_co=0.004, rth=20.0)
        for key, r in (("blocking-pair", 20e-3), ("sense-source", 10e-3), ("sense-charge", 10e-3),
                       ("battery-switch", 8e-3))
    }  # fmt: skip
    stage = StageParts(
        a_high=SWITCH,
        a_low=SWITCH,
        b_low=SWITCH if four else None,
        b_high=SWITCH if four else None,
        coil=CoilAt(3.3e-6, 12.0, 2.5, 15e-3, 0.0, 1e6, 0.0, 1.35, 2.3, 1e-7, 2e-4),
        setting=setting,
        hot={place: HotPart(temp_co=0.004, rth=20.0) for place in PLACES},
    )
    return Hardware(wires=wires, stage=stage, rails=(), r_board=10.0)


CASES = [
    ("narrow-buck", "charging", {"i_pack": 2.0}),
    ("narrow-buck-boost", "charging", {"i_pack": 2.0, "e_source": 9.0}),
    ("direct", "charging", {"i_pack": 4.0}),
    ("direct-boost", "supplement", {"i_source": 1.0, "p_load": 60.0}),
    ("direct-boost", "battery-boost", {"v_bus": 18.0}),
]


def built(path_key: str, state_key: Any, changes: dict[str, float], **more: Any) -> tuple[Circuit, Solution]:
    path = shelf.get(path_key)
    state = path.state(state_key)
    assert state is not None
    fields = {"e_source": 20.0, "r_source": 20e-3, "r_cable": 60e-3, "e_cells": 11.4, "r_pack": 90e-3, "p_load": 25.0}
    conditions = Conditions(**(fields | changes))
    parts = hardware(path.stage.legs == "four-switch")
    around = {"surround": BANKS} | more
    return circuit_of(path, state, parts, conditions, **around), solve(path, state, parts, conditions)


@pytest.mark.parametrize(("path", "state", "changes"), CASES)
def test_a_built_circuit_settles_where_the_network_solver_says(
    path: str, state: str, changes: dict[str, float]
) -> None:
    circuit, solution = built(path, state, changes)
    w = window(steady_state(circuit))
    # Open loop, an error of duty shows as current over a loop resistance of some 0.15 Ω: a few mV are 20 mA. The
    # solver's straight ramps and its load at a steady bus voltage leave that much.
    assert w.mean(i_of("r_pack")) == pytest.approx(float(solution.i["pack"][0]), abs=0.06)
    if "cable" in solution.i:
        assert w.mean(i_of("r_cable")) == pytest.approx(float(solution.i["cable"][0]), abs=0.06)
    for node, name in ((shelf.get(path).stage.a, "in"), (shelf.get(path).stage.b, "out")):
        assert w.mean(v_node(name)) == pytest.approx(float(solution.v[node][0]), rel=1e-3)
    parts = energies(w)
    assert abs(parts.unaccounted) <= 1e-9 * parts.turnover
    ours = sum(parts.losses[k] for k in parts.losses if k.startswith(("q_", "a_", "b_", "d_", "r_coil")))
    theirs = solution.losses
    conduction = (theirs.in_high_conduction + theirs.in_low_conduction + theirs.out_low_conduction
                  + theirs.out_high_conduction + theirs.in_dead_time + theirs.out_dead_time
                  + theirs.coil_winding)  # fmt: skip
    # Losses go with the square of a current that is a per cent or two off.
    assert ours == pytest.approx(float(conduction[0]), rel=0.06)


def test_a_state_without_the_stage_is_a_circuit_at_rest() -> None:
    circuit, solution = built("narrow-buck", "battery", {})
    assert circuit.switches == ()
    w = window(run(circuit, cycles=400), 390, 400)
    assert w.mean(i_of("r_pack")) == pytest.approx(float(solution.i["pack"][0]), rel=2e-3)


def test_a_loop_holds_the_pack_current_that_the_network_solver_holds() -> None:
    loop = Loop(name="cc", terms=((1.0, i_of("r_pack")),), reference=2.0, gain=0.1, gm=1e-4, r_z=2e3, c_z=10e-9,
                c_p=200e-12, start=0.58)  # fmt: skip
    control = Control(loops=(loop,), clamp=Clamp(low=0.02, high=0.95, margin=0.1, r=1e3))
    circuit, _ = built("narrow-buck", "charging", {"i_pack": 2.0}, control=control)
    w = window(steady_state(circuit, warm_up=300))
    # Definition: a loop that integrates ends at its reference.
    assert w.mean(i_of("r_pack")) == pytest.approx(2.0, rel=1e-6)


def test_a_coil_in_pieces_peaks_where_a_constant_one_is_even() -> None:
    path = shelf.get("narrow-buck")
    state = path.state("charging")
    assert state is not None
    conditions = Conditions(e_source=20.0, r_source=20e-3, r_cable=60e-3, e_cells=11.4, r_pack=90e-3, p_load=60.0,
                            i_pack=5.0)  # fmt: skip
    skew = []
    for pieces in (0, 12):
        surround = Surround(c_a=40e-6, c_b=60e-6, coil_pieces=pieces)
        w = window(steady_state(circuit_of(path, state, hardware(False), conditions, surround)))
        low, high = w.extremes(i_of("coil"))
        mean = w.mean(i_of("coil"))
        skew.append((high - mean) / (mean - low))
        assert abs(energies(w).unaccounted) <= 1e-9 * energies(w).turnover
    # Straight ramps are even about their mean; where the inductance falls with current the top is a peak.
    assert skew[0] == pytest.approx(1.0, rel=0.01)
    assert skew[1] > 1.03


def test_pairs_that_take_more_than_the_pack_has_are_refused() -> None:
    path = shelf.get("narrow-buck")
    state = path.state("charging")
    assert state is not None
    conditions = Conditions(e_source=20.0, r_cable=60e-3, e_cells=11.4, r_pack=90e-3, p_load=25.0, i_pack=2.0)
    surround = Surround(c_a=40e-6, c_b=60e-6, pairs=((0.1, 1.0),))
    with pytest.raises(OutOfRange, match="more than the pack's whole resistance"):
        circuit_of(path, state, hardware(False), conditions, surround)


def test_a_point_without_steady_state_and_many_points_are_refused() -> None:
    with pytest.raises(NoSolution, match="no steady state to start from"):
        built("narrow-buck", "charging", {"e_source": 9.0, "i_pack": 2.0})
    with pytest.raises(OutOfRange, match="of one condition; 2 were given"):
        built("narrow-buck", "charging", {"e_source": np.array([19.0, 20.0]), "i_pack": 2.0})  # type: ignore[dict-item]


def test_both_legs_of_four_switches_hold_the_pack_current_on_one_control_voltage() -> None:
    loop = Loop(name="cc", terms=((1.0, i_of("r_pack")),), reference=2.0, gain=0.1, gm=1e-4, r_z=2e3, c_z=10e-9,
                c_p=200e-12, start=0.9)  # fmt: skip
    control = Control(loops=(loop,), clamp=Clamp(low=0.02, high=1.6, margin=0.1, r=1e3), overlap=0.1)
    # 20 V and 9 V onto some 11.6 V: step-down, then step-up.
    for e_source, duty in ((20.0, 11.6 / 20.0), (9.0, 0.9 + 1.0 - 9.0 / 11.6)):
        circuit, _ = built("narrow-buck-boost", "charging", {"i_pack": 2.0, "e_source": e_source}, control=control)
        w = window(steady_state(circuit, warm_up=250))
        assert w.mean(i_of("r_pack")) == pytest.approx(2.0, rel=1e-6)
        # Ideal ratios; the cable takes 0.4 V of the 9 V.
        assert w.mean(v_node("control")) == pytest.approx(duty, rel=0.08)
    with pytest.raises(OutOfRange, match="two switches has one leg"):
        built("narrow-buck", "charging", {"i_pack": 2.0}, control=control)


@pytest.mark.parametrize(
    ("path", "state", "before"),
    [
        # The pack reaches the input through the high switch's body diode, or through the battery switch's.
        ("narrow-buck", "charging", 11.4 - 0.8),
        ("narrow-buck-boost", "charging", 0.0),
        ("direct", "source-only", 11.4 - 0.7),
    ],
)
def test_a_slewed_start_charges_the_input_at_its_slew_and_then_lets_the_stage_run(
    path: str, state: str, before: float
) -> None:
    slew = 40e3
    surround = Surround(c_a=40e-6, c_b=60e-6, l_cable=0.3e-6, start=SlewedStart(slew=slew, c_inlet=2e-6, threshold=1.0))
    parts = hardware(path == "narrow-buck-boost")
    parts.wires["battery-switch"] = WireParts(r_25=8e-3, v_diode=0.7)
    shelved = shelf.get(path)
    found = shelved.state(state)  # type: ignore[arg-type]
    assert found is not None
    conditions = Conditions(e_source=20.0, r_source=20e-3, r_cable=60e-3, e_cells=11.4, r_pack=90e-3, p_load=25.0,
                            i_pack=2.0 if state == "charging" else np.nan)  # fmt: skip
    circuit = circuit_of(shelved, found, parts, conditions, surround)
    solution = solve(shelved, found, parts, conditions)
    period = circuit.period
    result = run(circuit, t_end=2.5e-3)
    w = window(result)
    v, i = w.per_cycle(v_node("in")), w.per_cycle(i_of("blocking_pair"))
    assert v[2] == pytest.approx(before, abs=0.15)
    # While it slews, the source gives the capacitance times the slew: 40 µF · 40 V/ms = 1.6 A.
    ramp = (v > before + 1.0) & (v < 0.85 * v[-1]) & (np.arange(len(v)) < np.argmax(v > 0.88 * v[-1]))
    assert np.count_nonzero(ramp) > 60
    assert np.max(np.abs(i[ramp] - 40e-6 * slew)) < 0.03 * 40e-6 * slew
    assert np.polyfit(np.flatnonzero(ramp) * period, v[ramp], 1)[0] == pytest.approx(slew, rel=5e-3)
    # Then stage and load run; what is reached in the end is the network solver's own point.
    assert v[-1] == pytest.approx(float(solution.v[shelved.stage.a][0]), rel=2e-3)
    assert w.per_cycle(i_of("load"))[-1] > 0.5
    assert np.max(w.per_cycle(i_of("load"))[: int(np.argmax(ramp))]) < 1e-3
    assert abs(energies(w).unaccounted) <= 1e-6 * energies(w).turnover


def test_a_slewed_start_needs_a_closed_blocking_pair() -> None:
    surround = Surround(c_a=40e-6, c_b=60e-6, start=SlewedStart(slew=8e3, c_inlet=2e-6))
    with pytest.raises(OutOfRange, match="no closed blocking pair to start through"):
        built("narrow-buck", "battery", {}, surround=surround)

"""The periodic state: against long runs, and against the stage of the network solver, which does not switch at all."""

from collections.abc import Callable

import pytest

from chargewright.base.errors import NoSolution
from chargewright.circuit.circuit import Circuit, Gate
from chargewright.circuit.elements import Coil, Drain, Resistor, Source, i_of, v_node
from chargewright.circuit.measures import energies, window
from chargewright.circuit.run import run
from chargewright.circuit.stages import (
    Bank,
    CoilSide,
    SourceSide,
    SwitchSide,
    four_switch,
    load_current,
    source_at,
    two_switch,
)
from chargewright.circuit.steady import steady_state
from chargewright.network.stage import CoilAt, Setting, SwitchAt, stage_point

Gives = Callable[[str], Circuit]


@pytest.mark.parametrize(
    ("case", "cycles"), [("o01_buck_rload", 4_000), ("o04_buck_dcm", 8_000), ("o06_bb_transition", 200_000)]
)
def test_the_periodic_state_is_where_a_long_run_ends(case: str, cycles: int, circuit_like: Gives) -> None:
    # A pack's slow RC pair settles in milliseconds; 200,000 periods are hundreds of its time constants.
    circuit = circuit_like(case)
    period = steady_state(circuit)
    far = run(circuit, cycles=cycles) if cycles < 10_000 else None
    if far is not None:
        assert period.x[0] == pytest.approx(far.end.x, rel=1e-6, abs=1e-6)
    assert period.end.x == pytest.approx(period.x[0], rel=1e-8, abs=1e-8)
    parts = energies(window(period))
    assert abs(parts.unaccounted) <= 1e-9 * parts.turnover
    # One period that closes stores nothing.
    assert abs(parts.stored) <= 1e-6 * parts.turnover


def test_a_loop_settles_where_its_reference_says(charger_like: Gives) -> None:
    # Definition: a loop that integrates ends at its reference, 4 A.
    w = window(steady_state(charger_like("o07_cccv"), warm_up=1500))
    assert w.mean(i_of("r_pack")) == pytest.approx(4.0, rel=2e-3)


T_DEAD, F_SW = 5e-9, 600e3
"""The network's stage spreads the drop of the diodes over an interval; a short dead time keeps that small."""
R_ON = {"ih": 12e-3, "il": 9e-3, "ol": 8e-3, "oh": 10e-3}
COIL = {"l": 2.2e-6, "dcr": 11e-3}
V_F = 0.8


def of_the_stage(v_in: float, v_out: float, i_l: float, legs: float, phase: float = 0.4):  # type: ignore[no-untyped-def]
    at = {k: SwitchAt(r, 0.0, 0.0, 2.0, 1.0, 0.0, 0.0, 1e-9, V_F) for k, r in R_ON.items()}
    if legs > 0.5:
        none = SwitchAt(0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)
        at["ol"] = at["oh"] = none
    coil = CoilAt(COIL["l"], 1e6, 2.0, COIL["dcr"], 0.0, 1e6, 0.0, 1.5, 2.5, 1e-7, 1e-4)
    setting = Setting(legs, F_SW, T_DEAD, 5.0, 0.0, 0.92, phase, 0.0, 0.3, 3e-3, 2e-3)
    return stage_point(v_in, v_out, i_l, at["ih"], at["il"], at["ol"], at["oh"], coil, setting)


def switched(v_in: float, i_out: float, v_out: float, d_in: float, d_out: float, phase: float, legs: float) -> Circuit:
    # The network's stage takes all ripple into its own capacitors: large ones behind a large source inductance.
    sides = {k: SwitchSide(r_on=r, v_f=V_F, r_d=1e-4, r_off=1e9) for k, r in R_ON.items()}
    at_in, at_out = Bank(c=5e-3, esr=3e-3, start=v_in), Bank(c=5e-3, esr=2e-3, start=v_out)
    around = (source_at("in", SourceSide(v=v_in, r=1e-4, l=1e-4)), load_current("out", i_out))
    dead = T_DEAD * F_SW
    gates = []
    if legs > 0.5:
        elements = two_switch(sides["ih"], sides["il"], CoilSide(**COIL), at_in, at_out, *around)
        gates = [Gate(switch="q_high", on=0.0, off=d_in), Gate(switch="q_low", on=d_in + dead, off=1.0 - dead)]
    else:
        q = (sides["ih"], sides["il"], sides["ol"], sides["oh"])
        elements = four_switch(q, CoilSide(**COIL), at_in, at_out, *around)
        if d_in < 1.0:
            gates = [Gate(switch="a_high", on=0.0, off=d_in), Gate(switch="a_low", on=d_in + dead, off=1.0 - dead)]
        else:
            gates = [Gate(switch="a_high", on=0.0, off=1.0)]
        begin = phase * (d_in - d_out)
        gates.append(Gate(switch="b_low", on=begin, off=begin + d_out))
        gates.append(Gate(switch="b_high", on=begin + d_out + dead, off=(begin - dead) % 1.0))
    return Circuit(elements=elements, period=1.0 / F_SW, gates=tuple(gates), title="cross-check")


@pytest.mark.parametrize(
    ("v_in", "v_out", "i_l", "legs"), [(20.0, 8.0, 4.0, 1.0), (9.0, 15.0, 5.0, 0.0), (15.0, 14.6, 5.0, 0.0)]
)
def test_the_network_solvers_stage_says_the_same_without_switching(
    v_in: float, v_out: float, i_l: float, legs: float
) -> None:
    phase = 0.4
    losses, wave = of_the_stage(v_in, v_out, i_l, legs, phase)
    d_in, d_out = float(wave.d_in), float(wave.d_out)
    names = ("q_high", "q_low") if legs > 0.5 else ("a_high", "a_low", "b_low", "b_high")
    # In dead time the output is fed through a diode, so its mean current is the coil's times 1 − d_out, but for what
    # the ripple weighs differently; the load is set so that the coil's mean is the asked one.
    i_out = i_l * (1.0 - d_out)
    first = window(steady_state(switched(v_in, i_out, v_out, d_in, d_out, phase, legs))).mean(i_of("coil"))
    assert first == pytest.approx(i_l, rel=2e-3)
    i_out *= i_l / first
    w = window(steady_state(switched(v_in, i_out, v_out, d_in, d_out, phase, legs)))
    assert w.mean(i_of("coil")) == pytest.approx(i_l, rel=1e-5)
    assert w.mean(v_node("out")) == pytest.approx(v_out, rel=2e-3)
    # 0.2 %: straight ramps against true exponentials, whose time constant is 60 periods, and drops at the mean current.
    assert w.ripple(i_of("coil")) == pytest.approx(float(wave.di_pp), rel=2e-3)
    rms = (wave.rms_in_high, wave.rms_in_low, wave.rms_out_low, wave.rms_out_high)
    lost = energies(w).losses
    conduction = (losses.in_high_conduction, losses.in_low_conduction, losses.out_low_conduction,
                  losses.out_high_conduction)  # fmt: skip
    for name, theirs, loss in zip(names, rms, conduction, strict=False):
        if float(theirs) > 1e-3:
            assert w.rms(i_of(name)) == pytest.approx(float(theirs), rel=2e-3), name
            assert lost[name] == pytest.approx(float(loss), rel=2e-3), name
    assert w.rms(i_of("c_in")) == pytest.approx(float(wave.rms_in_capacitor), rel=2e-3)
    assert w.rms(i_of("c_out")) == pytest.approx(float(wave.rms_out_capacitor), rel=2e-3)
    dead = lost["d_q_low"] if legs > 0.5 else lost["d_a_low"] + lost["d_b_high"]
    assert dead == pytest.approx(float(losses.in_dead_time + losses.out_dead_time), rel=1e-2, abs=1e-3)


def test_a_coil_across_a_source_without_resistance_has_no_periodic_state() -> None:
    # Its current grows in every period: the map is x + constant, and nothing closes.
    elements = (Source(name="source", a="a", b="0", v=5.0), Coil(name="coil", a="a", b="0", l=1e-6),
                Drain(name="load", a="a", b="0", i=1.0), Resistor(name="r", a="a", b="0", r=10.0))  # fmt: skip
    with pytest.raises(NoSolution, match="no period of ideal closes"):
        steady_state(Circuit(elements=elements, period=1e-6, title="ideal"))

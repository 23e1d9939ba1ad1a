"""Closed loops that the product writes as decks, run live in ngspice: both must agree within the product's bounds.

Outside evidence: ngspice (Berkeley SPICE's equations, its own devices and step control) solves the very same circuit;
it shares no code with the product. What it cannot tell is whether the circuit is a good model of hardware.

Bounds: means 0.1 %, ripple 0.3 %, rms 0.2 %, each loss 0.5 % or 0.1 mW, waveforms 0.5 % of their span, hand-over within
one switching period, overshoot 2 % of itself.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from spice_table import Floats, between, cycle_means, integral, power, simulated

from chargewright.base.errors import OutOfRange
from chargewright.circuit.build import Control, Surround, circuit_of
from chargewright.circuit.circuit import Circuit, Gate, Leg, Modulator, Skip, Timed, Trip
from chargewright.circuit.control import Clamp, Loop, rest_voltage
from chargewright.circuit.deck import deck
from chargewright.circuit.elements import (
    Capacitor,
    Follower,
    Quantity,
    Resistor,
    Source,
    Switch,
    i_of,
    v_node,
    v_of,
)
from chargewright.circuit.flow import samples
from chargewright.circuit.measures import Window, window
from chargewright.circuit.run import run
from chargewright.circuit.stages import Bank, CoilSide, SourceSide, SwitchSide, source_at, two_switch
from chargewright.loops.compensator import Transconductance
from chargewright.parts.catalogue import load_parts
from chargewright.parts.rail_inputs import rail_inputs
from chargewright.paths import shelf
from chargewright.physics.capacitor import biased_capacitance
from chargewright.sizing.build import Bank as Capacitors
from chargewright.sizing.build import hardware_of
from chargewright.sizing.size import size
from chargewright.spec.load import load_design
from chargewright.studies.needs import demand, plan
from chargewright.studies.operate import conditions
from chargewright.studies.situation import situation
from chargewright.studies.stability import ControllerModel, loops_of

EXAMPLES = Path(__file__).parents[2] / "examples"
Gives = Callable[[str], Circuit]


def example_charger(charge: float) -> tuple[Circuit, float]:
    """Return the tablet's narrow-buck charger with the product's own loops, and its charge voltage [V].

    charge : of the pack between two rest voltages 1 V apart [C]: so little that the hand-over comes in a millisecond
    """
    file = EXAMPLES / "tablet.yaml"
    design = load_design(file)
    case = situation(design, EXAMPLES)
    path = shelf.get("narrow-buck")
    chosen = plan(case, path)
    build = size(demand(case, chosen), load_parts(design.parts, EXAMPLES)).build
    hardware = hardware_of(build, chosen.rails, design.rules, design.ambient.board)
    assumed = ControllerModel()
    reports = {r.key: r.loop for r in loops_of(case, chosen, hardware, build, assumed).loops}
    supply = chosen.contracts[chosen.strongest]
    at = conditions(case, path, "charging", supply, soc=0.77, p_load=17.0, temp=298.15)
    ramp = assumed.ramp_share * float(at.e_source)

    def bank(of: Capacitors, v: float) -> float:
        return of.count * float(biased_capacitance(of.part.c_0, v, of.part.v_half, of.part.bias_exponent))

    def loop(name: str, key: str, sensed: Quantity, reference: float, start: float) -> Loop:
        of: Any = reports[key]
        a = of.amplifier
        bare = partial(Loop, name=name, terms=((1.0, sensed),), reference=reference, gain=of.scale, start=start)
        if isinstance(a, Transconductance):
            return bare(gm=a.gm, r_z=a.r_z, c_z=a.c_z, c_p=a.c_p)
        return bare(gm=1.0 / a.r_1, r_z=a.r_2, c_z=a.c_1, c_p=a.c_2, lead=(a.r_3, a.c_3))

    state = path.state("charging")
    assert state is not None
    surround = Surround(c_a=bank(build.bank_a, 20.0), c_b=bank(build.bank_b, 8.4) + rail_inputs(chosen.rails).c,
                        l_cable=supply.l_cable, l_lead=case.pack.lead_inductance)  # fmt: skip
    cc = loop("cc", "charge-current", i_of("r_sense_charge"), case.i_charge, 0.444 * ramp)
    cv = loop("cv", "charge-voltage", v_node("n_pack"), case.v_full, 0.5 * ramp)
    control = Control(loops=(cc, cv), clamp=Clamp(low=0.02, high=0.95, margin=0.1, r=1e3), ramp=ramp)
    circuit = circuit_of(path, state, hardware, at, surround, control=control)
    rest = float(at.e_cells)
    table = np.array([rest - 0.5, rest + 0.04, rest + 0.5])
    cells = rest_voltage(np.array([0.0, 0.54, 1.0]), table, charge, 0.5)
    elements = tuple(cells if e.name == "cells" else e for e in circuit.elements)
    return replace(circuit, elements=elements), case.v_full


def agrees(ours: Window, t: Floats, theirs: Floats, q: Quantity, *, mean: bool = True) -> None:
    """Hold a waveform of steady periods against the simulator's, whose table covers the same instants."""
    period = ours.run.circuit.period
    span, values = between(t, theirs, ours.first * period, ours.last * period)
    if mean:
        assert integral(span, values) / ours.duration == pytest.approx(ours.mean(q), rel=1e-3), q
    rms = np.sqrt(power(values, values, span) / ours.duration)
    assert rms == pytest.approx(ours.rms(q), rel=2e-3), q


def waveform_agrees(ours: Window, t: Floats, theirs: Floats, q: Quantity) -> None:
    """Hold ripple and shape; instants within 1 ns of an event are left out, where both leap."""
    period = ours.run.circuit.period
    begin, end = ours.first * period, ours.last * period
    assert np.ptp(between(t, theirs, begin, end)[1]) == pytest.approx(ours.ripple(q), rel=3e-3), q
    at = np.linspace(begin, end, 4001)[1:-1]
    events = ours.run.t
    after = np.searchsorted(events, at)
    nearest = np.minimum(at - events[after - 1], np.append(events, np.inf)[after] - at)
    at = at[nearest > 1e-9]
    apart = samples(ours.run, at).of(q) - np.interp(at, t, theirs)
    assert np.sqrt(np.mean(apart**2)) <= 5e-3 * ours.ripple(q), q


def losses_agree(ours: Window, t: Floats, pairs: list[tuple[Quantity, Floats, Quantity, Floats]]) -> None:
    """Hold the mean of each product of current and voltage."""
    period = ours.run.circuit.period
    ends = ours.first * period, ours.last * period
    for current, i, voltage, v in pairs:
        span, through = between(t, i, *ends)
        loss = power(through, between(t, v, *ends)[1], span) / ours.duration
        assert ours.product(current, voltage) == pytest.approx(loss, rel=5e-3, abs=1e-4), current


@pytest.mark.slow
def test_the_examples_charger_hands_over_from_current_to_voltage_as_in_ngspice(ngspice: str, tmp_path: Path) -> None:
    circuit, v_full = example_charger(charge=0.012)
    cycles = 700
    seen = (v_node("loop_cc"), v_node("loop_cv"), v_node("n_pack"), i_of("r_pack"), i_of("coil"))
    switches = tuple(q for n in ("q_high", "q_low") for q in (i_of(n), v_of(n), i_of(f"d_{n}"), v_of(f"d_{n}")))
    winding = (i_of("r_coil"), v_of("r_coil"))
    everything = (*seen, *switches, *winding)
    theirs = simulated(ngspice, deck(circuit, cycles=cycles, record=everything), tmp_path)
    t = theirs[:, 0]
    result = run(circuit, cycles=cycles)
    column = {q: theirs[:, k] for k, q in enumerate(everything, start=1)}
    w = window(result)
    ours = {q: w.per_cycle(q) for q in seen}
    means = {q: cycle_means(t, column[q], circuit.period, cycles) for q in seen}
    cc, cv, pack, charge = seen[:4]
    over = [int(np.flatnonzero(m[cv] < m[cc])[0]) for m in (ours, means)]
    # Both phases are there: the current loop rules for a while first, and the voltage loop to the end.
    assert 100 < over[0] < cycles - 100
    assert abs(over[0] - over[1]) <= 1
    overshoot = [float(np.max(m[pack])) - v_full for m in (ours, means)]
    assert overshoot[0] > 1e-3
    assert overshoot[0] == pytest.approx(overshoot[1], rel=0.02)
    for q in seen:
        apart = ours[q] - means[q]
        assert np.sqrt(np.mean(apart**2)) <= 5e-3 * np.ptp(means[q]), q
    assert means[charge] == pytest.approx(ours[charge], rel=1e-3)
    for first in (over[0] - 8, cycles - 4):
        late = window(result, first, first + 4)
        for q in (pack, charge, i_of("coil")):
            agrees(late, t, column[q], q)
            waveform_agrees(late, t, column[q], q)
        for n in ("q_high", "q_low"):
            agrees(late, t, column[i_of(n)], i_of(n), mean=False)
        losses_agree(late, t, [(i_of(n), column[i_of(n)], v_of(n), column[v_of(n)])
                               for n in ("q_high", "q_low", "d_q_high", "d_q_low", "r_coil")])  # fmt: skip


def peak_current_buck(slope: float) -> Circuit:
    """Return a buck whose pulses end where 0.1 Ω times the coil current and a slope meet 0.5 V."""
    side = SwitchSide(r_on=5e-3, v_f=0.7, r_d=5e-3)
    stage = two_switch(
        side, side, CoilSide(l=5e-6, dcr=5e-3), Bank(c=1e-4, esr=2e-3, start=10.0), Bank(c=1e-4, esr=2e-3, start=7.0),
        source_at("in", SourceSide(v=10.0, r=5e-3, l=1e-8)),
        (Resistor(name="r_sink", a="out", b="sink", r=5e-3), Source(name="sink", a="sink", b="0", v=7.0)),
    )  # fmt: skip
    # The node's name is that of a function of the simulator's.
    limit = Follower(name="limit", a="limit", terms=(), offset=0.5)
    modulator = Modulator(main="q_high", sync="q_low", control="limit", slope=slope, dead=10e-9,
                          terms=((0.1, i_of("coil")),))  # fmt: skip
    return Circuit(elements=(*stage, limit), period=1e-6, modulator=modulator, signals=frozenset(["limit"]))


def test_peak_current_mode_agrees_with_ngspice(ngspice: str, tmp_path: Path) -> None:
    # 70 % duty: without a slope it would oscillate; 0.6 times the falling slope steadies it.
    circuit, cycles = peak_current_buck(0.6 * 7.0 / 5e-6 * 0.1), 120
    seen = (i_of("coil"), i_of("r_sink"))
    theirs = simulated(ngspice, deck(circuit, cycles=cycles, record=seen), tmp_path)
    late = window(run(circuit, cycles=cycles), cycles - 5, cycles)
    for k, q in enumerate(seen, start=1):
        agrees(late, theirs[:, 0], theirs[:, k], q)
    waveform_agrees(late, theirs[:, 0], theirs[:, 1], i_of("coil"))


@pytest.mark.parametrize(("control", "rest"), [(0.62, 8.8), (0.97, 14.8), (1.30, 23.2)])
def test_two_legs_on_one_ramp_agree_with_ngspice(
    control: float, rest: float, ngspice: str, tmp_path: Path, circuit_like: Gives
) -> None:
    # The four-switch stage in its buck, overlap and boost regions: the second leg begins at 0.92 V of a 1 V ramp.
    plain = circuit_like("o06_bb_transition")
    sink = Source(name="cells", a="rest", b="0", v=rest)
    elements = tuple(
        sink if e.name == "cells" else replace(e, start=rest) if isinstance(e, Capacitor) and e.name == "c_out" else e
        for e in plain.elements
    )
    hold = Follower(name="hold", a="hold", terms=(), offset=control)
    second = Leg(main="b_low", sync="b_high", offset=0.92)
    modulator = Modulator(main="a_high", sync="a_low", control="hold", slope=1.0 / plain.period, dead=15e-9,
                          second=second)  # fmt: skip
    circuit, cycles = replace(plain, elements=(*elements, hold), gates=(), modulator=modulator,
                              signals=frozenset(["hold"])), 150  # fmt: skip
    seen = (i_of("coil"), i_of("r_pack"), v_node("out"), v_node("in"))
    theirs = simulated(ngspice, deck(circuit, cycles=cycles, record=seen), tmp_path)
    late = window(run(circuit, cycles=cycles), cycles - 5, cycles)
    for k, q in enumerate(seen, start=1):
        agrees(late, theirs[:, 0], theirs[:, k], q)
    waveform_agrees(late, theirs[:, 0], theirs[:, 1], i_of("coil"))


def test_diode_emulation_agrees_with_ngspice(ngspice: str, tmp_path: Path, circuit_like: Gives) -> None:
    plain = circuit_like("o04_buck_dcm")
    gate = next(g for g in plain.gates if g.switch == "q_high")
    low = Gate(switch="q_low", on=gate.off + 0.01, off=0.99)
    elements = tuple(replace(e, emulate=True) if isinstance(e, Switch) and e.name == "q_low" else e
                     for e in plain.elements)  # fmt: skip
    elements = tuple(replace(e, start=10.0) if isinstance(e, Capacitor) and e.name == "c_out" else e for e in elements)
    circuit, cycles = replace(plain, elements=elements, gates=(gate, low)), 80
    seen = (i_of("coil"), v_node("out"), i_of("q_low"), v_of("q_low"), i_of("d_q_low"))
    theirs = simulated(ngspice, deck(circuit, cycles=cycles, record=seen), tmp_path)
    late = window(run(circuit, cycles=cycles), cycles - 5, cycles)
    t = theirs[:, 0]
    for k, q in enumerate(seen[:2], start=1):
        agrees(late, t, theirs[:, k], q)
    waveform_agrees(late, t, theirs[:, 1], seen[0])
    pairs = [(q, theirs[:, k], v_of("q_low"), theirs[:, 4]) for k, q in ((3, i_of("q_low")), (5, i_of("d_q_low")))]
    losses_agree(late, t, pairs)


def test_switches_set_at_instants_agree_with_ngspice(ngspice: str, tmp_path: Path) -> None:
    circuit = Circuit(
        elements=(
            Source(name="source", a="source", b="0", v=12.0),
            Switch(name="plug", a="source", b="a", r_on=0.1),
            Resistor(name="load", a="a", b="0", r=50.0),
            Capacitor(name="c", a="a", b="0", c=10e-6),
        ),
        period=1e-6,
        timeline=(Timed(switch="plug", t=20.3e-6, on=False), Timed(switch="plug", t=3.7e-6, on=True)),
    )
    theirs = simulated(ngspice, deck(circuit, cycles=40, record=(v_node("a"),)), tmp_path)
    at = np.linspace(0.05e-6, 39.9e-6, 997)
    ours = samples(run(circuit, cycles=40), at).of(v_node("a"))
    # 0.1 % of the voltage: what the simulator's own tolerance leaves.
    assert np.interp(at, theirs[:, 0], theirs[:, 1]) == pytest.approx(ours, abs=12e-3)
    assert np.max(ours) > 11.9


def test_a_record_that_a_deck_does_not_have_is_refused(charger_like: Gives) -> None:
    with pytest.raises(OutOfRange, match="the current of control is not in a deck"):
        deck(charger_like("o07_cccv"), cycles=1, record=(i_of("control"),))


def test_what_a_deck_cannot_say_is_refused_by_name(charger_like: Gives) -> None:
    circuit = charger_like("o07_cccv")
    trip = Trip(name="over-voltage", terms=((1.0, v_node("out")),), level=9.0, holds=("q_high",))
    assert circuit.modulator is not None
    skipping = replace(circuit.modulator, skip=Skip(low=0.1, high=0.2))
    elements = tuple(replace(e, emulate=True) if e.name == "q_low" else e for e in circuit.elements)
    with pytest.raises(OutOfRange, match="protection over-voltage"):
        deck(replace(circuit, trips=(trip,)), cycles=1)
    with pytest.raises(OutOfRange, match="left out at light load"):
        deck(replace(circuit, modulator=skipping, elements=elements), cycles=1)

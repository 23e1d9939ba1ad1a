"""Switches set at absolute instants: plugging, unplugging, a battery switch, a load that connects."""

import math
from dataclasses import replace

import numpy as np
import pytest

from chargewright.base.compiled import numba_module
from chargewright.base.errors import OutOfRange
from chargewright.circuit.circuit import Circuit, Gate, Timed
from chargewright.circuit.elements import Capacitor, Element, Resistor, Source, Switch, Wave, i_of, v_node
from chargewright.circuit.flow import samples
from chargewright.circuit.measures import energies, window
from chargewright.circuit.run import engine_of, run

PERIOD = 1e-6


def charged_through_a_switch(*events: tuple[float, bool], r_off: float = 1e15) -> Circuit:
    elements: tuple[Element, ...] = (
        Source(name="source", a="a", b="0", v=10.0),
        Switch(name="plug", a="a", b="b", r_on=1.0, r_off=r_off),
        Capacitor(name="c", a="b", b="0", c=3e-6),
    )
    timeline = tuple(Timed(switch="plug", t=t, on=on) for t, on in events)
    return Circuit(elements=elements, period=PERIOD, timeline=timeline)


def test_a_capacitor_charges_by_the_exponential_from_the_instant_its_switch_closes() -> None:
    # Definition: v = 10·(1 − exp(−(t − t_on)/rc)) from the closing on, and held from the opening on.
    closes, opens = 2.3456e-6, 5.8901e-6
    result = run(charged_through_a_switch((closes, True), (opens, False)), cycles=10)
    for t in (1.0e-6, 2.3e-6, 2.5e-6, 4.0e-6, 5.8e-6, 7.0e-6, 9.9e-6):
        on = min(max(t - closes, 0.0), opens - closes)
        known = 10.0 * -math.expm1(-on / 3e-6)
        assert float(samples(result, np.array([t])).of(v_node("b"))[0]) == pytest.approx(known, rel=1e-9, abs=1e-7)
    # The segments begin at those very instants.
    for instant in (closes, opens):
        assert min(abs(result.t - instant)) < 1e-15


def test_the_order_of_events_in_the_circuit_does_not_matter_and_the_last_of_one_instant_counts() -> None:
    forward = charged_through_a_switch((1e-6, True), (4e-6, False), (6e-6, True))
    back = replace(forward, timeline=forward.timeline[::-1])
    assert run(forward, cycles=9).end.x == pytest.approx(run(back, cycles=9).end.x, rel=1e-14)
    kept_open = charged_through_a_switch((1e-6, True), (1e-6, False))
    assert run(kept_open, cycles=5).end.x[0] == pytest.approx(0.0, abs=1e-6)


def test_an_event_at_the_start_is_the_value_at_the_start() -> None:
    result = run(charged_through_a_switch((0.0, True)), cycles=3)
    assert result.end.x[0] == pytest.approx(10.0 * -math.expm1(-1.0), rel=1e-12)


def test_no_event_of_a_crowd_is_stepped_over() -> None:
    # 400 openings and closings within 40 periods, at instants that share nothing with the clock: the time on adds up.
    step = 0.0973e-6
    events = [(0.05e-6 + k * step, k % 2 == 0) for k in range(400)]
    result = run(charged_through_a_switch(*events), cycles=40)
    assert result.end.x[0] == pytest.approx(10.0 * -math.expm1(-200 * step / 3e-6), rel=1e-8)


def test_a_load_that_connects_while_gates_run_leaves_no_energy_unaccounted() -> None:
    elements: tuple[Element, ...] = (
        Source(name="source", a="a", b="0", v=Wave(points=((0.0, 5.0), (7.7e-6, 5.0), (9.1e-6, 8.0)))),
        Switch(name="chopper", a="a", b="b", r_on=0.1),
        Resistor(name="esr", a="b", b="bc", r=0.01),
        Capacitor(name="c", a="bc", b="0", c=2e-6),
        Switch(name="connect", a="b", b="load", r_on=0.05),
        Resistor(name="load", a="load", b="0", r=4.0, load=True),
    )
    circuit = Circuit(elements=elements, period=PERIOD, gates=(Gate(switch="chopper", on=0.0, off=0.4),),
                      timeline=(Timed(switch="connect", t=11.25e-6, on=True),))  # fmt: skip
    result = run(circuit, cycles=30)
    w = window(result)
    assert abs(energies(w).unaccounted) <= 1e-9 * energies(w).turnover
    before, after = window(result, 5, 11), window(result, 12, 30)
    assert before.mean(i_of("load")) < 1e-5
    assert after.mean(i_of("load")) > 0.5


@pytest.mark.skipif(numba_module() is None, reason="numba is not installed")
def test_the_compiled_loop_meets_the_same_events() -> None:
    circuit = charged_through_a_switch((2.3e-6, True), (5.8e-6, False))
    ends = [e.advance(e.beginning(), 10).end.x for e in (engine_of(circuit, compiled=c) for c in (False, True))]
    assert ends[0] == pytest.approx(ends[1], rel=1e-12)


def test_events_without_meaning_are_refused() -> None:
    good = charged_through_a_switch((1e-6, True))
    for event, words in (
        (Timed(switch="c", t=0.0, on=True), "is no switch"),
        (Timed(switch="nothing", t=0.0, on=True), "no element called nothing"),
        (Timed(switch="plug", t=-1.0, on=True), "an instant is 0 or later"),
        (Timed(switch="plug", t=math.nan, on=True), "an instant is 0 or later"),
    ):
        with pytest.raises(OutOfRange, match=words):
            run(replace(good, timeline=(event,)), cycles=1)
    with pytest.raises(OutOfRange, match="driven twice"):
        run(replace(good, gates=(Gate(switch="plug", on=0.0, off=0.5),)), cycles=1)

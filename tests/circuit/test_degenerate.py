"""Circuits that no board can be: each ends with words, at once."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from equal_loops import equal_loops

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.circuit.circuit import Circuit, Gate
from chargewright.circuit.elements import (
    Capacitor,
    Coil,
    Diode,
    Element,
    Follower,
    PowerLoad,
    Resistor,
    Source,
    i_of,
    v_node,
)
from chargewright.circuit.measures import window
from chargewright.circuit.run import run

Gives = Callable[[str], Circuit]


def with_one(circuit: Circuit, name: str, **change: float) -> Circuit:
    return replace(circuit, elements=tuple(replace(e, **change) if e.name == name else e for e in circuit.elements))


@pytest.mark.parametrize(
    ("name", "change", "words"),
    [
        ("coil", {"l": 0.0}, "the inductance of coil is 0.0 and must be above zero"),
        ("coil", {"l": math.nan}, "the inductance of coil is nan"),
        ("source", {"v": math.inf}, "the voltage of source is inf and must be finite"),
        ("load", {"r": math.inf}, "the resistance of load is inf"),
        ("c_out", {"c": -1e-6}, "the capacitance of c_out is -1e-06"),
        ("q_high", {"r_on": 0.0}, "the on-resistance of q_high is 0.0"),
        ("d_q_low", {"r_on": 0.0}, "the resistance of d_q_low is 0.0"),
    ],
)
def test_a_value_without_meaning_is_refused_with_its_name(
    name: str, change: dict[str, float], words: str, circuit_like: Gives
) -> None:
    with pytest.raises(OutOfRange, match=words):
        run(with_one(circuit_like("o01_buck_rload"), name, **change), cycles=2)


def test_an_inductance_too_small_to_matter_is_refused(circuit_like: Gives) -> None:
    with pytest.raises(NoSolution, match="cannot be told from zero beside the period"):
        run(with_one(circuit_like("o01_buck_rload"), "l_source", l=1e-25), cycles=2)


def test_a_stiff_circuit_is_still_solved(circuit_like: Gives) -> None:
    # A source inductance of a femtohenry is 1 fs beside a period of 1.25 µs: as good as none, and no slower.
    stiff = with_one(circuit_like("o01_buck_rload"), "l_source", l=1e-15)
    soft = with_one(circuit_like("o01_buck_rload"), "l_source", l=1e-12)
    means = [window(run(c, cycles=40), 30, 40).mean(v_node("out")) for c in (stiff, soft)]
    assert means[0] == pytest.approx(means[1], rel=1e-5)


def test_an_open_load_rises_to_the_source_and_stays_there(circuit_like: Gives) -> None:
    open_load = with_one(circuit_like("o04_buck_dcm"), "load", r=1e9)
    # The diode takes nothing back from the output, so each pulse adds to it until the source can push no more.
    v = window(run(open_load, cycles=6000), 5990, 6000).mean(v_node("out"))
    assert v == pytest.approx(18.0, rel=0.01)


def test_capacitors_in_parallel_without_resistance_are_refused() -> None:
    elements: tuple[Element, ...] = (
        Source(name="source", a="a", b="0", v=5.0),
        Capacitor(name="c", a="a", b="0", c=1e-6),
    )
    with pytest.raises(NoSolution, match="Give the capacitor its ESR"):
        run(Circuit(elements=elements, period=1e-6), cycles=1)


def test_a_node_that_hangs_on_coils_alone_is_refused() -> None:
    elements: tuple[Element, ...] = (Source(name="source", a="a", b="0", v=5.0), Coil(name="one", a="a", b="b", l=1e-6),
                                     Coil(name="two", a="b", b="0", l=1e-6))  # fmt: skip
    with pytest.raises(NoSolution, match="hangs on coils alone"):
        run(Circuit(elements=elements, period=1e-6), cycles=1)


def test_diodes_that_contradict_each_other_chatter_and_are_named() -> None:
    # A follower that drives a diode by the inverse of its own current: open it must conduct, conducting it must open.
    elements: tuple[Element, ...] = (
        Follower(name="drive", a="a", terms=((-1e3, i_of("d")),), offset=5.0),
        Diode(name="d", a="a", b="b", v_f=0.5, r_on=-1.0 + 1.5),
        Resistor(name="r", a="b", b="0", r=1.0),
        Follower(name="other", a="c", terms=((1e4, i_of("d")), (-1e4, i_of("e"))), offset=1.0),
        Diode(name="e", a="c", b="0", v_f=0.5, r_on=1.0),
        Follower(name="back", a="f", terms=((-1e4, i_of("g")),), offset=-1.0),
        Diode(name="g", a="f", b="0", v_f=-2.0 + 2.5, r_on=1.0),
    )
    run(Circuit(elements=elements, period=1e-6), cycles=1)
    latch: tuple[Element, ...] = (
        Follower(name="drive", a="a", terms=((2.0, i_of("d")),), offset=5.0),
        Diode(name="d", a="a", b="0", v_f=0.5, r_on=1.0),
    )
    with pytest.raises(NoSolution, match=r"chatters.*diode d"):
        run(Circuit(elements=latch, period=1e-6), cycles=1)


def test_names_gates_and_lengths_are_checked(circuit_like: Gives) -> None:
    good = circuit_like("o01_buck_rload")
    with pytest.raises(OutOfRange, match="given more than once: load"):
        run(replace(good, elements=(*good.elements, Resistor(name="load", a="x", b="0", r=1.0))), cycles=1)
    with pytest.raises(OutOfRange, match="a switch is driven twice"):
        run(replace(good, gates=(*good.gates, good.gates[0])), cycles=1)
    with pytest.raises(OutOfRange, match="not in 0 to 1"):
        run(replace(good, gates=(Gate(switch="q_high", on=0.0, off=40.8),)), cycles=1)
    with pytest.raises(OutOfRange, match="coil has a gate but is no switch"):
        run(replace(good, gates=(Gate(switch="coil", on=0.0, off=0.5),)), cycles=1)
    with pytest.raises(OutOfRange, match="at least one period"):
        run(good, cycles=0)
    with pytest.raises(OutOfRange, match="either a number of periods or an end time"):
        run(good)
    with pytest.raises(OutOfRange, match="the switching period is"):
        run(replace(good, period=0.0), cycles=1)


def test_a_load_of_constant_power_that_nothing_holds_up_ends_with_words() -> None:
    # Through 1 Ω, 5 V can give at most 6.25 W; a load that asks for 20 W pulls the node to its resistive foot.
    elements: tuple[Element, ...] = (
        Source(name="source", a="a", b="0", v=5.0), Resistor(name="r", a="a", b="b", r=1.0),
        Resistor(name="esr", a="b", b="c", r=1e-3), Capacitor(name="c", a="c", b="0", c=1e-5, start=5.0),
        PowerLoad(name="load", a="b", b="0", p=20.0, chords=(2.0, 3.0, 4.0, 5.0, 6.0)),
    )  # fmt: skip
    v = window(run(Circuit(elements=elements, period=1e-5), cycles=200), 199, 200).mean(v_node("b"))
    # There the load is 2²/20 = 0.2 Ω: 5 V · 0.2/1.2.
    assert v == pytest.approx(5.0 * 0.2 / 1.2, rel=1e-6)


def test_a_limit_at_a_limit_does_not_hang() -> None:
    # Two equal loops with equal references: their outputs are equal for ever, and either may be taken for the lowest.
    means = []
    for count in (2, 1):
        means.append(window(run(equal_loops(count), cycles=250), 240, 250).mean(v_node("out")))
    assert means[0] == pytest.approx(means[1], rel=1e-9)

"""Averaged circuits at their limits: any stage closes its energy, and what no board can be ends with words, at once."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from equal_loops import equal_loops
from hypothesis import given, settings
from hypothesis import strategies as st

from chargewright.base.compiled import numba_module
from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.circuit.averaged import averaged_samples, run_averaged
from chargewright.circuit.averaged_measures import averaged_energies, ripple_of
from chargewright.circuit.averaged_steady import averaged_steady
from chargewright.circuit.circuit import Circuit, Gate
from chargewright.circuit.elements import (
    Capacitor,
    Diode,
    Drain,
    Element,
    Follower,
    PowerLoad,
    Resistor,
    Source,
    i_of,
    v_node,
)
from chargewright.circuit.stages import (
    Bank,
    CoilSide,
    PackSide,
    SourceSide,
    SwitchSide,
    four_switch,
    load_resistor,
    pack_at,
    source_at,
)

Gives = Callable[[str], Circuit]


def with_one(circuit: Circuit, name: str, **change: Any) -> Circuit:
    return replace(circuit, elements=tuple(replace(e, **change) if e.name == name else e for e in circuit.elements))


def decades(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(np.log10(low), np.log10(high)).map(lambda x: float(10.0**x))


@st.composite
def stages(draw: st.DrawFn) -> Circuit:
    """A stage of four switches: both legs switch in pairs, or one stands still and the other leaves half to a diode.

    What lies between, a leg on diodes while the other switches, is outside what the averaged circuit promises: there
    the current may stop in more than one stretch of a period (the next test).
    """
    alone = draw(st.booleans())
    sides = [SwitchSide(r_on=draw(decades(1e-3, 0.1)), v_f=draw(st.floats(0.2, 1.0)), r_d=draw(decades(1e-3, 0.1)))
             for _ in range(4)]  # fmt: skip
    coil = CoilSide(l=draw(decades(0.5e-6, 20e-6)), dcr=draw(decades(1e-3, 0.1)))
    banks = [Bank(c=draw(decades(2e-6, 1e-4)), esr=draw(decades(1e-3, 0.05)), start=draw(st.floats(0.0, 20.0)))
             for _ in range(2)]  # fmt: skip
    source = source_at("in", SourceSide(v=draw(st.floats(5.0, 40.0)), r=draw(decades(5e-3, 0.2)), l=1e-7))
    ocv = draw(st.floats(3.0, 20.0))
    pack = pack_at("out", PackSide(ocv=ocv, r0=draw(decades(0.01, 0.3)), pairs=((0.02, draw(decades(1e-3, 1.0))),)))
    load = load_resistor("out", draw(decades(1.0, 1e3)))
    elements = four_switch((sides[0], sides[1], sides[2], sides[3]), coil, banks[0], banks[1], source, pack, load)
    gates: list[Gate] = [Gate(switch="b_high", on=0.0, off=1.0)] if alone else []
    for high, low in (("a_high", "a_low"),) if alone else (("a_high", "a_low"), ("b_high", "b_low")):
        d, begin = draw(st.floats(0.05, 0.9)), draw(st.floats(0.0, 0.05))
        gates.append(Gate(switch=high, on=begin, off=begin + d))
        if not alone:
            gates.append(Gate(switch=low, on=begin + d + 0.005, off=(begin - 0.005) % 1.0))
    return Circuit(elements=elements, period=draw(decades(0.5e-6, 10e-6)), gates=tuple(gates), title="any")


@settings(max_examples=25, deadline=None)
@given(stages())
def test_the_energy_of_any_stage_closes(circuit: Circuit) -> None:
    result = run_averaged(circuit, t_end=60 * circuit.period)
    parts = averaged_energies(result)
    # In 160 random stages 4200 steps were the most; without end would be 1500 in each of the 60 periods.
    assert len(result.t) < 20_000
    # Cold starts of any stage, with a hundred amperes in a few periods: 1e-5 here, 1e-6 where things are slow.
    assert abs(parts.unaccounted) <= 1e-5 * parts.turnover
    assert min(parts.losses.values()) >= -1e-9 * parts.turnover


def test_a_coil_that_may_stop_more_than_once_a_period_ends_or_says_so(circuit_like: Gives) -> None:
    # Known limit: the first leg on its diode alone while the second switches, with its dead times inside the pulse.
    plain = circuit_like("o06_bb_transition")
    gates = (Gate(switch="a_high", on=0.009, off=0.328), Gate(switch="b_high", on=0.029, off=0.912),
             Gate(switch="b_low", on=0.917, off=0.024))  # fmt: skip
    for load in (0.5, 5.0, 500.0):
        circuit = replace(with_one(plain, "r_pack", r=load), gates=gates)
        words = ""
        try:
            parts = averaged_energies(run_averaged(circuit, t_end=60 * circuit.period))
        except NoSolution as error:
            words = str(error)
        closes = not words and abs(parts.unaccounted) <= 1e-5 * parts.turnover
        assert closes or "more than one stretch of a period" in words


@pytest.mark.parametrize(("name", "change", "words"), [
    ("coil", {"l": 0.0}, "the inductance of coil is 0.0 and must be above zero"),
    ("load", {"r": float("inf")}, "the resistance of load is inf"),
])  # fmt: skip
def test_a_value_without_meaning_is_refused(
    name: str, change: dict[str, float], words: str, circuit_like: Gives
) -> None:
    with pytest.raises(OutOfRange, match=words):
        run_averaged(with_one(circuit_like("o01_buck_rload"), name, **change), t_end=1e-5)


def test_an_inductance_too_small_to_matter_is_refused(circuit_like: Gives) -> None:
    with pytest.raises(NoSolution, match="cannot be told from zero beside the period"):
        run_averaged(with_one(circuit_like("o01_buck_rload"), "l_source", l=1e-25), t_end=1e-5)


def test_an_open_load_rises_to_the_source_and_stays_there(circuit_like: Gives) -> None:
    open_load = with_one(circuit_like("o04_buck_dcm"), "load", r=1e9)
    result = run_averaged(open_load, t_end=6000 * open_load.period)
    # The diode takes nothing back from the output, so each pulse adds to it until the source can push no more.
    assert averaged_samples(result, np.array([result.t_end])).of(v_node("out"))[0] == pytest.approx(18.0, rel=0.01)
    assert len(result.t) < 5_000


def test_an_end_before_the_beginning_is_refused(circuit_like: Gives) -> None:
    for end in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(OutOfRange, match="a run ends after it begins"):
            run_averaged(circuit_like("o01_buck_rload"), t_end=end)


def test_diodes_that_contradict_each_other_chatter_and_are_named() -> None:
    latch: tuple[Element, ...] = (
        Follower(name="drive", a="a", terms=((2.0, i_of("d")),), offset=5.0),
        Diode(name="d", a="a", b="0", v_f=0.5, r_on=1.0),
    )
    with pytest.raises(NoSolution, match=r"chatters.*diode d"):
        run_averaged(Circuit(elements=latch, period=1e-6), t_end=1e-6)


def test_a_load_that_grows_with_its_voltage_runs_away_with_words() -> None:
    # A negative resistance in the shape of a follower: the voltage doubles every 10 µs or so, without end.
    elements: tuple[Element, ...] = (
        Follower(name="drive", a="a", terms=((2.0, v_node("b")),)), Resistor(name="r", a="a", b="b", r=1.0),
        Capacitor(name="c", a="b", b="0", c=1e-5, start=1.0),
    )  # fmt: skip
    with pytest.raises(NoSolution, match="grew without bound"):
        run_averaged(Circuit(elements=elements, period=1e-6), t_end=1.0)


def test_two_equal_loops_do_not_chatter() -> None:
    ends = []
    for count in (2, 1):
        result = run_averaged(equal_loops(count), t_end=2e-3)
        assert len(result.t) < 5_000
        ends.append(averaged_samples(result, np.array([2e-3])).of(v_node("out"))[0])
    # Which of two equal loops rules is decided by rounding, and each run keeps within 2e-6 for each step.
    assert ends[0] == pytest.approx(ends[1], rel=5e-6)


def test_a_load_of_constant_power_that_nothing_holds_up_falls_to_its_foot() -> None:
    # Through 1 Ω, 5 V can give at most 6.25 W; a load that asks for 20 W pulls the node to its resistive foot.
    elements: tuple[Element, ...] = (
        Source(name="source", a="a", b="0", v=5.0), Resistor(name="r", a="a", b="b", r=1.0),
        Resistor(name="esr", a="b", b="c", r=1e-3), Capacitor(name="c", a="c", b="0", c=1e-5, start=5.0),
        PowerLoad(name="load", a="b", b="0", p=20.0, chords=(2.0, 3.0, 4.0, 5.0, 6.0)),
    )  # fmt: skip
    circuit = Circuit(elements=elements, period=1e-5)
    v = averaged_samples(run_averaged(circuit, t_end=2e-3), np.array([2e-3])).of(v_node("b"))[0]
    # There the load is 2²/20 = 0.2 Ω: 5 V · 0.2/1.2.
    assert v == pytest.approx(5.0 * 0.2 / 1.2, rel=1e-6)


def test_a_state_that_nothing_holds_has_no_steady_state() -> None:
    elements: tuple[Element, ...] = (
        Drain(name="feed", a="0", b="b", i=1.0), Resistor(name="esr", a="b", b="c", r=1e-3),
        Capacitor(name="c", a="c", b="0", c=1e-5),
    )  # fmt: skip
    with pytest.raises(NoSolution, match="no averaged steady state"):
        averaged_steady(Circuit(elements=elements, period=1e-6))


def test_what_has_no_answer_is_refused_by_name(circuit_like: Gives) -> None:
    result = run_averaged(circuit_like("o01_buck_rload"), t_end=1e-5)
    with pytest.raises(OutOfRange, match="that is coil"):
        ripple_of(result, np.array([0.0]), "l_source")
    with pytest.raises(OutOfRange, match="no modulator"):
        result.duty(np.array([0.0]))
    with pytest.raises(OutOfRange, match="no lowest-wins selection"):
        result.selected("coil")
    with pytest.raises(OutOfRange, match="is not within the run"):
        averaged_energies(result, 0.0, 1.0)


@pytest.mark.slow
def test_the_compiled_loop_gives_the_same_numbers(circuit_like: Gives, charger_like: Gives) -> None:
    if numba_module() is None:
        pytest.skip("numba is not installed: `pip install numba`")
    for circuit in (circuit_like("o04_buck_dcm"), charger_like("o08_bus_load_step")):
        # The error of a first short step is mere rounding, and decides the next one's length: the linear algebra of
        # the two rounds differently, so the steps differ and with them what they miss: 3e-11 here, 3e-6 at 2e-6.
        pair = [run_averaged(circuit, t_end=1e-4, compiled=c, tolerance=2e-9) for c in (False, True)]
        assert pair[0].end.x == pytest.approx(pair[1].end.x, rel=1e-9, abs=1e-9)

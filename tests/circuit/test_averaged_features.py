"""What a circuit may have beside a plain stage, averaged against switched: two legs, pass switches, trips, skipping.

The switched circuit is exact between events and was checked by independent runs (see the tests of each feature), so it
is the outside of these checks.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from chargewright.base.errors import OutOfRange
from chargewright.circuit.averaged import averaged_samples, run_averaged
from chargewright.circuit.averaged_measures import averaged_energies
from chargewright.circuit.circuit import Circuit, Modulator, Skip, Timed, Trip
from chargewright.circuit.control import CONTROL, Clamp, Loop, control_of, names_of
from chargewright.circuit.elements import (
    Coil,
    Diode,
    Element,
    Follower,
    PassSwitch,
    Quantity,
    Source,
    Switch,
    Wave,
    i_of,
    v_node,
)
from chargewright.circuit.flow import samples
from chargewright.circuit.measures import window
from chargewright.circuit.run import run
from chargewright.circuit.stages import (
    Bank,
    CoilSide,
    PackSide,
    SourceSide,
    SwitchSide,
    bank_at,
    both_legs,
    four_switch,
    load_current,
    load_resistor,
    pack_at,
    source_at,
    two_switch,
)

Gives = Callable[[str], Circuit]


def means(circuit: Circuit, cycles: int, *ways: Quantity, first: int = 0) -> list[tuple[Any, Any]]:
    """Return quantities' period means from period `first` on, averaged and switched."""
    at = averaged_samples(run_averaged(circuit, t_end=cycles * circuit.period),
                          (np.arange(cycles) + 0.5) * circuit.period)  # fmt: skip
    w = window(run(circuit, cycles=cycles))
    return [(at.of(q)[first:], w.per_cycle(q)[first:]) for q in ways]


def apart(ours: Any, theirs: Any) -> float:
    return float(np.sqrt(np.mean((ours - theirs) ** 2)))


def through(direction: str, overlap: float) -> Circuit:
    """Return a charger of four switches on one control voltage whose source falls through its pack's voltage."""
    period = 1.0 / 600e3
    q = SwitchSide(r_on=10e-3, v_f=0.75, r_d=10e-3)
    fall = Wave(points=((0.0, 18.0), (0.8e-3, 18.0), (2.8e-3, 12.0)))
    pack = pack_at("out", PackSide(ocv=14.8, r0=80e-3, pairs=((20e-3, 5e-3),)))
    at_in = source_at("in", SourceSide(v=fall, r=20e-3, l=100e-9))
    stage = four_switch((q, q, q, q), CoilSide(l=3.3e-6, dcr=12e-3), Bank(c=22e-6, esr=3e-3, start=18.0),
                        Bank(c=22e-6, esr=3e-3, start=14.8), at_in, pack)  # fmt: skip
    loop = Loop(name="cc", terms=((1.0, i_of("r_pack")),), reference=3.0, gain=0.1, gm=1e-4, r_z=2e3, c_z=6.8e-9,
                c_p=100e-12, start=0.85)  # fmt: skip
    control = control_of((loop,), Clamp(low=0.02, high=1.6, margin=0.1, r=1e3))
    modulator = both_legs(direction, control=CONTROL, ramp=1.0, period=period, dead=15e-9, overlap=overlap)
    return Circuit(elements=stage + control, period=period, modulator=modulator, signals=names_of(control))


@pytest.mark.parametrize("overlap", [0.1, -0.02])
def test_two_legs_pass_from_step_down_to_step_up_as_switched(overlap: float) -> None:
    circuit = through("forward", overlap)
    ways = (i_of("coil"), i_of("r_pack"), v_node(CONTROL), v_node("in"))
    for q, (ours, theirs) in zip(ways, means(circuit, 1_800, *ways, first=400), strict=True):
        # Over its mean: the loop holds the pack's current, which so has hardly a span.
        assert apart(ours, theirs) <= 1e-2 * np.mean(theirs), q


PAIR = PassSwitch(name="pair", a="in", b="out", r_on=8e-3, slew=2e3, r_follow=0.1, drive=6.0, threshold=3.0,
                  t_fall=2e-6)  # fmt: skip


def guarded(*trips: Trip) -> Circuit:
    """Return a source that jumps from 20 V to 30 V, a slewed pair of switches after it, and a load."""
    feed = SourceSide(v=Wave(points=((0.0, 20.0), (15e-3, 20.0), (15.05e-3, 30.0))), r=0.05, l=1e-6)
    elements: tuple[Element, ...] = (
        *source_at("in", feed), *bank_at("in", "in", Bank(c=10e-6, esr=20e-3, start=20.0)), PAIR,
        *bank_at("out", "out", Bank(c=50e-6, esr=5e-3, start=0.0)), *load_resistor("out", 100.0),
    )  # fmt: skip
    return Circuit(elements=elements, period=10e-6, timeline=(Timed(switch="pair", t=0.0, on=True),), trips=trips)


def pulled_up(**change: float) -> Circuit:
    """Return 10 V onto 10 µH through a switch that a trip holds open, with a diode for the coil."""
    elements: tuple[Element, ...] = (
        Source(name="source", a="a", b="0", v=10.0), Switch(name="q", a="a", b="b", r_on=1e-6, r_off=1e9),
        Diode(name="d", a="0", b="b", v_f=5.0, r_on=1e-6), Coil(name="coil", a="b", b="0", l=10e-6),
    )  # fmt: skip
    trip = Trip(name="over", terms=((1.0, i_of("coil")),), level=5.0, holds=("q",), delay=1.5e-6, **change)
    return Circuit(elements=elements, period=1e-6, timeline=(Timed(switch="q", t=0.0, on=True),), trips=(trip,))


def same(circuit: Circuit, t_end: float, *ways: Quantity) -> None:
    # Between round instants, at which things jump.
    t = (np.arange(1_500) + 0.37) / 1_500 * t_end
    ours, theirs = averaged_samples(run_averaged(circuit, t_end=t_end), t), samples(run(circuit, t_end=t_end), t)
    for q in ways:
        # Nothing switches with the clock, so that nothing is averaged: each step keeps within 2e-6, events within 1e-6
        # of a period.
        assert np.max(np.abs(ours.of(q) - theirs.of(q))) <= 1e-4 * np.ptp(theirs.of(q)), q


def test_a_slewed_pair_starts_a_bus_as_switched() -> None:
    same(guarded(), 18e-3, i_of("pair"), v_node("out"), v_node("in"))


def test_a_pair_cuts_an_over_voltage_off_as_switched() -> None:
    over = Trip(name="over", terms=((1.0, v_node("in")),), level=24.0, holds=("pair",), delay=1e-6)
    circuit = guarded(over)
    same(circuit, 18e-3, i_of("pair"), v_node("out"), v_node("in"))
    end = averaged_samples(run_averaged(circuit, t_end=18e-3), np.array([18e-3]))
    assert end.of(i_of("pair"))[0] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("change", [{}, {"retry": 30e-6}, {"release": 1.0}], ids=["stays", "retries", "releases"])
def test_a_trip_holds_and_lets_go_as_switched(change: dict[str, float]) -> None:
    same(pulled_up(**change), 150e-6, i_of("coil"), i_of("q"))


@pytest.mark.parametrize("holds", [("q_high",), ("q_high", "q_low")])
def test_a_trip_holds_the_switches_that_the_clock_drives(holds: tuple[str, ...], circuit_like: Gives) -> None:
    trip = Trip(name="over", terms=((1.0, v_node("out")),), level=3.0, holds=holds, delay=5e-6)
    circuit = replace(circuit_like("o01_buck_rload"), trips=(trip,))
    (out, exact), (ours, theirs) = means(circuit, 240, v_node("out"), i_of("coil"))
    assert apart(out, exact) <= 1e-2 * np.ptp(exact)
    # By its ripple the switched circuit trips sooner, by a third of a period.
    assert apart(ours, theirs) <= 1.5e-2 * np.ptp(theirs)
    assert abs(ours[-1]) < 0.01 * np.max(theirs)


def light(skip: Skip | None) -> Circuit:
    """Return a buck from 12 V whose pulses are a quarter of the period, at 50 mA of load; hardly a loss in it."""
    ideal, period = SwitchSide(r_on=1e-4, v_f=1e-3, r_d=1e-4), 2e-6
    stage = two_switch(ideal, replace(ideal, emulate=True), CoilSide(l=4.7e-6, dcr=1e-4),
                       Bank(c=1e-3, esr=1e-4, start=12.0), Bank(c=47e-6, esr=1e-4, start=5.0),
                       source_at("in", SourceSide(v=12.0, r=1e-4, l=1e-9)), load_current("out", 0.05))  # fmt: skip
    control: tuple[Element, ...] = (Follower(name=CONTROL, a=CONTROL, terms=(), offset=0.25),)
    modulator = Modulator(main="q_high", sync="q_low", control=CONTROL, slope=1.0 / period, dead=0.0, skip=skip)
    return Circuit(elements=stage + control, period=period, modulator=modulator, signals=names_of(control))


def test_skipped_pulses_hold_the_output_where_the_switched_circuit_does_and_leave_the_energy_to_it() -> None:
    circuit = light(Skip(low=-5.01, high=-4.99, terms=((-1.0, v_node("out")),)))
    ((ours, theirs),) = means(circuit, 250, v_node("out"), first=50)
    assert np.mean(ours) == pytest.approx(np.mean(theirs), rel=1e-3)
    # Means see neither what a pulse adds after the comparator nor the wait for the clock: they keep to the band.
    assert 4.99 - 1e-3 < np.min(ours) < np.max(ours) < 5.01 + 1e-3
    # Each burst begins and ends within a period: over many the source gives 3 % more than the switched one has.
    result = run_averaged(circuit, t_end=50 * circuit.period)
    with pytest.raises(OutOfRange, match=r"left pulses out.*needs the switched circuit"):
        averaged_energies(result)


def test_a_band_that_is_never_left_leaves_no_pulse_out() -> None:
    circuit = light(Skip(low=-7.0, high=-6.9, terms=((-1.0, v_node("out")),)))
    result = run_averaged(circuit, t_end=100 * circuit.period)
    plain = run_averaged(light(None), t_end=100 * circuit.period)
    assert result.end.x == pytest.approx(plain.end.x, rel=1e-9, abs=1e-9)
    parts = averaged_energies(result)
    assert abs(parts.unaccounted) <= 1e-6 * parts.turnover

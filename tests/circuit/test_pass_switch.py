"""The slewed blocking pair and protections: independent runs (o13 inrush, o14 over-voltage step), then definitions."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from chargewright.base.compiled import numba_module
from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.circuit.circuit import Circuit, Timed, Trip
from chargewright.circuit.elements import (
    Capacitor,
    Coil,
    Diode,
    Element,
    PassSwitch,
    Resistor,
    Source,
    Switch,
    Wave,
    i_of,
    v_node,
)
from chargewright.circuit.flow import samples
from chargewright.circuit.measures import energies, window
from chargewright.circuit.run import Run, engine_of, run
from chargewright.circuit.stages import Bank, SourceSide, bank_at, load_current, load_resistor, source_at

Record = Callable[[str], dict[str, Any]]
Parameters = Callable[[str], dict[str, float]]
Table = Callable[[str, str], dict[str, Any]]


def follow(kp: float, i: float) -> float:
    """Return the gate voltage beyond threshold over current of a square-law switch [Ω]: i = kp/2·v²."""
    return math.sqrt(2.0 * i / kp) / i


def inrush(p: dict[str, float]) -> Circuit:
    """Return o13: the gate current charges the capacitor at the gate, and both gates' own below the threshold."""
    slew = p["IG"] / p["CG"]
    pair = PassSwitch(name="pair", a="in", b="out", r_on=2.0 / (p["KP"] * (p["VDRV"] - p["VT"])), slew=slew,
                      r_follow=follow(p["KP"], p["CB"] * slew), drive=p["VDRV"] - p["VT"],
                      threshold=p["VT"] * (p["CG"] + 2.0 * p["CGS"]) / p["CG"])  # fmt: skip
    elements: tuple[Element, ...] = (
        *source_at("in", SourceSide(v=p["VIN"], r=p["RS"], l=p["LS"])),
        *bank_at("in", "in", Bank(c=p["CIN"], esr=p["ESRI"], start=p["VIN"])),
        pair,
        *bank_at("out", "out", Bank(c=p["CB"], esr=p["ESRB"], start=p["VB0"])),
        *load_resistor("out", p["RLD"]),
    )
    return Circuit(elements=elements, period=10e-6, timeline=(Timed(switch="pair", t=0.0, on=True),), title="inrush")


def over_voltage(p: dict[str, float]) -> Circuit:
    """Return o14: the gate driver sits between gate and source, so that nothing but the channel limits while on."""
    r_on = 2.0 / (p["KP"] * (p["VDRV"] - p["VT"]))
    before = p["V0"] - p["RC"] * p["IL"]
    drive = p["VDRV"] - p["VT"]
    step = Wave(points=((0.0, p["V0"]), (p["TON"], p["V0"]), (p["TON"] + p["TR"], p["V1"])))
    feed = source_at("in", SourceSide(v=step, r=p["RC"], l=p["LC"]))
    elements: tuple[Element, ...] = (
        *(replace(e, start=p["IL"]) if isinstance(e, Coil) else e for e in feed),
        *bank_at("in", "in", Bank(c=p["CIN"], esr=p["ESRI"], start=before)),
        PassSwitch(name="pair", a="in", b="out", r_on=r_on, slew=1e9, r_follow=follow(p["KP"], 20.0), drive=drive,
                   threshold=p["VT"], t_fall=p["RG"] * 2.0 * p["CGS"], start=before + drive),
        *bank_at("out", "out", Bank(c=p["CB"], esr=p["ESRB"], start=before - r_on * p["IL"])),
        *load_current("out", p["IL"]),
    )  # fmt: skip
    trip = Trip(name="over", terms=((1.0, v_node("in")),), level=p["VOV"], holds=("pair",), delay=p["TD"])
    return Circuit(elements=elements, period=1e-6, timeline=(Timed(switch="pair", t=0.0, on=True),), trips=(trip,),
                   title="over-voltage step")  # fmt: skip


def instants(result: Run, thing: Any, digit: int) -> Any:
    """Return when an element or a trip enters a piece."""
    layout = result.tables.layout
    digits = np.array([layout.digit(result.tables.modes[m].key, thing) for m in result.mode])
    return result.t[1:][(digits[1:] == digit) & (digits[:-1] != digit)]


def test_inrush_through_the_slewed_pair_agrees_with_the_independent_run(
    reference_record: Record, reference_parameters: Parameters, reference_table: Table
) -> None:
    # o13, ngspice 39 with square-law switches, cross-checked by a quasi-static model. Bounds: the runs' own notes.
    p, known = reference_parameters("o13_inrush"), reference_record("o13_inrush")["results"]
    result = run(inrush(p), t_end=22e-3)
    w = window(result)
    assert w.extremes(i_of("pair"))[1] == pytest.approx(known["i_peak_A"], rel=0.01)
    t = np.linspace(0.0, 22e-3, 8001)
    v = samples(result, t).of(v_node("out"))
    t10, t90 = (float(np.interp(share * p["VIN"], v, t)) for share in (0.1, 0.9))
    assert 0.8 * p["VIN"] / (t90 - t10) == pytest.approx(1e3 * known["bus_slew_10_90_V_per_ms"], rel=0.005)
    # The record splits the energy between two switches; the pair is one element.
    both = known["e_fet1_mJ"] + known["e_fet2_channel_mJ"]
    parts = energies(w)
    assert 1e3 * parts.losses["pair"] * w.duration == pytest.approx(both, rel=0.01)
    assert abs(parts.unaccounted) <= 1e-9 * parts.turnover
    # The straight line in place of the square law moves the start of the ramp by some 40 µs, or 60 mV.
    theirs = reference_table("o13_inrush", "waveform.csv")
    assert np.max(np.abs(samples(result, theirs["t_s"]).of(v_node("out")) - theirs["v_vbus"])) < 0.08


def test_the_energy_of_an_unloaded_start_is_that_of_the_capacitor(reference_parameters: Parameters) -> None:
    # Definition: charging a capacitor from a constant voltage loses as much as it stores, ½·C·V², however slowly.
    p = reference_parameters("o13_inrush") | {"RLD": 1e9}
    w = window(run(inrush(p), t_end=22e-3))
    assert energies(w).losses["pair"] * w.duration == pytest.approx(0.5 * p["CB"] * p["VIN"] ** 2, rel=1e-3)


def test_an_over_voltage_step_is_cut_off_as_the_independent_run_says(
    reference_record: Record, reference_parameters: Parameters
) -> None:
    # o14, ngspice 39, cross-checked by scipy's ODE solver. Bounds: the runs' own notes.
    p, known = reference_parameters("o14_overvoltage"), reference_record("o14_overvoltage")["results"]
    circuit = over_voltage(p)
    result = run(circuit, t_end=80e-6)
    w = window(result)
    assert w.extremes(v_node("out"))[1] == pytest.approx(known["v_bus_peak_V"], rel=0.005)
    assert w.extremes(v_node("in"))[1] == pytest.approx(known["v_conn_peak_V"], rel=0.01)
    trip, pair = circuit.trips[0], circuit.element("pair")
    crossed, held = instants(result, trip, 1)[0], instants(result, trip, 3)[0]
    assert crossed - p["TON"] == pytest.approx(1e-6 * known["t_crossing_after_ramp_start_us"], rel=0.001)
    assert held - crossed == pytest.approx(p["TD"], rel=1e-9)
    assert instants(result, pair, 0)[0] - crossed == pytest.approx(
        1e-6 * known["t_channel_off_after_crossing_us"], rel=0.02
    )
    assert abs(energies(w).unaccounted) <= 1e-9 * energies(w).turnover


def pulled_up(trip: Trip, **change: float) -> Circuit:
    """Return 10 V onto 10 µH through a switch, with a diode for the coil when it opens."""
    elements: tuple[Element, ...] = (
        Source(name="source", a="a", b="0", v=10.0),
        Switch(name="q", a="a", b="b", r_on=1e-6, r_off=1e9),
        Diode(name="d", a="0", b="b", v_f=5.0, r_on=1e-6),
        Coil(name="coil", a="b", b="0", l=10e-6),
    )
    return Circuit(elements=elements, period=1e-6, timeline=(Timed(switch="q", t=0.0, on=True),), trips=(trip,))


def test_an_over_current_trip_opens_after_its_delay_and_stays_open() -> None:
    # Definition: 10 V on 10 µH is 1 A/µs: 5 A after 5 µs, 6.5 A when the switch opens 1.5 µs later, back to zero over
    # the diode's 5 V after another 13 µs.
    trip = Trip(name="over", terms=((1.0, i_of("coil")),), level=5.0, holds=("q",), delay=1.5e-6)
    result = run(pulled_up(trip), cycles=40)
    assert window(result).extremes(i_of("coil"))[1] == pytest.approx(6.5, rel=1e-5)
    assert instants(result, result.circuit.element("d"), 0)[0] == pytest.approx(19.5e-6, rel=1e-4)
    assert window(result, 30, 40).extremes(i_of("q"))[1] < 1e-6


def test_a_trip_that_retries_tries_again_after_its_time_and_trips_again() -> None:
    # The same, closed again 30 µs after opening: opens at 6.5, 6.5 + 30 + 6.5, … µs, each time at 6.5 A.
    trip = Trip(name="over", terms=((1.0, i_of("coil")),), level=5.0, holds=("q",), delay=1.5e-6, retry=30e-6)
    result = run(pulled_up(trip), cycles=150)
    opened = instants(result, trip, 2)
    assert opened == pytest.approx(6.5e-6 + 36.5e-6 * np.arange(len(opened)), rel=1e-5)
    assert len(opened) == 4
    assert window(result).extremes(i_of("coil"))[1] == pytest.approx(6.5, rel=1e-4)


def test_a_trip_that_releases_waits_for_the_quantity_to_fall() -> None:
    # Definition: 1 A/µs up to 5 A without delay, then −0.5 A/µs to the release at 2 A, again and again: 3 + 6 µs.
    trip = Trip(name="band", terms=((1.0, i_of("coil")),), level=5.0, holds=("q",), release=2.0)
    result = run(pulled_up(trip), cycles=60)
    assert instants(result, trip, 3) == pytest.approx(5e-6 + 9e-6 * np.arange(7), rel=1e-4)
    assert window(result, 20, 60).extremes(i_of("coil")) == pytest.approx((2.0, 5.0), rel=1e-4)


def test_a_pair_that_is_off_blocks_both_ways_and_closes_again_from_the_bus() -> None:
    # Off, 5 V on one side and 12 V on the other change nothing; on again at 3 ms it slews from where the bus is.
    elements: tuple[Element, ...] = (
        Source(name="source", a="in", b="0", v=Wave(points=((0.0, 12.0), (1e-3, 12.0), (1.1e-3, 5.0), (2e-3, 5.0),
                                                            (2.1e-3, 12.0), (3e-3, 12.0), (3.1e-3, 20.0)))),
        PassSwitch(name="pair", a="in", b="out", r_on=0.02, slew=4e3, r_follow=0.02, threshold=1.0, start=17.0),
        Resistor(name="esr", a="out", b="c", r=5e-3), Capacitor(name="c", a="c", b="0", c=50e-6, start=12.0),
    )  # fmt: skip
    timeline = (Timed(switch="pair", t=0.0, on=True), Timed(switch="pair", t=0.9e-3, on=False),
                Timed(switch="pair", t=4e-3, on=True))  # fmt: skip
    result = run(Circuit(elements=elements, period=1e-5, timeline=timeline), t_end=8e-3)
    held = samples(result, np.linspace(1e-3, 3.9e-3, 200)).of(v_node("out"))
    assert held == pytest.approx(np.full(200, 12.0), abs=1e-3)
    # 1 V of threshold at 4 V/ms, then 8 V at the same slope; 50 µF · 4 V/ms are 0.2 A.
    later = samples(result, np.array([4.2e-3, 5.25e-3, 7.9e-3]))
    assert later.of(v_node("out")) == pytest.approx([12.0, 16.0, 20.0], abs=0.02)
    assert window(result, 410, 800).extremes(i_of("pair"))[1] == pytest.approx(0.2, rel=1e-3)


def test_a_source_that_jumps_beyond_the_gate_s_reach_is_limited_again() -> None:
    # 5 V of drive: a jump from 12 to 24 V lifts the bus by the drive at once, then by the slew.
    elements: tuple[Element, ...] = (
        Source(name="source", a="in", b="0", v=Wave(points=((0.0, 12.0), (1e-3, 12.0), (1.001e-3, 24.0)))),
        PassSwitch(name="pair", a="in", b="out", r_on=0.02, slew=4e3, r_follow=0.02, drive=5.0, start=17.0),
        Resistor(name="esr", a="out", b="c", r=5e-3), Capacitor(name="c", a="c", b="0", c=5e-6, start=12.0),
    )  # fmt: skip
    circuit = Circuit(elements=elements, period=1e-5, timeline=(Timed(switch="pair", t=0.0, on=True),))
    at = samples(run(circuit, t_end=4e-3), np.array([1.1e-3, 1.6e-3, 3.9e-3])).of(v_node("out"))
    assert at[0] == pytest.approx(17.0 + 4e3 * 0.1e-3, abs=0.05)
    assert at[1] - at[0] == pytest.approx(4e3 * 0.5e-3, rel=1e-3)
    assert at[2] == pytest.approx(24.0, abs=1e-3)


@pytest.mark.skipif(numba_module() is None, reason="numba is not installed")
def test_the_compiled_loop_agrees_about_pairs_and_trips(reference_parameters: Parameters) -> None:
    for circuit, cycles in ((inrush(reference_parameters("o13_inrush")), 400),
                            (over_voltage(reference_parameters("o14_overvoltage")), 40)):  # fmt: skip
        ends = [e.advance(e.beginning(), cycles) for e in (engine_of(circuit, compiled=c) for c in (False, True))]
        assert len(ends[0].tau) == len(ends[1].tau)
        assert ends[0].x == pytest.approx(ends[1].x, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"holds": ("coil",)}, "holds coil open, which is no switch"),
        ({"level": math.nan}, "the level of over is nan"),
        ({"delay": -1e-6}, "the delay of over"),
        ({"retry": 0.0}, "the retry of over"),
        ({"release": 6.0}, "not at or below its level"),
        ({"terms": ((1.0, i_of("nothing")),)}, "no element called nothing"),
        ({"name": "coil"}, "given more than once: coil"),
    ],
)
def test_a_trip_without_meaning_is_refused(change: dict[str, Any], words: str) -> None:
    trip = Trip(name="over", terms=((1.0, i_of("coil")),), level=5.0, holds=("q",), delay=1.5e-6)
    with pytest.raises(OutOfRange, match=words):
        run(pulled_up(replace(trip, **change)), cycles=2)


@pytest.mark.parametrize("field", ["r_on", "slew", "r_follow", "drive", "t_fall"])
def test_a_pass_switch_without_meaning_is_refused(field: str, reference_parameters: Parameters) -> None:
    good = inrush(reference_parameters("o13_inrush"))
    for value in (0.0, -1.0, math.nan, math.inf):
        bad = tuple(replace(e, **{field: value}) if isinstance(e, PassSwitch) else e for e in good.elements)
        with pytest.raises(OutOfRange, match="of pair is"):
            run(replace(good, elements=bad), cycles=1)


def test_a_gate_that_gives_more_than_the_channel_carries_is_refused(reference_parameters: Parameters) -> None:
    good = inrush(reference_parameters("o13_inrush"))
    bad = tuple(replace(e, r_on=1.0) if isinstance(e, PassSwitch) else e for e in good.elements)
    with pytest.raises(OutOfRange, match="the first must be the larger"):
        run(replace(good, elements=bad), cycles=1)


def test_a_slewed_start_with_absurd_values_ends_at_once_with_words_or_an_answer(
    reference_parameters: Parameters,
) -> None:
    # From a thousandth to a thousand times of each value: none may hang; what is not solved says so.
    good = inrush(reference_parameters("o13_inrush"))
    rng = np.random.default_rng(5)
    answered = 0
    for _ in range(60):
        factor = 10.0 ** rng.uniform(-3.0, 3.0, 5)
        changed = tuple(
            replace(e, r_on=min(e.r_on * factor[0], 0.2 * factor[1]), r_follow=0.2 * factor[1], slew=e.slew * factor[2],
                    drive=e.drive * factor[3], t_fall=e.t_fall * factor[4], start=float(rng.uniform(-30.0, 30.0)))
            if isinstance(e, PassSwitch) else e for e in good.elements
        )  # fmt: skip
        timeline = (*good.timeline, Timed(switch="pair", t=float(rng.uniform(0.0, 1e-4)), on=False))
        try:
            result = run(replace(good, elements=changed, timeline=timeline), cycles=12)
        except NoSolution:
            continue
        answered += 1
        w = window(result)
        assert abs(energies(w).unaccounted) <= 1e-6 * max(energies(w).turnover, 1e-3)
    assert answered >= 55

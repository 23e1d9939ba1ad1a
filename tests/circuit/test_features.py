"""Bends, light load, constant power, peak-current mode: each against a definition, a limit or ngspice."""

import math
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chargewright.base.compiled import numba_module
from chargewright.circuit.circuit import Circuit, Gate, Modulator
from chargewright.circuit.deck import deck
from chargewright.circuit.elements import (
    Capacitor,
    Coil,
    Element,
    Follower,
    PowerLoad,
    Resistor,
    Source,
    Wave,
    i_of,
    v_node,
)
from chargewright.circuit.flow import flow, samples
from chargewright.circuit.measures import energies, window
from chargewright.circuit.run import engine_of, run
from chargewright.circuit.steady import steady_state

Gives = Callable[[str], Circuit]


def table_of(ngspice: str, text: str, folder: Path) -> Any:
    (folder / "deck.cir").write_text(text)
    done = subprocess.run([ngspice, "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, timeout=300)
    assert (folder / "out.raw").exists(), done.stdout + done.stderr
    head, data = (folder / "out.raw").read_bytes().split(b"Binary:\n", 1)
    columns = next(line for line in head.decode().splitlines() if line.startswith("No. Variables"))
    return np.frombuffer(data).reshape(-1, int(columns.split(":")[1]))


def test_a_bent_coil_carries_the_flux_of_its_pieces() -> None:
    # Definition: flux = ∫ v dt. 10 V for 3 µs is 30 µVs; 10 µH up to 2 A take 20 of them, 2 µH the other 10: 7 A.
    elements: tuple[Element, ...] = (
        Source(name="source", a="a", b="0", v=10.0),
        Coil(name="coil", a="a", b="0", l=10e-6, bends=((2.0, 2e-6),)),
    )
    result = run(Circuit(elements=elements, period=1e-6), cycles=3)
    assert result.end.x[0] == pytest.approx(7.0, rel=1e-12)
    # ½·10 µH·4 A² + 2 µH·(7² − 2²)/2 = 65 µJ over 3 µs.
    assert energies(window(result)).stored == pytest.approx(65e-6 / 3e-6, rel=1e-12)


def test_a_saturating_buck_agrees_with_ngspice(ngspice: str, tmp_path: Path, circuit_like: Gives) -> None:
    plain = circuit_like("o01_buck_rload")
    bends = ((3.5, 1.4e-6), (4.8, 0.8e-6))
    circuit = replace(
        plain, elements=tuple(replace(e, bends=bends) if isinstance(e, Coil) and e.name == "coil" else e
                              for e in plain.elements)
    )  # fmt: skip
    theirs = table_of(ngspice, deck(circuit, cycles=120, record=(i_of("coil"),)), tmp_path)
    result = run(circuit, cycles=120)
    late = (theirs[:, 0] > 100 * circuit.period) & (theirs[:, 0] < 119.99 * circuit.period)
    apart = samples(result, theirs[late, 0] - 25e-12).of(i_of("coil")) - theirs[late, 1]
    assert np.sqrt(np.mean(apart**2)) <= 5e-3 * np.ptp(theirs[late, 1])
    assert window(result, 100, 120).extremes(i_of("coil"))[1] == pytest.approx(np.max(theirs[late, 1]), rel=3e-3)


def test_a_short_handover_agrees_with_ngspice_live(
    ngspice: str, tmp_path: Path, charger_like: Gives, reference_deck: Callable[[str], str]
) -> None:
    # The reference's own deck, run live with a pack so small that the voltage loop takes over within two milliseconds.
    whole = charger_like("o07_cccv")
    circuit = replace(
        whole,
        elements=tuple(replace(e, c=e.c / 6.0, bends=tuple((v, c / 6.0) for v, c in e.bends))
                       if isinstance(e, Capacitor) and e.cell else e for e in whole.elements),
    )  # fmt: skip
    cycles = 1700
    text = reference_deck("o07_cccv").replace("QB=0.09", "QB=0.015")
    text = text.replace("tran 20n 0.015 0 6.25e-09 uic", f"tran 20n {cycles * circuit.period} 0 2.5e-08 uic")
    text = text.replace(".save v(vo) v(vb) v(vin) i(L1) i(Ls) i(Vbat) v(ci) v(cv) v(ctl) v(s) v(b2)",
                        ".save v(ci) v(cv) v(vb) i(Vbat)")  # fmt: skip
    theirs = table_of(ngspice, text, tmp_path)
    t = theirs[:, 0]
    w = window(run(circuit, cycles=cycles))
    ours = [w.per_cycle(q) for q in (v_node("loop_cc"), v_node("loop_cv"), v_node("pack"), i_of("r_pack"))]
    edges = np.arange(cycles + 1) * circuit.period
    means = []
    for k in range(1, 5):
        steps = 0.5 * (theirs[1:, k] + theirs[:-1, k]) * np.diff(t)
        total = np.concatenate([[0.0], np.cumsum(steps)])
        means.append(np.diff(np.interp(edges, t, total)) / circuit.period)
    over = [int(np.flatnonzero(m[1] < m[0])[0]) for m in (ours, means)]
    # The hand-over comes late enough to have a constant-current phase before it.
    assert over[0] > 600
    assert abs(over[0] - over[1]) <= 1
    overshoot = [np.max(m[2]) - 8.4 for m in (ours, means)]
    assert overshoot[0] == pytest.approx(overshoot[1], rel=0.02)
    for mine, other in zip(ours[2:], means[2:], strict=True):
        assert np.sqrt(np.mean((mine - other)[5:] ** 2)) <= 5e-3 * np.ptp(other)


def test_the_flow_is_that_of_the_eigenvectors(circuit_like: Gives) -> None:
    # Second road: x(t) = V·exp(λt)·V⁻¹·x, in modes whose eigenvectors are well conditioned (numpy's own).
    result = run(circuit_like("o02_buck_pack"), cycles=3)
    t = np.linspace(0.0, 1e-6, 9)
    compared = 0
    for number, mode in enumerate(result.tables.modes):
        rates, vectors = np.linalg.eig(mode.a)
        scale = 1.0 / np.linalg.norm(vectors, axis=0)
        if np.linalg.cond(vectors * scale) > 1e6 or np.max(np.abs(rates)) > 1e9:
            continue
        compared += 1
        start = result.x[-1]
        modal = np.linalg.solve(vectors, start.astype(complex))
        theirs = ((vectors[None] * np.exp(rates * t[:, None])[:, None, :]) @ modal).real
        ours = flow(result.tables, number, np.tile(start, (len(t), 1)), t)
        assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-9)
    assert compared >= 3


def test_diode_emulation_is_discontinuous_conduction_with_a_channel(circuit_like: Gives) -> None:
    # Limit: a channel that opens at zero current conducts as long as a diode does, with its own drop. A diode with a
    # drop of 0.1 mV and the channel's resistance makes the same circuit.
    plain = circuit_like("o04_buck_dcm")
    gate = next(g for g in plain.gates if g.switch == "q_high")
    changed = []
    for e in plain.elements:
        if e.name == "q_low":
            changed.append(replace(e, emulate=True))
        elif e.name == "d_q_low":
            changed.append(replace(e, v_f=1e-4, r_on=0.01))
        else:
            changed.append(e)
    channel = replace(
        plain,
        elements=tuple(changed),
        gates=(gate, Gate(switch="q_low", on=gate.off + 1e-6, off=1.0 - 1e-6)),
    )
    diode = replace(plain, elements=tuple(changed))
    ours, theirs = (window(steady_state(c)) for c in (channel, diode))
    assert ours.mean(v_node("out")) == pytest.approx(theirs.mean(v_node("out")), rel=1e-3)
    assert ours.extremes(i_of("coil"))[0] >= -1e-3


def test_discontinuous_conversion_ratio_is_the_textbooks(circuit_like: Gives) -> None:
    # Erickson & Maksimovic, Fundamentals of Power Electronics, ch. 5 (from memory): M = 2/(1 + √(1 + 4K/D²)),
    # K = 2L/(R·T), without drops; the drops of the deck are made small for it.
    plain = circuit_like("o04_buck_dcm")
    change: dict[str, Any] = {"d_q_low": {"v_f": 1e-4, "r_on": 1e-4}, "q_high": {"r_on": 1e-4},
                              "r_coil": {"r": 1e-4}, "c_in": {"c": 1e-3}, "c_out": {"c": 1e-3}}  # fmt: skip
    circuit = replace(plain, elements=tuple(replace(e, **change.get(e.name, {})) for e in plain.elements))
    duty, k = 0.30, 2.0 * 3.3e-6 * 500e3 / 25.0
    known = 2.0 / (1.0 + math.sqrt(1.0 + 4.0 * k / duty**2))
    w = window(steady_state(circuit))
    # 0.1 %: what the source's 10 mΩ takes.
    assert w.mean(v_node("out")) / 18.0 == pytest.approx(known, rel=1e-3)


def test_a_load_of_constant_power_takes_that_power() -> None:
    elements: tuple[Element, ...] = (
        Source(name="source", a="a", b="0", v=Wave(points=((0.0, 12.0), (1e-3, 12.0), (3e-3, 18.0)))),
        Resistor(name="r", a="a", b="b", r=0.1), Resistor(name="esr", a="b", b="c", r=5e-3),
        Capacitor(name="c", a="c", b="0", c=1e-4, start=11.8),
        PowerLoad(name="load", a="b", b="0", p=20.0, chords=tuple(np.linspace(8.0, 20.0, 61))),
    )  # fmt: skip
    w = window(run(Circuit(elements=elements, period=1e-5), cycles=400), 100, 400)
    power = w.of(v_node("b")) * w.of(i_of("load"))
    # A chord of 0.2 V at 12 V and more lies at most (0.2/12)²/8·… = 4e-5 above the curve.
    assert np.min(power) >= 20.0 * (1.0 - 1e-9)
    assert np.max(power) <= 20.0 * (1.0 + 1e-4)


def current_mode(duty_over_half: bool, slope: float) -> Circuit:
    v_out = 7.0 if duty_over_half else 3.0
    from chargewright.circuit.stages import Bank, CoilSide, SourceSide, SwitchSide, source_at, two_switch

    side = SwitchSide(r_on=1e-3, v_f=0.7, r_d=1e-3)
    stage = two_switch(
        side, side, CoilSide(l=5e-6, dcr=1e-3), Bank(c=1e-4, esr=1e-3, start=10.0), Bank(c=1e-4, esr=1e-3, start=v_out),
        source_at("in", SourceSide(v=10.0, r=1e-3, l=1e-8)),
        (Resistor(name="r_sink", a="out", b="sink", r=1e-3), Source(name="sink", a="sink", b="0", v=v_out)),
    )  # fmt: skip
    limit: tuple[Element, ...] = (Follower(name="limit", a="limit", terms=(), offset=0.5),)
    modulator = Modulator(main="q_high", sync="q_low", control="limit", slope=slope, dead=1e-9,
                          terms=((0.1, i_of("coil")),))  # fmt: skip
    return Circuit(elements=stage + limit, period=1e-6, modulator=modulator, signals=frozenset(["limit"]))


def test_peak_current_mode_ends_each_pulse_at_its_limit() -> None:
    # Definition: with no slope the pulse ends where 0.1 Ω times the coil current is the limit of 0.5 V: 5 A.
    w = window(run(current_mode(False, 0.0), cycles=300), 290, 300)
    assert w.extremes(i_of("coil"))[1] == pytest.approx(5.0, rel=2e-3)


def test_peak_current_mode_needs_slope_beyond_half_duty() -> None:
    # Erickson & Maksimovic, ch. 12 (from memory): unstable above half duty, stable from half the falling slope on.
    falling = 7.0 / 5e-6 * 0.1
    valleys = []
    for slope in (0.0, 0.6 * falling):
        result = run(current_mode(True, slope), cycles=400)
        starts = np.array([result.x[int(np.searchsorted(result.cycle, k)), 0] for k in range(380, 400)])
        valleys.append(float(np.ptp(starts)))
    assert valleys[0] > 0.1
    assert valleys[1] < 1e-6


def test_the_compiled_loop_gives_the_same_numbers(circuit_like: Gives, charger_like: Gives) -> None:
    if numba_module() is None:
        pytest.skip("numba is not installed: `pip install numba`")
    for circuit in (circuit_like("o04_buck_dcm"), charger_like("o08_bus_load_step")):
        pair = [engine_of(circuit, compiled=c) for c in (False, True)]
        ends = [e.advance(e.beginning(), 40) for e in pair]
        # The same operations in the same order, but for what a fused multiply-add rounds.
        assert len(ends[0].tau) == len(ends[1].tau)
        assert ends[0].x == pytest.approx(ends[1].x, rel=1e-9, abs=1e-9)

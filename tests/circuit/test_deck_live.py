"""Decks that the product writes, run live in ngspice: the two must agree within the bounds the product is held to.

Means 0.1 %, ripple 0.3 %, rms 0.2 %, each loss 0.5 % or 1 mW, waveforms 0.5 % of their span.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from spice_table import between, integral, power, simulated

from chargewright.circuit.circuit import Circuit
from chargewright.circuit.deck import deck
from chargewright.circuit.elements import Quantity, i_of, v_node, v_of
from chargewright.circuit.flow import samples
from chargewright.circuit.measures import window
from chargewright.circuit.run import run


@pytest.mark.parametrize(
    ("case", "cycles"),
    [("o01_buck_rload", 260), ("o03_boost_reverse", 200), ("o05_bb_boost", 200), ("o06_bb_transition", 200)],
)
def test_a_written_deck_agrees_with_the_product(
    case: str, cycles: int, ngspice: str, tmp_path: Path, circuit_like: Callable[[str], Circuit]
) -> None:
    circuit = circuit_like(case)
    names = [s.name for s in circuit.switches]
    seen: list[Quantity] = [i_of("coil"), v_node("out"), v_node("in"), i_of("c_in"), i_of("c_out")]
    switches = [q for n in names for q in (i_of(n), v_of(n), i_of(f"d_{n}"))]
    theirs = simulated(ngspice, deck(circuit, cycles=cycles, record=(*seen, *switches)), tmp_path)
    result = run(circuit, cycles=cycles)
    w = window(result, cycles - 5, cycles)
    begin, end = (k * circuit.period + 25e-12 for k in (cycles - 5, cycles - 0.001))
    whole = (cycles - 4) * circuit.period, cycles * circuit.period
    t = theirs[:, 0]
    last = window(result, cycles - 4, cycles)
    for k, q in enumerate(seen, start=1):
        span, values = between(t, theirs[:, k], *whole)
        if q.name not in ("c_in", "c_out"):
            assert integral(span, values) / last.duration == pytest.approx(last.mean(q), rel=1e-3), q
        assert np.ptp(values) == pytest.approx(last.ripple(q), rel=3e-3), q
        rms = np.sqrt(power(values, values, span) / last.duration)
        assert rms == pytest.approx(last.rms(q), rel=2e-3), q
        at = np.linspace(begin, end, 2003)
        edges = np.array([(j + x) * circuit.period for j in range(cycles - 6, cycles + 1) for g in circuit.gates
                          for x in (g.on, g.off)])  # fmt: skip
        away = np.min(np.abs((at - 25e-12)[:, None] - edges[None, :]), axis=1) > 2e-10
        apart = samples(result, at[away] - 25e-12).of(q) - np.interp(at[away], t, theirs[:, k])
        assert np.sqrt(np.mean(apart**2)) <= 5e-3 * w.ripple(q), q
    for j, name in enumerate(names):
        i, v, d = (theirs[:, 1 + len(seen) + 3 * j + part] for part in range(3))
        span, current = between(t, i, *whole)
        rms = np.sqrt(power(current, current, span) / last.duration)
        if rms > 1e-3:
            assert rms == pytest.approx(last.rms(i_of(name)), rel=2e-3), name
        for quantity, column in ((i_of(name), i), (i_of(f"d_{name}"), d)):
            span, current = between(t, column, *whole)
            _, drop = between(t, v, *whole)
            loss = 1e3 * power(current, drop, span) / last.duration
            ours = 1e3 * last.product(quantity, v_of(name))
            assert ours == pytest.approx(loss, rel=5e-3, abs=1.0), quantity

"""The averaged circuit against the switched one, period mean by period mean, where both apply.

The switched circuit is exact between events and was checked by independent runs, so it is the outside of these checks.
Bound of the product: 0.5 % of span where the transient is slow against the period.
"""

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pytest

from chargewright.circuit.averaged import averaged_samples, run_averaged
from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import Quantity, i_of, v_node
from chargewright.circuit.measures import Window, window
from chargewright.circuit.run import run

Gives = Callable[[str], Circuit]
CHARGER = {"pack current": i_of("r_pack"), "pack voltage": v_node("pack"), "source current": i_of("l_source"),
           "coil current": i_of("coil")}  # fmt: skip


@cache
def switched(circuit: Circuit, cycles: int) -> Window:
    return window(run(circuit, cycles=cycles))


def apart(circuit: Circuit, cycles: int, first: int, ways: dict[str, Quantity]) -> dict[str, Any]:
    """Return the rms difference of period means over their span, from period `first` on."""
    averaged = averaged_samples(run_averaged(circuit, t_end=cycles * circuit.period),
                                (np.arange(cycles) + 0.5) * circuit.period)  # fmt: skip
    found = {}
    for name, q in ways.items():
        theirs, ours = switched(circuit, cycles).per_cycle(q)[first:], averaged.of(q)[first:]
        found[name] = np.sqrt(np.mean((ours - theirs) ** 2)) / np.ptp(theirs)
    return found


def test_a_load_step_that_the_source_limit_answers_follows_the_switched_circuit(charger_like: Gives) -> None:
    circuit = charger_like("o08_bus_load_step")
    # From 1.9 ms on: the step at 2 ms, the source's limit that takes over, the release at 4 ms, the hand-over back.
    for name, error in apart(circuit, 4_800, 1_520, CHARGER).items():
        assert error <= 5e-3, name


def test_the_selection_tells_which_loop_is_in_force_and_from_when(charger_like: Gives) -> None:
    circuit = charger_like("o08_bus_load_step")
    found = run_averaged(circuit, t_end=6e-3).selected("control")
    assert [name for _, name in found] == ["loop_cc", "loop_source", "loop_cc"]
    w = switched(circuit, 4_800)
    below = w.per_cycle(v_node("loop_source")) < w.per_cycle(v_node("loop_cc"))
    edges = (np.flatnonzero(np.diff(below[100:].astype(int))) + 101) * circuit.period
    # Ten periods: both loops' voltages close in on each other slowly.
    assert [t for t, _ in found[1:]] == pytest.approx(list(edges), abs=10 * circuit.period)

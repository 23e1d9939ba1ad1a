"""A source or load that is swept slowly finds a steady state all the way: no edge of a region or mode is left out."""

from collections.abc import Callable

import numpy as np
import pytest

from chargewright.network.graph import StateKey
from chargewright.network.hardware import Hardware
from chargewright.network.solve import Solution
from chargewright.paths import shelf

Make = Callable[..., Hardware]
Run = Callable[..., Solution]
WEAK = {"r_source": 0.05, "r_cable": 0.25, "e_cells": 8.0, "r_pack": 0.1}
"""A source of 0.3 Ω, so that the stage's loss moves its input voltage."""


@pytest.mark.parametrize(
    ("state", "held"),
    [("charging", {"i_pack": 2.0}), ("source-only", {"v_bus": 8.6}), ("shared", {"i_source": 0.3})],
)
def test_a_source_that_rises_through_the_pack_s_voltage(
    plain_hardware: Make, solve_state: Run, state: StateKey, held: dict[str, float]
):
    # Where the second leg begins to switch its loss comes in one step. With a weak source that leaves a band of some
    # 25 mV in which either region leads to the other, unless the stage stays in one of them.
    e = np.linspace(6.8, 10.0, 1500)
    hw = plain_hardware(shelf.get("narrow-buck-boost"))
    s = solve_state("narrow-buck-boost", state, hw, e_source=e, p_load=6.0, **WEAK, **held)
    assert s.ok.all()
    d_in, d_out = s.waveform.d_in, s.waveform.d_out
    assert {"buck", "both", "boost"} == set(np.where(d_out == 0.0, "buck", np.where(d_in < 1.0, "both", "boost")))


@pytest.mark.parametrize("path", ["direct", "narrow-buck"])
def test_a_source_limit_that_rises_through_discontinuous_conduction(plain_hardware: Make, solve_state: Run, path: str):
    # The charge current follows from power left over, so a loss that came or went in one step would leave a gap.
    i = np.linspace(0.06, 0.8, 2000)
    s = solve_state(path, "shared", plain_hardware(shelf.get(path)), e_source=20.0, p_load=0.2, i_source=i, **WEAK)
    assert s.ok.all()
    assert np.any(s.waveform.active < 0.999)
    assert np.any(s.waveform.i_valley > 0.0)
    assert np.all(np.diff(s.i["pack"]) > 0.0)

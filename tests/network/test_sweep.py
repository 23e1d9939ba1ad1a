"""Sweeps: compiled and plain form give the same numbers, and the same as the stage one point at a time."""

import json
import os
import subprocess
import sys
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from chargewright.base.compiled import numba_module
from chargewright.network.stage import CoilAt, Setting, StageLosses, StageWaveform, SwitchAt, stage_point
from chargewright.network.sweep import COLUMNS, StageDesign, design_rows, sweep, sweep_numpy

Floats = npt.NDArray[np.float64]
SWITCH = SwitchAt(10e-3, 8e-9, 2e-9, 2.2, 3.0, 250e-12, 10e-9, 15e-9, 0.8)
COIL = CoilAt(4.7e-6, 8.0, 2.5, 15e-3, 1.5, 1e6, 1.0, 1.35, 2.3, 1e-7, 2e-4)
SETTING = Setting(0.0, 6e5, 25e-9, 5.0, 1e-3, 0.92, 0.5, 1.0, 0.3, 3e-3, 2e-3)
DESIGNS = StageDesign(
    SWITCH,
    SWITCH._replace(r_on=np.array([8e-3, 12e-3, 20e-3, 5e-3])),
    SWITCH,
    SWITCH,
    COIL._replace(l_0=np.array([2.2e-6, 4.7e-6, 10e-6, 3.3e-6])),
    SETTING._replace(legs=np.array([0.0, 1.0, -1.0, 0.0]), emulate=np.array([1.0, 1.0, 0.0, 0.0])),
)
"""Four designs: both legs with and without diode emulation, a buck, a boost."""

needs_numba = pytest.mark.skipif(numba_module() is None, reason="numba is not installed: the numpy form serves alone")


def points(n: int) -> tuple[Floats, Floats, Floats, npt.NDArray[np.int64]]:
    """Return voltages, currents and designs that cover every region and mode, dropout and light load included."""
    rng = np.random.default_rng(7)
    return (
        rng.uniform(5.0, 25.0, n),
        rng.uniform(5.0, 25.0, n),
        10.0 ** rng.uniform(-4.0, 1.0, n),
        rng.integers(0, 4, n),
    )


def in_numpy(v_in: Floats, v_out: Floats, i_l: Floats, index: Any) -> tuple[Floats, Floats]:
    """Return what the plain form finds."""
    losses = np.empty((len(i_l), len(StageLosses._fields)))
    waves = np.empty((len(i_l), len(StageWaveform._fields)))
    sweep_numpy(v_in, v_out, i_l, index, design_rows(DESIGNS), losses, waves)
    return losses, waves


def assert_same(found: tuple[Floats, Floats], wanted: tuple[Floats, Floats]) -> None:
    """Hold every number within 1e-12 of itself; below that the two forms may round differently."""
    for fields, many, others in zip((StageLosses._fields, StageWaveform._fields), found, wanted, strict=True):
        for k, name in enumerate(fields):
            # A capacitor's rms is the root of a difference: where it vanishes it keeps half of the digits.
            least = 1e-9 if name.startswith("rms") and "capacitor" in name else 1e-14
            np.testing.assert_allclose(many[:, k], others[:, k], rtol=1e-12, atol=least, err_msg=name)


@needs_numba
def test_the_compiled_sweep_is_the_plain_one():
    v_in, v_out, i_l, index = points(20_000)
    assert_same(sweep(v_in, v_out, i_l, design_rows(DESIGNS), index, compile_from=0), in_numpy(v_in, v_out, i_l, index))


def test_a_sweep_is_the_stage_point_by_point():
    v_in, v_out, i_l, index = points(60)
    losses, waves = sweep(v_in, v_out, i_l, design_rows(DESIGNS), index, compile_from=10**9)
    for k in range(60):
        own = [
            type(part)(*(float(np.broadcast_to(x, 4)[index[k]]) for x in part))
            for part in (DESIGNS.ih, DESIGNS.il, DESIGNS.ol, DESIGNS.oh, DESIGNS.coil, DESIGNS.setting)
        ]
        found = stage_point(v_in[k], v_out[k], i_l[k], *own)
        np.testing.assert_allclose(losses[k], [float(x) for x in found[0]], rtol=1e-12, atol=1e-15)
        np.testing.assert_allclose(waves[k], [float(x) for x in found[1]], rtol=1e-12, atol=1e-15)


def test_one_design_serves_many_points_and_scalars_broadcast():
    rows = design_rows(StageDesign(SWITCH, SWITCH, SWITCH, SWITCH, COIL, SETTING))
    assert rows.shape == (1, COLUMNS)
    losses, waves = sweep(12.0, np.array([[5.0, 8.0], [12.0, 20.0]]), 2.0, rows)
    assert losses.shape == (4, len(StageLosses._fields))
    assert waves.shape == (4, len(StageWaveform._fields))
    assert np.all(losses >= 0.0)


def test_a_sweep_is_longer_than_one_block_of_the_plain_form():
    # The plain form works in blocks; the last one is shorter. Each point is found by itself, wherever a block ends.
    v_in, v_out, i_l, index = points(8192 + 5)
    losses, _ = in_numpy(v_in, v_out, i_l, index)
    tail, _ = in_numpy(v_in[-7:], v_out[-7:], i_l[-7:], index[-7:])
    np.testing.assert_array_equal(losses[-7:], tail)


@needs_numba
def test_the_loop_runs_the_same_without_the_compiler():
    # NUMBA_DISABLE_JIT runs the very lines of the loop as Python: some 300 times slower, so twelve points.
    program = (
        "import json\nimport numpy as np\n"
        "from chargewright.network.stage import *\n"
        "from chargewright.network.sweep import *\n"
        f"s = SwitchAt{tuple(SWITCH)}; c = CoilAt{tuple(COIL)}; t = Setting{tuple(SETTING)}\n"
        "rows = design_rows(StageDesign(s, s, s, s, c, t))\n"
        "v = np.linspace(6.0, 20.0, 12)\n"
        "losses, waves = sweep(12.0, v, 10.0 ** np.linspace(-3.0, 1.0, 12), rows, compile_from=0)\n"
        "print(json.dumps(losses.sum(axis=1).tolist() + waves.sum(axis=1).tolist()))\n"
    )
    environment = os.environ | {"NUMBA_DISABLE_JIT": "1"}
    done = subprocess.run([sys.executable, "-c", program], env=environment, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    v = np.linspace(6.0, 20.0, 12)
    rows = design_rows(StageDesign(SWITCH, SWITCH, SWITCH, SWITCH, COIL, SETTING))
    losses, waves = sweep(12.0, v, 10.0 ** np.linspace(-3.0, 1.0, 12), rows, compile_from=10**9)
    wanted = [*losses.sum(axis=1), *waves.sum(axis=1)]
    np.testing.assert_allclose(json.loads(done.stdout), wanted, rtol=1e-12)

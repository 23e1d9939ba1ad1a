"""Many converter points at once: a table of stage designs, a list of operating points, all loss terms of each.

The same lines as `stage.stage_point` run here, compiled and on all cores where numba is there, in numpy blocks where
it is not; a test holds the two together. Temperatures are fixed: the resistances in the design rows are as given.
"""

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from chargewright.base.compiled import compiled_loop, is_kept, numba_module, parallel_range, plain
from chargewright.network import stage
from chargewright.network.stage import CoilAt, Setting, StageLosses, StageWaveform, SwitchAt, stage_point

Floats = npt.NDArray[np.float64]
COIL_AT = 4 * len(SwitchAt._fields)
SETTING_AT = COIL_AT + len(CoilAt._fields)
COLUMNS = SETTING_AT + len(Setting._fields)
"""A row of numbers: four switches, then coil, then setting, each in the order of its fields."""
_BLOCK = 8192
_SPREAD_FROM = 65536
"""Points from which it pays to wait for the other cores to wake up; below, one core is done sooner."""
_loaded: list[bool] = []
"""Not empty once this process has the compiled loop: then it serves a single point as well."""


class StageDesign(NamedTuple):
    """One stage, or many of equal form when the fields hold arrays: four switches, coil, setting."""

    ih: SwitchAt
    il: SwitchAt
    ol: SwitchAt
    oh: SwitchAt
    coil: CoilAt
    setting: Setting


def design_rows(design: StageDesign) -> Floats:
    """Return a table of shape (designs, COLUMNS) from a design whose fields are floats or arrays of one length."""
    flat = [np.asarray(value, dtype=float) for part in design for value in part]
    return np.ascontiguousarray(np.stack([np.ravel(column) for column in np.broadcast_arrays(*flat)], axis=1))


def sweep(
    v_in: Any, v_out: Any, i_l: Any, rows: Floats, index: Any = 0, compile_from: int | None = None
) -> tuple[Floats, Floats]:
    """Return losses (points, len(StageLosses)) [W] and waveforms (points, len(StageWaveform)) in SI.

    v_in, v_out, i_l : floats or arrays that broadcast to the points [V], [V], [A]
    rows             : stage designs, from `design_rows`
    index            : which row each point uses, broadcast
    compile_from     : number of points from which the compiled loop is worth its start; by default a quarter of a
                       block, or any number once it has been started
    """
    given = np.broadcast_arrays(v_in, v_out, i_l, index)
    # A read-only array is another type to the compiler: it would compile the whole loop a second time.
    a, b, i = (np.require(np.ravel(column), np.float64, ["C", "W"]) for column in given[:3])
    which = np.require(np.ravel(given[3]), np.int64, ["C", "W"])
    losses = np.empty((len(which), len(StageLosses._fields)))
    waves = np.empty((len(which), len(StageWaveform._fields)))
    least = (1 if _loaded else _BLOCK // 4) if compile_from is None else compile_from
    numba = numba_module() if len(which) >= least else None
    if numba is not None:
        _loaded[:] = [True]
        cores = numba.get_num_threads()
        numba.set_num_threads(cores if len(which) >= _SPREAD_FROM else 1)
        try:
            compiled_loop(every_point)(a, b, i, which, rows, losses, waves)
        finally:
            numba.set_num_threads(cores)
    else:
        sweep_numpy(a, b, i, which, rows, losses, waves)
    return losses, waves


def sweep_has_to_be_compiled() -> bool:
    """Return whether the next sweep of many points waits until it is compiled."""
    return numba_module() is not None and not is_kept(every_point)


def sweep_numpy(
    v_in: Floats,
    v_out: Floats,
    i_l: Floats,
    which: npt.NDArray[np.int64],
    rows: Floats,
    losses: Floats,
    waves: Floats,
) -> None:
    """Fill losses and waveforms in numpy, block by block so that temporaries stay in the cache."""
    with np.errstate(divide="ignore", invalid="ignore"):
        for start in range(0, len(which), _BLOCK):
            part = slice(start, start + _BLOCK)
            columns = rows[which[part]].T
            found = plain(stage.stage_point)(v_in[part], v_out[part], i_l[part], *_unpack(columns))
            losses[part] = np.stack(np.broadcast_arrays(*found[0]), axis=1)
            waves[part] = np.stack(np.broadcast_arrays(*found[1]), axis=1)


def _unpack(row: Any) -> Any:
    """Split the columns of one design (floats or arrays) into the arguments of `stage_point`."""
    ih = SwitchAt(row[0], row[1], row[2], row[3], row[4], row[5], row[6], row[7], row[8])
    il = SwitchAt(row[9], row[10], row[11], row[12], row[13], row[14], row[15], row[16], row[17])
    ol = SwitchAt(row[18], row[19], row[20], row[21], row[22], row[23], row[24], row[25], row[26])
    oh = SwitchAt(row[27], row[28], row[29], row[30], row[31], row[32], row[33], row[34], row[35])
    coil = CoilAt(row[36], row[37], row[38], row[39], row[40], row[41], row[42], row[43], row[44], row[45], row[46])
    setting = Setting(row[47], row[48], row[49], row[50], row[51], row[52], row[53], row[54], row[55], row[56], row[57])
    return ih, il, ol, oh, coil, setting


def every_point(
    v_in: Floats,
    v_out: Floats,
    i_l: Floats,
    which: npt.NDArray[np.int64],
    rows: Floats,
    losses: Floats,
    waves: Floats,
) -> None:
    """Fill losses and waveforms point by point: the form that is compiled."""
    for i in parallel_range(len(which)):
        ih, il, ol, oh, coil, setting = _unpack(rows[which[i]])
        found, wave = stage_point(v_in[i], v_out[i], i_l[i], ih, il, ol, oh, coil, setting)
        # Both tuples hold scalars of one type, so that compiled code can index them.
        for j in range(len(found)):
            losses[i, j] = found[j]
        for j in range(len(wave)):
            waves[i, j] = wave[j]

"""Many charges of one pack at once: for tolerances, sweeps and maps. The lines of `sim.charge`, on all cores.

Every charge may have its own start, temperatures, current, voltage, capacity, resistance and source. What comes back is
one number a charge and quantity, no curves; `run_charge` draws the curve of any of them.
"""

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from chargewright.base.compiled import compiled_bare, numba_module
from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.base.units import show
from chargewright.parts.cell import SOC_TOP, Array, frozen
from chargewright.parts.pack import Pack
from chargewright.sim import _charge_batch_kernel as kernel
from chargewright.sim._cell_kernel import CellTables
from chargewright.sim._charge_fold import fold_cell, fold_rules, zone_edges
from chargewright.sim._charge_kernel import TOO_MANY_STEPS, Rules
from chargewright.sim.charge import ENDINGS
from chargewright.sim.charge_setup import BRISK, Accuracy, ChargeSettings, require_sense

_ROWS = (1_024, 30_000)
_WORTH_A_THREAD = 200
"""Charges that a thread must have to be worth its start."""
_RANGES = {
    "soc_start": (0.0, 1.0, "1"),
    "capacity": (0.05, 2.0, "1"),
    "resistance": (0.05, 20.0, "1"),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChargeBatch:
    """Charges as arrays of one shape; all SI."""

    t_80: Array
    """When the state of charge was 80 %; nan if never."""
    t_voltage: Array
    """When the charge voltage was first met; nan if never."""
    t_end: Array
    soc_end: Array
    charge: Array
    energy_in: Array
    """At the terminals."""
    heat_cells: Array
    heat_leads: Array
    temp_max: Array
    v_cell_highest: Array
    pauses: npt.NDArray[np.int64]
    ended_by: npt.NDArray[np.str_]
    """As `ChargeRun.ended_by`."""

    @property
    def complete(self) -> npt.NDArray[np.bool_]:
        """Which charges ended by termination."""
        return np.asarray(self.ended_by == "termination")


def charge_batch(
    pack: Pack,
    settings: ChargeSettings,
    *,
    soc_start: Any,
    temp_ambient: Any,
    temp_start: Any = None,
    i_charge: Any = None,
    v_set: Any = None,
    capacity: Any = 1.0,
    resistance: Any = 1.0,
    i_available: Any = np.inf,
    thermal_resistance: Any = None,
    accuracy: Accuracy = BRISK,
    engine: Literal["auto", "plain", "compiled"] = "auto",
) -> ChargeBatch:
    """Return charges of a pack from rest until something ends each; arguments broadcast, None means the usual value.

    i_charge, v_set      : of the pack, in place of the settings' [A], [V]
    capacity, resistance : factors on those of every cell [1]; the charger goes on as for the rated capacity
    i_available          : current that source and load leave over for the pack [A]; infinite for no limit
    engine               : "auto" and "compiled" use numba where it is installed
    Raises OutOfRange, NoSolution.
    """
    require_sense(settings)
    series, parallel = pack.series, pack.parallel
    cooling = pack.cell.thermal_resistance if thermal_resistance is None else thermal_resistance
    asked = {
        "soc_start": soc_start,
        "temp_start": temp_ambient if temp_start is None else temp_start,
        "temp_ambient": temp_ambient,
        "i_charge": settings.i_charge if i_charge is None else i_charge,
        "v_set": settings.v_set if v_set is None else v_set,
        "capacity": capacity,
        "resistance": resistance,
        "i_available": i_available,
        "thermal_resistance": cooling,
    }
    spread = dict(zip(asked, np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in asked.values())), strict=True))
    _require(pack, settings, spread)
    shape = spread["soc_start"].shape
    columns = [
        spread["soc_start"],
        spread["temp_start"],
        spread["temp_ambient"],
        spread["i_charge"] / parallel,
        spread["v_set"] / series,
        spread["capacity"],
        spread["resistance"],
        np.maximum(spread["i_available"], 0.0) / parallel,
        spread["thermal_resistance"],
        pack.cell.charge_span * spread["capacity"],
    ]
    given = np.stack([column.ravel() for column in columns], axis=1)
    cell = fold_cell(pack, None)
    rules = fold_rules(pack, settings, None, temp_ambient=0.0, accuracy=accuracy)
    found = np.empty((len(given), kernel.FOUND))
    edges = zone_edges(pack.cell)
    for rows_at_most in _ROWS:
        left = np.arange(len(given)) if rows_at_most == _ROWS[0] else np.flatnonzero(found[:, 0] == TOO_MANY_STEPS)
        found[left] = _run(cell, rules, edges, given[left], rows_at_most, engine)
    endless = np.flatnonzero(found[:, kernel.REASON] == TOO_MANY_STEPS)
    if len(endless):
        raise NoSolution(
            f"charge {endless[0]} of {len(given)} changes its limit without end; widen the hysteresis of the "
            "temperature zones"
        )
    return _result(pack, rules.lead, found, shape)


def _run(
    cell: CellTables, rules: Rules, edges: Array, given: Array, rows_at_most: int, engine: str
) -> Array:  # fmt: skip
    """Return the charges of the rows of `given`, shared out among threads where the loop is compiled."""
    found = np.empty((len(given), kernel.FOUND))
    if engine == "plain" or numba_module() is None:
        kernel.charge_many(cell, rules, edges, given, found, kernel.room(cell, rules, rows_at_most))
        return found
    loop = compiled_bare(kernel.charge_many)
    parts = min(max(len(given) // _WORTH_A_THREAD, 1), 4 * _threads())
    bounds = np.linspace(0, len(given), parts + 1).astype(int)

    def part(k: int) -> None:
        here = slice(bounds[k], bounds[k + 1])
        loop(cell, rules, edges, given[here], found[here], kernel.room(cell, rules, rows_at_most))

    if parts == 1:
        part(0)
        return found
    part(0)  # compiles, if need be, before the others ask for the same
    with ThreadPoolExecutor(_threads()) as pool:
        list(pool.map(part, range(1, parts)))
    return found


def _threads() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _result(pack: Pack, lead: float, found: Array, shape: tuple[int, ...]) -> ChargeBatch:
    def column(k: int, factor: float = 1.0) -> Array:
        return frozen(found[:, k].reshape(shape) * factor)

    def instant(k: int) -> Array:
        return frozen(np.where(found[:, k] < 0.0, np.nan, found[:, k]).reshape(shape))

    heat_leads = lead * found[:, kernel.SQUARE] * pack.cells
    energy = (found[:, kernel.STORED] + found[:, kernel.HEAT]) * pack.cells + heat_leads
    names = np.array([ENDINGS.get(k, "") for k in range(max(ENDINGS) + 1)])
    return ChargeBatch(
        t_80=instant(kernel.T_80),
        t_voltage=instant(kernel.T_AT_VOLTAGE),
        t_end=column(kernel.T_END),
        soc_end=column(kernel.SOC_END),
        charge=column(kernel.CHARGE, pack.parallel),
        energy_in=frozen(energy.reshape(shape)),
        heat_cells=column(kernel.HEAT, pack.cells),
        heat_leads=frozen(heat_leads.reshape(shape)),
        temp_max=column(kernel.TEMP_MAX),
        v_cell_highest=column(kernel.V_HIGHEST),
        pauses=found[:, kernel.PAUSES].reshape(shape).astype(np.int64),
        ended_by=names[found[:, kernel.REASON].astype(np.int64)].reshape(shape),
    )


def _require(pack: Pack, settings: ChargeSettings, spread: dict[str, Any]) -> None:
    """Raise OutOfRange for what no charge can be run with."""
    for name, values in spread.items():
        if np.any(np.isnan(values)) or (name != "i_available" and not np.all(np.isfinite(values))):
            raise OutOfRange(f"{name} holds a number that is not finite")
    for name, (low, high, unit) in _RANGES.items():
        worst = spread[name]
        if worst.size and (worst.min() < low or worst.max() > high):
            span = f"{show(float(worst.min()), unit)} … {show(float(worst.max()), unit)}"
            raise OutOfRange(f"{name} = {span} leaves {show(low, unit)} … {show(high, unit)}")
    if spread["i_charge"].size == 0:
        return
    if spread["i_charge"].min() <= settings.i_termination:
        raise OutOfRange(
            f"i_charge = {show(float(spread['i_charge'].min()), 'A')} must be above the termination current "
            f"{show(settings.i_termination, 'A')}"
        )
    v_most = float(spread["v_set"].max()) / pack.series
    if v_most > pack.cell.rest_in_charge[-1] or float(spread["v_set"].min()) <= settings.v_precharge:
        raise OutOfRange(
            f"v_set must lie above the precharge threshold {show(settings.v_precharge, 'V')} and, per cell, below "
            f"every rest voltage of the cell ({show(pack.cell.rest_in_charge[-1], 'V')} at {SOC_TOP:.0%})"
        )

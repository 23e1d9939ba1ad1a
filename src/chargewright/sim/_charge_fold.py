"""The pack folded onto one of its cells: what the kernel of the charge is given."""

import math
from functools import lru_cache

import numpy as np

from chargewright.parts.cell import SOC_TOP, Array, Cell, pair_resistance, pair_tau, r0
from chargewright.parts.pack import Pack, cell_kinds
from chargewright.sim._cell_kernel import GUIDE, CellTables, Indices
from chargewright.sim._charge_kernel import Rules
from chargewright.sim.charge_setup import Accuracy, ChargeSettings, CurrentTable

COLUMN_STEP = 1.0
"""Kelvin between columns of the resistance tables in the kernel."""


def fold_cell(pack: Pack, thermal_resistance: float | None) -> CellTables:
    """Return the cells of a pack while it is charged."""
    kinds = cell_kinds(pack)
    cell = _tables(pack.cell)
    return cell._replace(
        share=np.array([kind.share for kind in kinds]),
        capacity=np.array([kind.capacity for kind in kinds]) * pack.cell.charge_span,
        scale=np.array([kind.resistance for kind in kinds]),
        thermal_resistance=cell.thermal_resistance if thermal_resistance is None else float(thermal_resistance),
    )


@lru_cache(maxsize=64)
def _tables(cell: Cell) -> CellTables:
    """Return the tables of a cell, with so many columns that straight lines between them are exact to 1e-4."""
    low, high = float(cell.temp[0]), float(cell.temp[-1])
    # A table of one temperature is held everywhere: two equal columns do that.
    columns = max(2, math.ceil((high - low) / COLUMN_STEP) + 1)
    temp = np.linspace(low, high, columns)
    soc = cell.soc[:, None]
    shape = (len(cell.pairs), len(cell.soc), columns)
    r_pairs = [pair_resistance(cell, k, soc, temp, True) for k in range(len(cell.pairs))]
    tau_pairs = [pair_tau(cell, k, soc, temp) for k in range(len(cell.pairs))]
    none = np.zeros(0)
    return CellTables(
        share=none,
        capacity=none,
        scale=none,
        soc_ocv=np.array(cell.soc_ocv),
        ocv_guide=_guide(cell.soc_ocv),
        ocv=np.array(cell.ocv),
        ocv_sum=_integral(cell.soc_ocv, cell.ocv),
        docv_dt=np.array(cell.docv_dt),
        docv_dt_sum=_integral(cell.soc_ocv, cell.docv_dt),
        temp_ref=cell.temp_ref,
        soc=np.array(cell.soc),
        soc_guide=_guide(cell.soc),
        temp_low=low,
        temp_step=(high - low) / (columns - 1) or 1.0,
        r0=np.array(r0(cell, soc, temp, True)),
        r_pairs=np.array(r_pairs).reshape(shape),
        tau_pairs=np.array(tau_pairs).reshape(shape),
        heat_capacity=cell.heat_capacity,
        thermal_resistance=cell.thermal_resistance,
    )


def _guide(grid: Array) -> Indices:
    """Return, for each slice of state of charge, the segment of a grid in which the slice begins."""
    starts = np.arange(math.ceil(GUIDE * SOC_TOP) + 1) / GUIDE
    return np.clip(np.searchsorted(grid, starts, side="right") - 1, 0, len(grid) - 2).astype(np.int64)


def fold_rules(
    pack: Pack, settings: ChargeSettings, available: CurrentTable | None, *, temp_ambient: float, accuracy: Accuracy
) -> Rules:
    """Return charger, source and surroundings as one cell sees them."""
    series, parallel, zones = pack.series, pack.parallel, pack.cell.limits.zones
    v_stages = [settings.v_precharge, *(v for v, _ in settings.steps)]
    i_stages = [settings.i_precharge, *(i for _, i in settings.steps), settings.i_charge]
    lead = pack.lead_resistance * parallel / series
    rates = np.array([0.0, *(zone.rate for zone in zones), 0.0])
    better_up, better_down = rates[1:] > rates[:-1], rates[:-1] > rates[1:]
    edges = _edges(pack.cell)
    none = np.zeros(0)
    return Rules(
        stage_v=np.array([*v_stages, math.inf]) / series,
        stage_i=np.array(i_stages) / parallel,
        stage_time=np.array([settings.precharge_timer, *(math.inf for _ in i_stages[1:])]),
        first_is_precharge=True,
        v_set=settings.v_set / series,
        i_termination=settings.i_termination / parallel,
        lead=lead,
        sensed_lead=lead if pack.sensed_at == "converter" else 0.0,
        region_up=edges + np.where(better_up, settings.zone_hysteresis, 0.0),
        region_down=edges - np.where(better_down, settings.zone_hysteresis, 0.0),
        region_i=rates * pack.cell.capacity,
        region_v=np.array([math.inf, *(zone.v_max for zone in zones), math.inf]),
        source_v=none if available is None else np.array(available.v_pack) / series,
        source_i=none if available is None else np.array(available.i) / parallel,
        timer=settings.timer,
        temp_ambient=float(temp_ambient),
        soc_step=accuracy.soc_step,
        current_step=accuracy.current_step,
        temp_step=accuracy.temp_step,
    )


def start_region(pack: Pack, temp: float) -> int:
    """Return the region of temperature in which a charge starts: 0 is too cold, then the zones, then too hot."""
    return int(np.searchsorted(_edges(pack.cell), temp, side="right"))


def _edges(cell: Cell) -> Array:
    zones = cell.limits.zones
    return np.array([zones[0].temp_low, *(zone.temp_high for zone in zones)])


def _integral(grid: Array, values: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(grid))])

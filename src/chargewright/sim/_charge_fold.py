"""The pack folded onto one of its cells: what the kernel of the charge is given."""

import math
from functools import lru_cache

import numpy as np

from chargewright.parts.cell import SOC_TOP, Array, Cell, pair_resistance, pair_tau, r0
from chargewright.parts.pack import Pack, cell_kinds
from chargewright.sim._cell_kernel import GUIDE, CellTables, Indices
from chargewright.sim._charge_kernel import Rules
from chargewright.sim.charge_setup import Accuracy, ChargeSettings, CurrentTable

COLUMN_STEP = 0.5
"""Kelvin between columns of the resistance tables in the kernel."""


def fold_cell(pack: Pack, thermal_resistance: float | None) -> CellTables:
    """Return the cells of a pack while it is charged."""
    kinds, span = cell_kinds(pack), pack.cell.charge_span
    cell = _tables(pack.cell)
    return cell._replace(
        kinds=np.array([[k.share, k.capacity * span, k.resistance, k.ahead * span] for k in kinds]),
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
    resistances = [r0(cell, soc, temp, True)]
    for k in range(len(cell.pairs)):
        resistances += [pair_resistance(cell, k, soc, temp, True), pair_tau(cell, k, soc, temp)]
    ocv = cell.rest_in_charge
    rest = [ocv, _integral(cell.soc_ocv, ocv), cell.docv_dt, _integral(cell.soc_ocv, cell.docv_dt)]
    return CellTables(
        kinds=np.zeros((0, 4)),
        soc_rest=np.array(cell.soc_ocv),
        rest_guide=_guide(cell.soc_ocv),
        rest=np.array(rest),
        # Plain floats all through: a whole number would be another type, and compiled once more.
        temp_ref=float(cell.temp_ref),
        soc=np.array(cell.soc),
        soc_guide=_guide(cell.soc),
        resistances=np.array(resistances),
        temp_low=low,
        temp_step=(high - low) / (columns - 1) or 1.0,
        heat_capacity=float(cell.heat_capacity),
        thermal_resistance=float(cell.thermal_resistance),
    )


def _guide(grid: Array) -> Indices:
    """Return, for each slice of state of charge, the segment of a grid in which the slice begins."""
    starts = np.arange(math.ceil(GUIDE * SOC_TOP) + 1) / GUIDE
    return np.clip(np.searchsorted(grid, starts, side="right") - 1, 0, len(grid) - 2).astype(np.int64)


def fold_rules(
    pack: Pack, settings: ChargeSettings, available: CurrentTable | None, *, temp_ambient: float, accuracy: Accuracy
) -> Rules:
    """Return charger, source and surroundings as one cell sees them."""
    series, parallel = pack.series, pack.parallel
    lead = pack.lead_resistance * parallel / series
    stages = [
        *([] if settings.wake is None else [settings.wake]),
        (settings.v_precharge, settings.i_precharge, settings.precharge_timer),
        *((v, i, math.inf) for v, i in settings.steps),
        (math.inf, settings.i_charge, math.inf),
    ]
    source = np.zeros((2, 0)) if available is None else np.array([available.v_pack / series, available.i / parallel])
    return Rules(
        stages=np.array(stages) / (series, parallel, 1.0),
        v_set=float(settings.v_set / series),
        i_termination=float(settings.i_termination / parallel),
        lead=float(lead),
        sensed_lead=float(lead) if pack.sensed_at == "converter" else 0.0,
        regions=_regions(pack.cell, settings),
        source=source,
        low_stages=1 if settings.wake is None else 2,
        i_balance=float(pack.balance_current / parallel),
        v_balance=float(pack.balance_from),
        timer=float(settings.timer),
        timer_speed=float(settings.timer_speed),
        temp_ambient=float(temp_ambient),
        soc_step=float(accuracy.soc_step),
        v_step=float(accuracy.v_step),
        current_step=float(accuracy.current_step),
        temp_step=float(accuracy.temp_step),
    )


def _regions(cell: Cell, settings: ChargeSettings) -> Array:
    """Return the regions of temperature; the hysteresis lies on the way to a region that allows more current."""
    zones, edges, hysteresis = cell.limits.zones, zone_edges(cell), settings.zone_hysteresis
    rates = np.array([0.0, *(zone.rate for zone in zones), 0.0])
    up = edges + np.where(rates[1:] > rates[:-1], hysteresis, 0.0)
    down = edges - np.where(rates[:-1] > rates[1:], hysteresis, 0.0)
    down[0] -= settings.cold_band
    v = [math.inf, *(zone.v_max for zone in zones), math.inf]
    return np.column_stack([[*up, math.inf], [-math.inf, *down], rates * cell.capacity, v])


def start_region(pack: Pack, temp: float) -> int:
    """Return the region of temperature in which a charge starts: 0 is too cold, then the zones, then too hot.

    A start at an edge is in the zone above it; the hysteresis is for coming back only.
    """
    return int(np.searchsorted(zone_edges(pack.cell), temp, side="right"))


def zone_edges(cell: Cell) -> Array:
    """Return the temperatures at which one region ends and the next begins [K]."""
    zones = cell.limits.zones
    return np.array([zones[0].temp_low, *(zone.temp_high for zone in zones)])


def _integral(grid: Array, values: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(grid))])

"""One lithium cell: rest voltage, resistances and RC pairs as tables over state of charge and temperature, and limits.

State of charge 0 and 1 are the states whose rest voltage is `v_min` and `v_max` at the reference temperature;
`charge_span` is the charge between them, `capacity` is the rated one that charge rates refer to.

Between the points of a table, values are linear in state of charge.  Between two temperatures a resistance or time
constant follows Arrhenius' law through both (a straight line of its logarithm over 1/T).  Outside its points a table
is never extended in silence:

* state of charge: rest voltage goes on with the slope of its last segment up to `SOC_TOP`, because a cell above its
  charge voltage has to be judged; resistances hold their last value there.  Below 0 or above `SOC_TOP`: OutOfRange.
* temperature: resistances hold their outermost column, and `temperature_findings` says what that hides.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import OutOfRange
from chargewright.base.findings import Finding
from chargewright.base.units import show

Array = npt.NDArray[np.float64]

SOC_TOP = 1.05
"""Highest state of charge at which a rest voltage is given."""
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeZone:
    """What a cell may be charged with between two temperatures [K]: greatest rate [1/s of its capacity] and voltage."""

    temp_low: float
    temp_high: float
    rate: float
    v_max: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CellLimits:
    """What the cell stands; rates are currents over the rated capacity [1/s]. Outside the zones: no charge."""

    v_upper: float
    """Upper limit charging voltage: never passed by any cell, tolerance included."""
    v_precharge: float
    """Below this only the precharge current may flow."""
    zones: tuple[ChargeZone, ...]
    """Charge zones in order of temperature, without gaps."""
    rate_precharge: float
    rate_termination: float
    rate_discharge: float
    """Greatest lasting discharge rate."""
    recharge_drop: float
    temp_discharge_low: float
    temp_discharge_high: float

    @property
    def rate_charge(self) -> float:
        """Greatest charge rate over all zones [1/s]."""
        return max(zone.rate for zone in self.zones)

    @property
    def temp_charge_low(self) -> float:
        """Coldest temperature at which the cell may be charged [K]."""
        return self.zones[0].temp_low

    @property
    def temp_charge_high(self) -> float:
        """Hottest temperature at which the cell may be charged [K]."""
        return self.zones[-1].temp_high


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RcPair:
    """One RC pair: resistance of each direction and time constant, arrays over (soc, temp)."""

    r_charge: Array
    r_discharge: Array
    tau: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cell:
    """One cell; all SI. Make it with a generic cell of `parts.cells`, `cell_table.from_table` or `bpx.from_bpx`."""

    key: str
    title: str
    chemistry: str
    source: str
    """Where the numbers come from."""
    cautions: tuple[str, ...] = ()
    """What the numbers are not good for."""
    capacity: float
    """Rated capacity [C]: what rates refer to."""
    charge_span: float
    """Charge between state of charge 0 and 1 [C]."""
    v_min: float
    v_max: float
    """Charge voltage."""
    soc_ocv: Array
    """Points of the rest-voltage table, from 0 to `SOC_TOP`."""
    ocv: Array
    """Rest voltage at `temp_ref` [V], rising."""
    docv_dt: Array
    """Slope of the rest voltage with temperature [V/K]."""
    temp_ref: float
    soc: Array
    """Rows of the resistance tables, from 0 to 1."""
    temp: Array
    """Columns of the resistance tables [K], rising."""
    r0_charge: Array
    r0_discharge: Array
    pairs: tuple[RcPair, ...]
    """RC pairs, quickest first; may be empty."""
    limits: CellLimits
    heat_capacity: float
    """[J/K]"""
    thermal_resistance: float
    """From the cell to ambient [K/W]."""
    ocv_charge: Array | None = None
    """Rest voltage after a charge, on the points of `ocv`; None without hysteresis. `ocv` then lies between both."""
    ocv_discharge: Array | None = None

    @property
    def rest_in_charge(self) -> Array:
        """The rest voltage that counts while the cell is charged: the upper branch of the hysteresis, if it has one."""
        return self.ocv if self.ocv_charge is None else self.ocv_charge


def ocv(cell: Cell, soc: Any, temp: Any) -> Any:
    """Return the rest voltage [V] at `soc` [1] and `temp` [K]; arguments broadcast. Raises OutOfRange."""
    _require_soc(soc)
    return rest_voltage_beyond(cell, soc, temp)


def rest_voltage_beyond(cell: Cell, soc: Any, temp: Any) -> Any:
    """Return the rest voltage like `ocv`, but above `SOC_TOP` hold it: for judging a cell that is too full anyway."""
    at_ref = np.interp(soc, cell.soc_ocv, cell.ocv)
    return at_ref + np.interp(soc, cell.soc_ocv, cell.docv_dt) * (temp - cell.temp_ref)


def soc_at_ocv(cell: Cell, v: Any, temp: Any) -> Any:
    """Return the state of charge at which the cell rests at `v` [V] and `temp` [K]. Raises OutOfRange."""
    low, high = rest_voltage_beyond(cell, 0.0, temp), rest_voltage_beyond(cell, SOC_TOP, temp)
    if np.any(np.less(v, low - _ROUNDING) | np.greater(v, high + _ROUNDING)):
        held = f"{show(float(np.min(low)), 'V')} … {show(float(np.max(high)), 'V')}"
        raise OutOfRange(f"{cell.key}: no state of charge rests at {_span(v, 'V')}; the table holds {held}")
    soc = np.full(np.broadcast(v, temp).shape, 0.5)
    # The slope with temperature is millivolts over the whole range of the table, so a few rounds settle it.
    for _ in range(40):
        at_ref = v - np.interp(soc, cell.soc_ocv, cell.docv_dt) * (temp - cell.temp_ref)
        soc = np.interp(at_ref, cell.ocv, cell.soc_ocv)
    return soc


def r0(cell: Cell, soc: Any, temp: Any, charging: Any) -> Any:
    """Return the series resistance [Ω]; `charging` (bool or array) picks the direction. Raises OutOfRange."""
    return _directed(cell, cell.r0_charge, cell.r0_discharge, soc, temp, charging)


def pair_resistance(cell: Cell, index: int, soc: Any, temp: Any, charging: Any) -> Any:
    """Return the resistance of RC pair `index` (0 is the quickest) [Ω]. Raises OutOfRange."""
    pair = cell.pairs[index]
    return _directed(cell, pair.r_charge, pair.r_discharge, soc, temp, charging)


def pair_tau(cell: Cell, index: int, soc: Any, temp: Any) -> Any:
    """Return the time constant of RC pair `index` [s]. Raises OutOfRange."""
    _require_soc(soc)
    return _table(cell, cell.pairs[index].tau, soc, temp)


def r1(cell: Cell, soc: Any, temp: Any, charging: Any) -> Any:
    """Return the resistance of the quickest RC pair [Ω]; zero for a cell without one. Raises OutOfRange."""
    if not cell.pairs:
        return np.zeros(np.broadcast(soc, temp).shape)[()]
    return pair_resistance(cell, 0, soc, temp, charging)


def tau1(cell: Cell, soc: Any, temp: Any) -> Any:
    """Return the time constant of the quickest RC pair [s]; zero for a cell without one. Raises OutOfRange."""
    if not cell.pairs:
        return np.zeros(np.broadcast(soc, temp).shape)[()]
    return pair_tau(cell, 0, soc, temp)


def charge_rate(cell: Cell, temp: Any) -> Any:
    """Return the greatest charge rate that the cell's zone at `temp` allows [1/s]; zero outside all zones."""
    zones = cell.limits.zones
    inside = [(temp >= zone.temp_low) & (temp < zone.temp_high) for zone in zones]
    return np.select(inside, [zone.rate for zone in zones], 0.0)


def charge_voltage(cell: Cell, temp: Any) -> Any:
    """Return the charge voltage that the cell's zone at `temp` allows [V]; zero outside all zones."""
    zones = cell.limits.zones
    inside = [(temp >= zone.temp_low) & (temp < zone.temp_high) for zone in zones]
    return np.select(inside, [zone.v_max for zone in zones], 0.0)


def scaled(cell: Cell, capacity: float) -> Cell:
    """Return the same chemistry in another size: `capacity` is the rated one [C].

    Charge and heat capacity grow with it, resistances shrink with it; the thermal resistance shrinks with the surface,
    that is with the power 2/3 of the volume.
    """
    k = capacity / cell.capacity
    pairs = tuple(
        RcPair(r_charge=frozen(p.r_charge / k), r_discharge=frozen(p.r_discharge / k), tau=p.tau) for p in cell.pairs
    )
    return replace(
        cell,
        capacity=capacity,
        charge_span=cell.charge_span * k,
        r0_charge=frozen(cell.r0_charge / k),
        r0_discharge=frozen(cell.r0_discharge / k),
        pairs=pairs,
        heat_capacity=cell.heat_capacity * k,
        thermal_resistance=cell.thermal_resistance * k ** (-2.0 / 3.0),
    )


def temperature_findings(cell: Cell, temp_low: float, temp_high: float) -> list[Finding]:
    """Return what holding the resistance tables hides if the cell is used from `temp_low` to `temp_high` [K]."""
    found = []
    if temp_low < cell.temp[0] - _ROUNDING:
        found.append(
            _held(cell, temp_low, float(cell.temp[0]), "colder", "The true resistance is higher: more drop and heat.")
        )
    if temp_high > cell.temp[-1] + _ROUNDING:
        found.append(
            _held(cell, temp_high, float(cell.temp[-1]), "hotter", "The true resistance is lower, and the cell ages.")
        )
    return found


def _held(cell: Cell, temp: float, limit: float, word: str, why: str) -> Finding:
    return Finding(
        severity="caution" if word == "colder" else "note",
        check="cell-table-temperature",
        where=f"cell {cell.key}",
        what=f"The cell is used {word} than its table reaches; its resistance is held at that of {show(limit, 'K')}.",
        value=temp,
        limit=limit,
        unit="K",
        why=why,
        source="common practice",
    )


def frozen(values: npt.ArrayLike) -> Array:
    """Return a read-only array of floats."""
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def with_top(soc: Array, values: Array, *, along_slope: bool) -> tuple[Array, Array]:
    """Return a table over state of charge 0 … 1 with one more point at `SOC_TOP`: along the last slope, or held."""
    slope = (values[-1] - values[-2]) / (soc[-1] - soc[-2]) if along_slope else 0.0
    return frozen([*soc, SOC_TOP]), frozen([*values, values[-1] + slope * (SOC_TOP - soc[-1])])


def _directed(cell: Cell, charge: Array, discharge: Array, soc: Any, temp: Any, charging: Any) -> Any:
    _require_soc(soc)
    if isinstance(charging, bool):
        return _table(cell, charge if charging else discharge, soc, temp)
    return np.where(charging, _table(cell, charge, soc, temp), _table(cell, discharge, soc, temp))


def _table(cell: Cell, values: Array, soc: Any, temp: Any) -> Any:
    """Interpolate: linear over state of charge in both columns, Arrhenius between them; held outside."""
    soc, temp = np.broadcast_arrays(np.asarray(soc, dtype=float), np.asarray(temp, dtype=float))
    z = np.clip(soc, cell.soc[0], cell.soc[-1])
    row = np.clip(np.searchsorted(cell.soc, z, side="right") - 1, 0, len(cell.soc) - 2)
    share = (z - cell.soc[row]) / (cell.soc[row + 1] - cell.soc[row])
    if len(cell.temp) == 1:
        return _linear(values, row, 0, share)[()]
    held = np.clip(temp, cell.temp[0], cell.temp[-1])
    col = np.clip(np.searchsorted(cell.temp, held, side="right") - 1, 0, len(cell.temp) - 2)
    cold, warm = cell.temp[col], cell.temp[col + 1]
    weight = (1.0 / cold - 1.0 / held) / (1.0 / cold - 1.0 / warm)
    at_cold = _linear(values, row, col, share)
    return (at_cold * (_linear(values, row, col + 1, share) / at_cold) ** weight)[()]


def _linear(values: Array, row: Any, col: Any, share: Any) -> Any:
    return values[row, col] * (1.0 - share) + values[row + 1, col] * share


def _require_soc(soc: Any) -> None:
    if np.any(np.less(soc, -_ROUNDING) | np.greater(soc, SOC_TOP + _ROUNDING)):
        raise OutOfRange(f"state of charge leaves 0 % … {SOC_TOP:.0%} (got {_span(soc, '1')})")


def _span(values: Any, unit: str) -> str:
    low, high = float(np.min(values)), float(np.max(values))
    return show(low, unit) if low == high else f"{show(low, unit)} … {show(high, unit)}"

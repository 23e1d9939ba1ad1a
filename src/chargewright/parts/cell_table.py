"""A cell from a table that the user measured or took from the cell's sheet.

    title: Slab cell of the Slate tablet
    like: nmc-energy
    capacity: 4 Ah
    v_max: 4.35 V
    soc [%], temp [degC], ocv [V], r0_charge [mohm], r0_discharge [mohm], r1 [mohm], tau1 [s]
    0,       25,          3.000,   60,               62,                  30,        20
    ...

Each state of charge has to stand in the table once for each temperature. What the table leaves out (limits, thermal
data) is taken from the generic cell named under `like`, scaled to the capacity.
"""

from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from chargewright.base.errors import PartsError, QuantityError
from chargewright.base.near import nearest
from chargewright.base.units import parse, show
from chargewright.parts import cells
from chargewright.parts._columns import Columns, read_columns
from chargewright.parts._grid import TABLE_UNITS, TEMP_REF, grid_of, require_cell
from chargewright.parts.cell import Array, Cell, CellLimits, ChargeZone, RcPair, frozen, scaled, with_top
from chargewright.spec.fields import KEY, Info, quantity, text


@dataclass(frozen=True, slots=True, kw_only=True)
class CellFacts:
    """What may stand above the columns of a cell table."""

    title: str = text(default="", why="what the cell is called", example="Slab cell of the Slate tablet")
    source: str = text(default="", why="where the numbers come from", example="pulse test of 3 May, cell 7")
    chemistry: str = text(default="", why="what the cell is made of", example="NMC / graphite")
    like: str = text(default="", why="generic cell that lends what is not given", example="nmc-energy")
    capacity: float | None = quantity(
        "C", low=360.0, high=1.8e6, default=None, example="4 Ah", why="rated capacity, and charge from 0 to 100 %"
    )
    v_min: float | None = quantity(
        "V", low=1.0, high=4.0, default=None, example="3.0 V", why="lowest working voltage; else the first rest voltage"
    )
    v_max: float | None = quantity(
        "V", low=2.0, high=5.0, default=None, example="4.20 V", why="charge voltage; else the last rest voltage"
    )
    v_upper: float | None = quantity(
        "V", low=2.0, high=5.0, default=None, example="4.25 V", why="voltage that no cell may ever pass"
    )
    v_precharge: float | None = quantity(
        "V", low=1.0, high=4.0, default=None, example="3.0 V", why="below this only the precharge current may flow"
    )
    rate_charge: float | None = quantity(
        "rate", low=1e-6, high=0.01, default=None, example="0.7 C", why="greatest charge rate"
    )
    rate_discharge: float | None = quantity(
        "rate", low=1e-6, high=0.05, default=None, example="2 C", why="greatest lasting discharge rate"
    )
    temp_charge_low: float | None = quantity(
        "K", low=223.15, high=303.15, default=None, example="0 °C", why="coldest temperature for charging"
    )
    temp_charge_high: float | None = quantity(
        "K", low=303.15, high=353.15, default=None, example="45 °C", why="hottest temperature for charging"
    )
    heat_capacity: float | None = quantity(
        "J/K", low=1.0, high=1e5, default=None, example="60 J/K", why="heat capacity of the cell"
    )
    thermal_resistance: float | None = quantity(
        "K/W", low=0.01, high=1000.0, default=None, example="15 K/W", why="thermal resistance from the cell to ambient"
    )


def from_table(path: Path, *, capacity: float | None = None) -> Cell:
    """Return the cell of a table; `capacity` [C] is the one rated elsewhere. Raises PartsError."""
    columns = read_columns(path, TABLE_UNITS)
    facts = _facts(columns)
    lender = _lender(columns, facts)
    rated = capacity or facts.capacity
    if rated is None:
        raise PartsError(
            f"{columns.shown}\n    does not say how large the cell is; put a line such as 'capacity: 4 Ah' above the "
            "columns, or give pack.capacity in the design file"
        )
    cell = _cell(columns, facts, scaled(lender, facts.capacity or rated))
    return scaled(cell, rated) if rated != cell.capacity else cell


def _facts(columns: Columns) -> CellFacts:
    known: dict[str, Info] = {f.name: f.metadata[KEY] for f in fields(CellFacts)}
    given: dict[str, Any] = {}
    problems = []
    for name, (line, found) in columns.facts.items():
        where = f"{columns.shown}:{line}  {name} = {found!r}"
        if name not in known:
            close = nearest(name, known)
            problems.append(
                f"{where}\n    is not known; " + (f"did you mean {close!r}?" if close else ", ".join(known))
            )
            continue
        info = known[name]
        if not info.unit:
            if len(found) > info.max_length:
                problems.append(f"{where[:200]}\n    is longer than {info.max_length} characters")
            given[name] = found
            continue
        try:
            value = parse(found, info.unit)
        except QuantityError as error:
            problems.append(f"{where}\n    {error}")
            continue
        if not info.low <= value <= info.high:
            low, high = show(info.low, info.unit), show(info.high, info.unit)
            problems.append(f"{where}\n    is outside {low} … {high}, the range for the {info.why}")
        given[name] = value
    if problems:
        raise PartsError("\n".join(problems))
    return CellFacts(**given)


def _lender(columns: Columns, facts: CellFacts) -> Cell:
    known = cells.shelf.keys()
    if facts.like not in known:
        named = f"{facts.like!r} is no generic cell" if facts.like else "no line 'like: ...' names a generic cell"
        raise PartsError(
            f"{columns.shown}\n    {named}; say which one lends the limits and thermal data that the table does not "
            f"give: {', '.join(known)}"
        )
    return cells.shelf.get(facts.like)


def _cell(columns: Columns, facts: CellFacts, lender: Cell) -> Cell:
    values = dict(columns.values)
    cautions = [f"Limits and thermal data that the table does not give are those of the generic cell {lender.key}."]
    if "temp" not in values:
        values["temp"] = frozen(np.full(len(columns.lines), TEMP_REF))
        cautions.append("The table names no temperature; 25 °C is taken.")
    branches = [name for name in ("ocv_charge", "ocv_discharge") if name in values]
    if len(branches) == 1:
        raise PartsError(
            f"{columns.shown}\n    ocv_charge and ocv_discharge belong together; only {branches[0]} is there"
        )
    if branches and "ocv" not in values:
        values["ocv"] = frozen(0.5 * (values["ocv_charge"] + values["ocv_discharge"]))
    for missing in ("soc", "ocv"):
        if missing not in values:
            raise PartsError(f"{columns.shown}\n    has no column {missing!r}; columns: {', '.join(TABLE_UNITS)}")
    r0_charge = next((n for n in ("r0_charge", "r0", "r0_discharge") if n in values), None)
    if r0_charge is None:
        raise PartsError(f"{columns.shown}\n    has no column 'r0', 'r0_charge' or 'r0_discharge'")
    r0_discharge = next(n for n in ("r0_discharge", "r0", "r0_charge") if n in values)
    filled = replace(columns, values=values)
    soc, temp, grid = grid_of(filled, tuple(n for n in values if n not in ("soc", "temp")))
    if len(soc) < 2 or abs(soc[0]) > 1e-9 or abs(soc[-1] - 1.0) > 1e-9:
        raise PartsError(
            f"{columns.shown}\n    soc runs from {show(soc[0], '1')} to {show(soc[-1], '1')}; "
            "it must reach 0 % and 100 %"
        )
    if len(temp) == 1:
        cautions.append(f"Resistances are known at {show(temp[0], 'K')} only and held at every other temperature.")
    ref = int(np.argmin(np.abs(temp - TEMP_REF)))
    soc_ocv, ocv = with_top(soc, grid["ocv"][:, ref], along_slope=True)
    upper, lower = (
        (with_top(soc, grid[name][:, ref], along_slope=True)[1] for name in branches) if branches else (None, None)
    )
    v_max = facts.v_max if facts.v_max is not None else float(grid["ocv"][-1, ref])
    v_min = facts.v_min if facts.v_min is not None else float(grid["ocv"][0, ref])
    cell = Cell(
        key=Path(columns.shown).stem,
        title=facts.title or f"Cell of {Path(columns.shown).name}",
        chemistry=facts.chemistry or "not stated",
        source=facts.source or f"table {Path(columns.shown).name}, given by the user",
        cautions=tuple(cautions),
        capacity=lender.capacity,
        charge_span=lender.capacity,
        v_min=v_min,
        v_max=v_max,
        soc_ocv=soc_ocv,
        ocv=ocv,
        docv_dt=with_top(soc, _entropic(grid, temp, ref), along_slope=False)[1],
        temp_ref=float(temp[ref]),
        soc=soc,
        temp=temp,
        r0_charge=grid[r0_charge],
        r0_discharge=grid[r0_discharge],
        pairs=_pairs(columns.shown, grid),
        limits=_limits(facts, lender, v_max),
        heat_capacity=facts.heat_capacity if facts.heat_capacity is not None else lender.heat_capacity,
        thermal_resistance=(
            facts.thermal_resistance if facts.thermal_resistance is not None else lender.thermal_resistance
        ),
        ocv_charge=upper,
        ocv_discharge=lower,
    )
    return require_cell(columns.shown, cell)


def _entropic(grid: dict[str, Array], temp: Array, ref: int) -> Array:
    """Return the given slope of the rest voltage with temperature, or that of the straight line through the columns."""
    if "docv_dT" in grid:
        return frozen(grid["docv_dT"][:, ref])
    if len(temp) == 1:
        return frozen(np.zeros(len(grid["ocv"])))
    return frozen(np.polyfit(temp - temp[ref], grid["ocv"].T, 1)[0])


def _pairs(shown: str, grid: dict[str, Array]) -> tuple[RcPair, ...]:
    pairs = []
    for k in (1, 2, 3):
        charge = next((n for n in (f"r{k}_charge", f"r{k}", f"r{k}_discharge") if n in grid), None)
        discharge = next((n for n in (f"r{k}_discharge", f"r{k}", f"r{k}_charge") if n in grid), None)
        if (charge is None) != (f"tau{k}" not in grid):
            raise PartsError(f"{shown}\n    r{k} and tau{k} belong together; only one of the two is a column")
        if charge is not None and discharge is not None:
            pairs.append(RcPair(r_charge=grid[charge], r_discharge=grid[discharge], tau=grid[f"tau{k}"]))
    return tuple(pairs)


def _limits(facts: CellFacts, lender: Cell, v_max: float) -> CellLimits:
    """Return the lender's limits, moved to this cell's charge voltage, with what the facts say put in place."""
    base = lender.limits
    low = facts.temp_charge_low if facts.temp_charge_low is not None else base.temp_charge_low
    high = facts.temp_charge_high if facts.temp_charge_high is not None else base.temp_charge_high
    share = facts.rate_charge / base.rate_charge if facts.rate_charge is not None else 1.0
    zones = [
        ChargeZone(
            temp_low=low if zone is base.zones[0] else max(zone.temp_low, low),
            temp_high=high if zone is base.zones[-1] else min(zone.temp_high, high),
            rate=zone.rate * share,
            v_max=zone.v_max - lender.v_max + v_max,
        )
        for zone in base.zones
    ]
    return replace(
        base,
        v_upper=facts.v_upper if facts.v_upper is not None else base.v_upper - lender.v_max + v_max,
        v_precharge=facts.v_precharge if facts.v_precharge is not None else base.v_precharge,
        rate_discharge=facts.rate_discharge if facts.rate_discharge is not None else base.rate_discharge,
        zones=tuple(zone for zone in zones if zone.temp_low < zone.temp_high),
    )

"""A pack: cells in series groups of parallel cells, with what stands between them and the terminals.

Every cell is taken as equal, except where one is asked for by name: the highest cell, which decides when a charge must
end. Current into the pack is positive.
"""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from chargewright.base.errors import PartsError
from chargewright.base.findings import Finding
from chargewright.base.near import nearest
from chargewright.base.units import Toleranced, show
from chargewright.parts import cell as cells_of
from chargewright.parts import cells
from chargewright.parts.bpx import from_bpx
from chargewright.parts.cell import Cell, frozen, scaled
from chargewright.parts.cell_table import from_table
from chargewright.spec.pack import PackSpec

_BALANCE_BELOW = 0.1
"""How far below the charge voltage balancing begins unless the design file says [V]: common practice."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pack:
    """A pack; all SI. Make it with `build_pack`."""

    cell: Cell
    series: int
    parallel: int
    interconnect: Toleranced
    protection: Toleranced
    lead_inductance: float
    sensed_at: Literal["cells", "converter"]
    """Where the voltage that the charger holds in the CV phase is taken."""
    spread_capacity: float
    """Largest difference of capacity between cells, over the mean [1]."""
    spread_resistance: float
    """Largest difference of resistance between cells, over the mean [1]."""
    spread_soc: float = 0.0
    """Largest difference of state of charge that self-discharge leaves between cells [1]."""
    balance_current: float = 0.0
    """Current that balancing takes from the highest cell [A]."""
    balance_from: float = 0.0
    """Cell voltage above which it does [V]."""
    v_cell_max: float
    """Charge voltage of one cell in this pack."""
    v_cell_min: float
    i_discharge_max: float
    findings: tuple[Finding, ...]
    """What is wrong or thin with the pack as described."""

    @property
    def capacity(self) -> float:
        """Rated capacity [C]."""
        return self.cell.capacity * self.parallel

    @property
    def charge_span(self) -> float:
        """Charge between state of charge 0 and 1 [C]."""
        return self.cell.charge_span * self.parallel

    @property
    def v_full(self) -> float:
        """Charge voltage of the pack [V]."""
        return self.v_cell_max * self.series

    @property
    def v_empty(self) -> float:
        """Lowest working voltage of the pack [V]."""
        return self.v_cell_min * self.series

    @property
    def v_precharge(self) -> float:
        """Below this pack voltage only the precharge current may flow [V]."""
        return self.cell.limits.v_precharge * self.series

    @property
    def lead_resistance(self) -> float:
        """Typical resistance between the cells and the terminals [Ω]."""
        return self.interconnect.typ + self.protection.typ

    @property
    def cells(self) -> int:
        """Number of cells."""
        return self.series * self.parallel


@dataclass(frozen=True, slots=True, kw_only=True)
class CellKind:
    """Cells of a pack that are alike: their share, and capacity and resistance over those of a mean cell."""

    share: float
    capacity: float
    resistance: float
    ahead: float = 0.0
    """Charge that self-discharge has left more in them than in a mean cell, over the charge span of a mean cell [1]."""


def build_pack(spec: PackSpec, design_dir: Path) -> Pack:
    """Return the pack of a design file; relative paths start at `design_dir`. Raises PartsError."""
    cell = load_cell(spec.cell, design_dir, capacity=spec.capacity)
    v_max = spec.v_cell_max if spec.v_cell_max is not None else cell.v_max
    v_min = spec.v_cell_min if spec.v_cell_min is not None else cell.v_min
    if v_min >= v_max:
        raise PartsError(
            f"pack: v_cell_min = {show(v_min, 'V')} is not below v_cell_max = {show(v_max, 'V')}; "
            "give the lowest working voltage and the charge voltage of one cell"
        )
    if not cell.ocv[0] - 1e-9 <= v_min < v_max <= cell.ocv[-1]:
        raise PartsError(
            f"pack: the cell {cell.key} rests between {show(cell.ocv[0], 'V')} and {show(cell.ocv[-1], 'V')}; "
            f"v_cell_min = {show(v_min, 'V')} and v_cell_max = {show(v_max, 'V')} must lie inside"
        )
    rated = cell.capacity * spec.parallel
    own = cell.limits.rate_discharge * rated
    i_max = spec.i_discharge_max.amps(rated) if spec.i_discharge_max is not None else own
    return Pack(
        cell=cell,
        series=spec.series,
        parallel=spec.parallel,
        interconnect=spec.interconnect,
        protection=spec.protection,
        lead_inductance=spec.lead_inductance,
        sensed_at=spec.sensed_at,
        spread_capacity=spec.spread_capacity,
        spread_resistance=spec.spread_resistance,
        spread_soc=spec.spread_soc,
        balance_current=spec.balance_current,
        balance_from=spec.balance_from if spec.balance_from is not None else v_max - _BALANCE_BELOW,
        v_cell_max=v_max,
        v_cell_min=v_min,
        i_discharge_max=i_max,
        findings=tuple(_findings(cell, v_max=v_max, v_min=v_min, rate=i_max / rated)),
    )


def load_cell(name: str, design_dir: Path, *, capacity: float | None = None) -> Cell:
    """Return the cell that a design file names: a generic one, a cell table (.csv) or a BPX file (.json).

    capacity : rated capacity to scale the cell to [C]; None keeps the cell's own
    Raises PartsError.
    """
    suffix = Path(name).suffix.lower()
    if suffix == ".csv":
        return from_table(design_dir / name, capacity=capacity)
    if suffix == ".json":
        return from_bpx(design_dir / name, capacity=capacity)
    known = cells.shelf.keys()
    if name not in known:
        close = nearest(name, known)
        hint = f"did you mean {close!r}?" if close else f"generic cells: {', '.join(known)}"
        raise PartsError(f"pack.cell: {name!r} is neither a generic cell nor a file ending in .csv or .json; {hint}")
    cell = cells.shelf.get(name)
    return scaled(cell, capacity) if capacity is not None else cell


def pack_ocv(pack: Pack, soc: Any, temp: Any) -> Any:
    """Return the rest voltage of the pack [V]; arguments broadcast. Raises OutOfRange."""
    return pack.series * cells_of.ocv(pack.cell, soc, temp)


def pack_resistance(pack: Pack, soc: Any, temp: Any, charging: Any) -> Any:
    """Return what a step of current meets at once [Ω]: cells, interconnect, protection. Raises OutOfRange."""
    per_cell = cells_of.r0(pack.cell, soc, temp, charging)
    return per_cell * (pack.series / pack.parallel) + pack.lead_resistance


def pack_polarisation(pack: Pack, soc: Any, temp: Any, charging: Any) -> Any:
    """Return the resistance of all RC pairs of the pack [Ω]: what lasting current meets besides. Raises OutOfRange."""
    total = np.zeros(np.broadcast(soc, temp).shape)
    for index in range(len(pack.cell.pairs)):
        total = total + cells_of.pair_resistance(pack.cell, index, soc, temp, charging)
    return (total * (pack.series / pack.parallel))[()]


def pack_dc_resistance(pack: Pack, soc: Any, temp: Any, charging: Any) -> Any:
    """Return what a lasting current meets [Ω]: `pack_resistance` and `pack_polarisation`. Raises OutOfRange."""
    return pack_resistance(pack, soc, temp, charging) + pack_polarisation(pack, soc, temp, charging)


def pack_charge_current(pack: Pack, temp: Any) -> Any:
    """Return the greatest charge current that the cells allow at `temp` [A]; zero where they may not be charged."""
    return cells_of.charge_rate(pack.cell, temp) * pack.capacity


def pack_charge_voltage(pack: Pack, temp: Any) -> Any:
    """Return the greatest charge voltage at `temp` [V]; zero where the cells may not be charged."""
    return pack.series * np.minimum(cells_of.charge_voltage(pack.cell, temp), pack.v_cell_max)


def cell_kinds(pack: Pack) -> tuple[CellKind, ...]:
    """Return the kinds of cells in the worst pack of the given spread, the highest cell first.

    The worst pack has one cell in series at one edge of the spread and all others at the other edge. The one has the
    least capacity and the greatest resistance, and has lost least by self-discharge, so at the end of a charge it
    stands highest. Nothing balances: but for self-discharge all cells were equally empty at some time, so the state of
    charge of the one runs ahead.
    """
    if pack.series == 1 or pack.spread_capacity == pack.spread_resistance == pack.spread_soc == 0.0:
        return (CellKind(share=1.0, capacity=1.0, resistance=1.0),)
    others = pack.series - 1
    c, r = pack.spread_capacity / pack.series, pack.spread_resistance / pack.series
    z = pack.spread_soc / pack.series
    return (
        CellKind(share=1.0 / pack.series, capacity=1.0 - c * others, resistance=1.0 + r * others, ahead=z * others),
        CellKind(share=others / pack.series, capacity=1.0 + c, resistance=1.0 - r, ahead=-z),
    )


def highest_cell_voltage(pack: Pack, soc: Any, temp: Any, drop: Any) -> Any:
    """Return the voltage of the highest cell while the pack is charged [V]; see `cell_kinds`.

    soc  : mean state of charge of the pack [1]
    drop : what the current adds to the rest voltage of a mean cell [V], over R0 and the RC pairs
    """
    highest = cell_kinds(pack)[0]
    own = (soc + highest.ahead) / highest.capacity
    return cells_of.rest_voltage_beyond(pack.cell, own, temp) + drop * highest.resistance


def lowest_cell_voltage(pack: Pack, soc: Any, temp: Any, drop: Any) -> Any:
    """Return the voltage of the lowest cell while the pack is discharged [V].

    The worst pack is that of `cell_kinds` the other way round: the cell of least capacity and greatest resistance has
    also lost most by self-discharge, and all cells were once equally full, so it is empty first.

    soc  : mean state of charge of the pack [1]
    drop : what the current takes from the rest voltage of a mean cell [V], above zero
    """
    lowest = cell_kinds(pack)[0]
    own = np.maximum(1.0 - (1.0 - soc + lowest.ahead) / lowest.capacity, 0.0)
    return cells_of.rest_voltage_beyond(pack.cell, own, temp) - drop * lowest.resistance


def usable_share(pack: Pack) -> float:
    """Return the share of a full mean cell's charge that flows until the lowest cell is empty [1]."""
    lowest = cell_kinds(pack)[0]
    return max(lowest.capacity - lowest.ahead, 0.0)


def aged(pack: Pack, *, capacity: float, resistance: float) -> Pack:
    """Return a pack of aged cells; the factors are over a new cell [1].

    The rated capacity stays, because the charger, its current and its termination were set up for a new pack.
    """
    cell = pack.cell
    pairs = tuple(
        replace(p, r_charge=frozen(p.r_charge * resistance), r_discharge=frozen(p.r_discharge * resistance))
        for p in cell.pairs
    )
    return replace(
        pack,
        cell=replace(
            cell,
            charge_span=cell.charge_span * capacity,
            r0_charge=frozen(cell.r0_charge * resistance),
            r0_discharge=frozen(cell.r0_discharge * resistance),
            pairs=pairs,
        ),
    )


def _findings(cell: Cell, *, v_max: float, v_min: float, rate: float) -> list[Finding]:
    limits, where = cell.limits, f"cell {cell.key}"
    found = []
    if v_max > cell.v_max + 1e-9:
        found.append(
            Finding(
                severity="stop",
                check="cell-charge-voltage",
                where=where,
                what=f"The pack is to be charged to {show(v_max, 'V')} per cell, above the cell's charge voltage.",
                value=v_max,
                limit=cell.v_max,
                unit="V",
                why="Over-charged lithium cells plate lithium, gas and may burn.",
                source="charge voltage of the cell model; IEC 62133-2 (upper limit charging voltage)",
            )
        )
    if v_min < cell.v_min - 1e-9:
        found.append(
            Finding(
                severity="serious",
                check="cell-lowest-voltage",
                where=where,
                what=f"The pack is to be used down to {show(v_min, 'V')} per cell, below the cell's lowest voltage.",
                value=v_min,
                limit=cell.v_min,
                unit="V",
                why="Over-discharged cells dissolve copper and may short when they are charged again.",
                source="lowest voltage of the cell model; common practice",
            )
        )
    if rate > limits.rate_discharge * (1.0 + 1e-9):
        found.append(
            Finding(
                severity="caution",
                check="cell-discharge-rate",
                where=where,
                what=f"The pack may be discharged at {show(rate, 'rate')}, more than the cell stands for long.",
                value=rate,
                limit=limits.rate_discharge,
                unit="rate",
                why="The cell heats beyond its limit and ages early.",
                source="lasting discharge rate of the cell model",
            )
        )
    found += [
        Finding(
            severity="note",
            check="cell-model",
            where=where,
            what=caution,
            value=float("nan"),
            limit=float("nan"),
            unit="1",
            why="A cell's own sheet outranks any curve used here.",
            source=cell.source,
        )
        for caution in cell.cautions
    ]
    return found

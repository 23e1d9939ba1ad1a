"""The usage day: state of charge, energy from the wall and from the pack, losses, overloads and brown-outs.

For each stretch of the day the path is solved over a grid of states of charge once; the day is then stepped through
with those tables. The stretches repeat until the state of charge at the end of the day meets the one at its start, so
that the energy is that of a lasting day and not of a lucky start.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.network.graph import PowerPath
from chargewright.network.hardware import Hardware
from chargewright.parts.supply import wall_power
from chargewright.studies.needs import Plan
from chargewright.studies.operate import Operation, operate
from chargewright.studies.situation import Situation, mode_power

Floats = npt.NDArray[np.float64]
_GRID = np.concatenate([np.linspace(0.0, 0.9, 19), [0.93, 0.96, 0.98, 0.99, 1.0]])
_STEP = 60.0
_MOST_DAYS = 12
_SETTLED = 2e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """One lasting day of use on one path, SI."""

    t: Floats
    """Time from the start of the day [s]."""
    soc: Floats
    p_source: Floats
    """Power at the source's connector [W]."""
    p_loss: Floats
    e_wall: float
    """Energy from the wall, with the source's own efficiency and no-load power [J]."""
    e_source: float
    e_load: float
    e_loss: float
    e_from_pack: float
    """Energy that the cells gave [J]."""
    throughput: float
    """Equivalent full cycles a day [1]."""
    t_unserved: float
    """Time in which the load could not be served: pack empty, bus too low or source beyond its limit [s]."""
    t_overload: float
    e_unserved: float
    """Load energy that was asked for and not served [J]."""
    closes: bool
    """Whether the state of charge ends where it began."""
    soc_low: float
    soc_start: float

    @property
    def efficiency(self) -> float:
        """Load energy over energy at the source's connector, for a day that closes [1]."""
        return self.e_load / self.e_source if self.e_source > 0.0 else float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    operation: Operation
    wall: Floats
    """Wall power over the grid [W]."""
    power: float


def day(case: Situation, chosen: Plan, hardware: Hardware, temp: float) -> Day:
    """Return the lasting usage day of a path at an ambient temperature [K]."""
    tables = [_table(case, chosen, hardware, s.mode, s.source, temp) for s in case.usage]
    steps = [max(1, round(s.duration / _STEP)) for s in case.usage]
    owner = np.repeat(np.arange(len(steps)), steps)
    dt = np.concatenate([np.full(n, s.duration / n) for n, s in zip(steps, case.usage, strict=True)])
    start = 1.0
    for _ in range(_MOST_DAYS):
        soc = _walk(case, tables, owner, dt, start)
        if abs(soc[-1] - start) < _SETTLED:
            break
        start = float(soc[-1])
    return _account(case, tables, owner, dt, soc, start)


def _table(case: Situation, chosen: Plan, hw: Hardware, mode: str, source: str, temp: float) -> _Table:
    power = mode_power(case, mode)
    supply = None if source == "none" else chosen.contracts[source]
    through = source in chosen.through
    o = operate(case, chosen.path, hw, supply, soc=_GRID, p_load=power, temp=temp, pass_through=through)
    wall = np.zeros(len(_GRID)) if supply is None else np.asarray(wall_power(supply, o.p_source), dtype=float)
    return _Table(operation=o, wall=wall, power=power)


def _served(table: _Table) -> Floats:
    o = table.operation
    return (o.solved & ~o.brown_out & ~o.overloaded).astype(float)


def _walk(case: Situation, tables: list[_Table], owner: npt.NDArray[np.int64], dt: Floats, start: float) -> Floats:
    """Return the state of charge at the start of each step and at the end, shape (n + 1,)."""
    flows = [np.where(np.isfinite(t.operation.i_pack), t.operation.i_pack, 0.0) for t in tables]
    serves = [_served(t) for t in tables]
    span = case.pack.charge_span
    soc = np.empty(len(dt) + 1)
    soc[0] = start
    for k, which in enumerate(owner):
        here = soc[k]
        i = float(np.interp(here, _GRID, flows[which]))
        if i < 0.0 and np.interp(here, _GRID, serves[which]) < 0.5:
            i = 0.0
        soc[k + 1] = min(max(here + i * dt[k] / span, 0.0), 1.0)
    return soc


def _account(
    case: Situation, tables: list[_Table], owner: npt.NDArray[np.int64], dt: Floats, soc: Floats, start: float
) -> Day:
    here = soc[:-1]

    def along(pick: Floats, mask: npt.NDArray[np.bool_]) -> Floats:
        return np.interp(here[mask], _GRID, np.where(np.isfinite(pick), pick, 0.0))

    n = len(dt)
    p_source, p_wall, p_loss, p_load, p_cells, i_pack = (np.zeros(n) for _ in range(6))
    served, overloaded = np.zeros(n), np.zeros(n)
    for which, table in enumerate(tables):
        mask = owner == which
        o = table.operation
        on = along(_served(table), mask) >= 0.5
        served[mask] = on
        overloaded[mask] = along(o.overloaded.astype(float), mask) >= 0.5
        p_source[mask] = along(o.p_source, mask)
        p_wall[mask] = along(table.wall, mask)
        p_load[mask] = np.where(on, table.power, 0.0)
        p_loss[mask] = np.where(on, along(o.p_loss, mask), 0.0)
        p_cells[mask] = np.where(on, along(o.p_cells, mask), 0.0)
        i_pack[mask] = np.where(on, along(o.i_pack, mask), 0.0)
    asked = np.array([tables[w].power for w in owner])
    return Day(
        t=np.concatenate([[0.0], np.cumsum(dt)]),
        soc=soc,
        p_source=p_source,
        p_loss=p_loss,
        e_wall=float(np.sum(p_wall * dt)),
        e_source=float(np.sum(p_source * dt)),
        e_load=float(np.sum(p_load * dt)),
        e_loss=float(np.sum(p_loss * dt)),
        e_from_pack=float(np.sum(np.clip(-p_cells, 0.0, None) * dt)),
        throughput=float(np.sum(np.clip(-i_pack, 0.0, None) * dt)) / case.pack.charge_span,
        t_unserved=float(np.sum((served < 0.5) * dt)),
        t_overload=float(np.sum((overloaded > 0.5) * dt)),
        e_unserved=float(np.sum((asked - p_load) * dt)),
        closes=abs(float(soc[-1]) - start) < 10.0 * _SETTLED,
        soc_low=float(np.min(soc)),
        soc_start=start,
    )


def run_time(case: Situation, path: PowerPath, hardware: Hardware, p_load: float, temp: float) -> float:
    """Return how long a full pack carries a load alone [s]: until the rails brown out or the pack is empty."""
    o = operate(case, path, hardware, None, soc=_GRID, p_load=p_load, temp=temp)
    fine = o.solved & ~o.brown_out & ~o.overloaded
    if not fine.any():
        return 0.0
    first = int(np.argmax(fine))
    soc, i = _GRID[first:], -o.i_pack[first:]
    return float(np.trapezoid(case.pack.charge_span / np.maximum(i, 1e-9), soc))

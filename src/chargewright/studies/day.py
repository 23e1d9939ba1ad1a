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
from chargewright.parts.supply import Supply, wall_power
from chargewright.studies.needs import Plan
from chargewright.studies.operate import Operation, operate
from chargewright.studies.situation import Situation, mode_power

Floats = npt.NDArray[np.float64]
_GRID = np.concatenate([[0.0, 0.01, 0.025], np.linspace(0.05, 0.9, 18), [0.93, 0.96, 0.98, 0.99, 1.0]])
_STEP = 60.0
_MOST_DAYS = 12
_SETTLED = 2e-4
_HAIR = 1e-3


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
class _Flows:
    """What flows, over the states of charge at which it can."""

    soc: Floats
    i_pack: Floats
    p_source: Floats
    p_wall: Floats
    p_loss: Floats
    p_cells: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """One stretch of the day, solved over the grid."""

    power: float
    margin: Floats
    """How far the load is from not being served [1]; below zero it is not."""
    overloaded: Floats
    on: _Flows
    """While the load is served."""
    off: _Flows
    """While it is not: the product has shut down, and what source there is charges the pack."""


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
    off = _flows(o, np.zeros(len(_GRID), dtype=bool), supply)
    if supply is not None and not o.lasts.all():
        idle = operate(case, chosen.path, hw, supply, soc=_GRID, p_load=case.design.system.standby, temp=temp)
        off = _flows(idle, idle.solved & ~idle.overloaded & (idle.i_pack >= 0.0), supply)
    return _Table(
        power=power,
        margin=_margin(case, o),
        overloaded=o.overloaded.astype(float),
        on=_flows(o, o.lasts, supply),
        off=off,
    )


def _flows(o: Operation, fine: npt.NDArray[np.bool_], supply: Supply | None) -> _Flows:
    """Return what flows where it is `fine`, held beyond; nothing but the source's own need if it never is."""
    none = np.zeros(1)
    rows = {n: getattr(o, n)[fine] if fine.any() else none for n in ("i_pack", "p_source", "p_loss", "p_cells")}
    p_wall = none if supply is None else np.asarray(wall_power(supply, rows["p_source"]), dtype=float)
    return _Flows(soc=_GRID[fine] if fine.any() else none, p_wall=np.resize(p_wall, rows["i_pack"].shape), **rows)


def _margin(case: Situation, o: Operation) -> Floats:
    """Return by how much bus and pack are above their least voltages [1], so that the crossing can be found between
    points of the grid; a step to `-_HAIR` where anything else ends the service, as that has no voltage to tell by."""
    bus = o.v_bus / case.bus_min - 1.0 if case.bus_min > 0.0 else np.ones(len(_GRID))
    pack = np.where(o.i_pack < 0.0, o.v_pack / case.pack.v_empty - 1.0, np.inf)
    least = np.fmin(np.fmin(bus, pack), 1.0)
    told = o.lasts | (o.solved & ~o.overloaded & (least < 0.0))
    return np.where(told, least, -_HAIR)


def _walk(case: Situation, tables: list[_Table], owner: npt.NDArray[np.int64], dt: Floats, start: float) -> Floats:
    """Return the state of charge at the start of each step and at the end, shape (n + 1,)."""
    span = case.pack.charge_span
    soc = np.empty(len(dt) + 1)
    soc[0] = start
    for k, which in enumerate(owner):
        here, table = soc[k], tables[which]
        flows = table.on if np.interp(here, _GRID, table.margin) >= 0.0 else table.off
        soc[k + 1] = min(max(here + float(np.interp(here, flows.soc, flows.i_pack)) * dt[k] / span, 0.0), 1.0)
    return soc


def _account(
    case: Situation, tables: list[_Table], owner: npt.NDArray[np.int64], dt: Floats, soc: Floats, start: float
) -> Day:
    n = len(dt)
    names = ("i_pack", "p_source", "p_wall", "p_loss", "p_cells")
    along = {name: np.zeros(n) for name in names}
    served, overloaded = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    for which, table in enumerate(tables):
        mask = owner == which
        here = soc[:-1][mask]
        served[mask] = on = np.interp(here, _GRID, table.margin) >= 0.0
        overloaded[mask] = np.interp(here, _GRID, table.overloaded) >= 0.5
        for name in names:
            with_load, without = (np.interp(here, f.soc, getattr(f, name)) for f in (table.on, table.off))
            along[name][mask] = np.where(on, with_load, without)
    asked = np.array([tables[w].power for w in owner])
    p_load = np.where(served, asked, 0.0)
    return Day(
        t=np.concatenate([[0.0], np.cumsum(dt)]),
        soc=soc,
        p_source=along["p_source"],
        p_loss=along["p_loss"],
        e_wall=float(np.sum(along["p_wall"] * dt)),
        e_source=float(np.sum(along["p_source"] * dt)),
        e_load=float(np.sum(p_load * dt)),
        e_loss=float(np.sum(along["p_loss"] * dt)),
        e_from_pack=float(np.sum(np.clip(-along["p_cells"], 0.0, None) * dt)),
        throughput=float(np.sum(np.clip(-along["i_pack"], 0.0, None) * dt)) / case.pack.charge_span,
        t_unserved=float(np.sum(~served * dt)),
        t_overload=float(np.sum(overloaded * dt)),
        e_unserved=float(np.sum((asked - p_load) * dt)),
        closes=abs(float(soc[-1]) - start) < 10.0 * _SETTLED,
        soc_low=float(np.min(soc)),
        soc_start=start,
    )


def run_time(case: Situation, path: PowerPath, hardware: Hardware, p_load: float, temp: float) -> float:
    """Return how long a full pack carries a load alone [s]: until the rails brown out or the pack is empty."""
    o = operate(case, path, hardware, None, soc=_GRID, p_load=p_load, temp=temp)
    fine, margin = o.lasts, _margin(case, o)
    if not fine[-1]:
        return 0.0
    last = len(_GRID) - 1 - int(np.argmin(fine[::-1])) if not fine.all() else -1
    soc, i = _GRID[last + 1 :], -o.i_pack[last + 1 :]
    if last >= 0:
        # Down to where the margin is gone, between the last point that fails and the first that does not.
        share = margin[last + 1] / (margin[last + 1] - margin[last])
        soc = np.concatenate([[soc[0] - share * (soc[0] - _GRID[last])], soc])
        i = np.concatenate([[i[0]], i])
    return float(np.trapezoid(case.pack.charge_span / np.maximum(i, 1e-9), soc))

"""The usage day: state of charge, energy from the wall and from the pack, losses, overloads and brown-outs.

The engine is that of longer runs (`sim.usage`), in steps of a minute. The day repeats until the state of charge at its
end meets the one at its start, so that the energy is that of a lasting day and not of a lucky start. The charge timer
is left out: that a charge takes too long is told by the charge itself.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from chargewright.network.graph import PowerPath
from chargewright.network.hardware import Hardware
from chargewright.parts.pack import lowest_cell_voltage, pack_ocv
from chargewright.sim import usage_rules as code
from chargewright.sim.usage import UsageSums, rested, run_usage
from chargewright.sim.usage_setup import fold_charger, fold_pack
from chargewright.studies.needs import Plan
from chargewright.studies.operate import Operation, operate
from chargewright.studies.situation import Situation
from chargewright.studies.usage.points import QUICK
from chargewright.studies.usage.run import cable_loss, charger_of, wall_energy
from chargewright.studies.usage.series import table_demand
from chargewright.studies.usage.tables import UsageTables, usage_tables

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


def day(case: Situation, chosen: Plan, hardware: Hardware, temp: float) -> Day:
    """Return the lasting usage day of a path at an ambient temperature [K]."""
    demand = table_demand(case)
    loads = sorted({case.design.system.standby, *(float(p) for p in demand.series.power)})
    tables = usage_tables(case, chosen, hardware, loads=loads, sources=demand.series.sources, temp=temp, grid=QUICK)
    pack = fold_pack(case.pack)
    rules = fold_charger(
        case.pack,
        replace(charger_of(case), timer=math.inf, precharge_timer=math.inf),
        recharge_drop=case.design.charge.recharge_drop,
        standby=case.design.system.standby,
        ambient=temp,
        restart=0.0,
        longest=_STEP,
        row_every=_STEP,
    )
    series = demand.series
    start = rested(case.pack, pack, rules, soc=1.0, temp=temp)
    for _ in range(_MOST_DAYS):
        sums = run_usage(pack, tables.path, rules, series, start=start, length=series.period)
        moved = (sums.end.charge - start.charge) / pack.span
        if abs(moved) < _SETTLED:
            break
        start = sums.end
    return _account(case, tables, sums)


def _account(case: Situation, tables: UsageTables, sums: UsageSums) -> Day:
    """Return the day of a run, its rows spread to every minute: a full pack at rest takes longer steps."""
    span, demand = case.pack.charge_span, table_demand(case).series
    ends = np.cumsum(demand.duration)
    t = np.concatenate([[0.0], *(np.linspace(e - d, e, max(1, math.ceil(d / _STEP - 1e-9)) + 1)[1:]
                                 for e, d in zip(ends, demand.duration, strict=True))])  # fmt: skip
    rows = sums.rows
    at = np.searchsorted(rows[:, 0], t[:-1] + 1e-6, side="right") - 1
    asked = demand.power[np.searchsorted(ends, t[:-1] + 1e-6, side="right")]
    served = rows[at, 6] >= asked
    missing = float(np.sum(np.where(served, 0.0, asked) * np.diff(t)))
    total = sums.total
    cable = cable_loss(tables, rows[:, 5], rows[:, 10])
    p_loss = rows[:, 7] - cable
    soc = np.interp(t, np.append(rows[:, 0], t[-1]), np.append(rows[:, 1], sums.end.charge / span))
    return Day(
        t=t,
        soc=soc,
        p_source=rows[at, 5],
        p_loss=p_loss[at],
        e_wall=float(np.sum(wall_energy(tables, sums.by_source))),
        e_source=total(code.E_SOURCE),
        e_load=total(code.E_ASKED) - missing,
        e_loss=float(np.sum(p_loss[at] * np.diff(t))),
        e_from_pack=total(code.S_OUT),
        throughput=total(code.Q_OUT) / span,
        t_unserved=total(code.T_UNSERVED),
        t_overload=total(code.T_OVER) + total(code.T_BEYOND),
        e_unserved=missing,
        closes=abs(sums.end.charge - sums.start.charge) / span < 10.0 * _SETTLED,
        soc_low=float(np.min(soc)),
        soc_start=sums.start.charge / span,
    )


def _margin(case: Situation, o: Operation, temp: float) -> Floats:
    """Return by how much bus, pack and lowest cell are above their least voltages [1], so that the crossing can be
    found between points of the grid; a step to `-_HAIR` where anything else ends the service, as that has no
    voltage to tell by."""
    bus = o.v_bus / case.bus_min - 1.0 if case.bus_min > 0.0 else np.ones(len(_GRID))
    pack = np.where(o.i_pack < 0.0, o.v_pack / case.pack.v_empty - 1.0, np.inf)
    drop = (pack_ocv(case.pack, _GRID, temp) + o.i_pack * case.pack.lead_resistance - o.v_pack) / case.pack.series
    cell = lowest_cell_voltage(case.pack, _GRID, temp, drop) / case.pack.v_cell_min - 1.0
    pack = np.fmin(pack, np.where(o.i_pack < 0.0, cell, np.inf))
    least = np.fmin(np.fmin(bus, pack), 1.0)
    told = o.lasts | (o.solved & ~o.overloaded & (least < 0.0))
    return np.where(told, least, -_HAIR)


def run_time(case: Situation, path: PowerPath, hardware: Hardware, p_load: float, temp: float) -> float:
    """Return how long a full pack carries a load alone [s]: until the rails brown out or the lowest cell is empty."""
    o = operate(case, path, hardware, None, soc=_GRID, p_load=p_load, temp=temp)
    margin = _margin(case, o, temp)
    fine = o.lasts & (margin >= 0.0)
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

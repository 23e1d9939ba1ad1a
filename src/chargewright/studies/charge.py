"""The charge on one path: what source and load leave over, the run in time, and what it takes from the source."""

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from chargewright.base.units import show
from chargewright.network.graph import PowerPath
from chargewright.network.hardware import Hardware
from chargewright.network.solve import solve
from chargewright.parts.supply import Supply, wall_power
from chargewright.sim.charge import ChargeRun, charge_is_compiled, run_charge
from chargewright.sim.charge_setup import QUICK, CurrentTable, charge_settings
from chargewright.studies.needs import Plan
from chargewright.studies.operate import Edge, conditions, in_dropout, product_loss, source_limit
from chargewright.studies.situation import Situation

Floats = npt.NDArray[np.float64]
_VOLTAGES = 24
_AMPLE = 0.05
_SAMPLES = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargePlan:
    """One charge of the pack from flat, on one path from one source, with the system drawing `p_load`."""

    title: str
    source: str
    contract: str
    p_load: float
    temp_ambient: float
    available: CurrentTable
    run: ChargeRun
    t: Floats
    """Instants at which the path was solved along the run [s], shape (n,)."""
    p_source: Floats
    """At the source's connector [W], shape (n,)."""
    p_loss: Floats
    """Losses in the product, the pack's own resistance included [W], shape (n,)."""
    e_source: float
    e_wall: float

    @property
    def t_full(self) -> float:
        """Time to termination [s]; inf for a charge that never gets there."""
        return self.run.t_end if self.run.ended_by == "termination" else float("inf")


def charge_plan(case: Situation, chosen: Plan, hardware: Hardware) -> ChargePlan:
    """Return the usual charge: strongest source of the day, calmest mode of the system, typical ambient."""
    name, calm = usual_source(case, chosen), min(case.modes.values())
    title = f"from {name}, system at {show(calm, 'W')}"
    return charge_case(case, chosen, hardware, name, title=title, p_load=calm, temp=case.design.ambient.typical)


def usual_source(case: Situation, chosen: Plan) -> str:
    """Return the strongest source of the day; of all, if the day has none."""
    used = [u.source for u in case.usage if u.source != "none"] or list(chosen.contracts)
    return max(used, key=lambda n: chosen.contracts[n].power)


def charge_cases(case: Situation, chosen: Plan, hardware: Hardware) -> tuple[ChargePlan, ...]:
    """Return the charges a product must expect: usual, busiest load, switched off, cold, hot, weaker sources."""
    ambient = case.design.ambient
    name = usual_source(case, chosen)
    calm, standby = min(case.modes.values()), case.design.system.standby
    wanted: list[tuple[str, str, float, float, Edge]] = [
        (name, f"from {name}, system at {show(calm, 'W')}", calm, ambient.typical, "typ"),
        (name, f"from {name}, busiest load", case.p_busy, ambient.typical, "low"),
        (name, f"from {name}, switched off", standby, ambient.typical, "typ"),
        (name, f"from {name}, coldest ambient", calm, ambient.cold, "typ"),
        (name, f"from {name}, hottest ambient", calm, ambient.hot, "low"),
    ]
    wanted += [
        (n, f"from {n}, system at {show(calm, 'W')}", calm, ambient.typical, "low")
        for n in chosen.contracts
        if n != name
    ]
    return tuple(
        charge_case(case, chosen, hardware, source, title=title, p_load=p, temp=temp, edge=edge)
        for source, title, p, temp, edge in wanted
    )


def charge_case(
    case: Situation,
    chosen: Plan,
    hardware: Hardware,
    source: str,
    *,
    title: str,
    p_load: float,
    temp: float,
    edge: Edge = "typ",
    soc_start: float = 0.0,
) -> ChargePlan:
    """Return one charge; `temp` is the ambient [K], `edge` that of the source's tolerance."""
    supply, path = chosen.contracts[source], chosen.path
    available = left_over(case, path, hardware, supply, p_load=p_load, temp=temp, edge=edge)
    wanted = replace(charge_settings(case.design.charge, case.pack), i_charge=case.i_charge)
    engine: Literal["compiled", "auto"] = "compiled" if charge_is_compiled() else "auto"
    # Times to a thousandth, which is far below what cells and sources scatter, in a fifth of the steps.
    run = run_charge(
        case.pack,
        wanted,
        soc_start=soc_start,
        temp_ambient=temp,
        available=available,
        accuracy=QUICK,
        engine=engine,
    )
    t, p_source, p_loss = _along(case, path, hardware, supply, run, p_load, temp, edge)
    return ChargePlan(
        title=title,
        source=source,
        contract=supply.contract,
        p_load=p_load,
        temp_ambient=temp,
        available=available,
        run=run,
        t=t,
        p_source=p_source,
        p_loss=p_loss,
        e_source=float(np.trapezoid(p_source, t)),
        e_wall=float(np.trapezoid(wall_power(supply, p_source), t)),
    )


def left_over(
    case: Situation, path: PowerPath, hardware: Hardware, supply: Supply, *, p_load: float, temp: float, edge: Edge
) -> CurrentTable:
    """Return what source limit and load leave over for the pack, up to the wanted current, against terminal voltage.

    Where the whole wanted current fits into the source's limit it is left over; elsewhere the path is solved with the
    source held at its limit. Nothing is left where no steady state exists. A parallel path regulates charge and load
    together, so there the load comes off the wanted current too.
    """
    steps = case.design.charge.steps
    i_most = max([case.i_charge, *(step.current.amps(case.pack.capacity) for step in steps)])
    base = conditions(case, path, "shared", supply, soc=0.5, p_load=p_load, temp=temp, edge=edge, i_pack=i_most)
    v = np.linspace(0.9 * case.pack.cell.ocv[0] * case.pack.series, 1.03 * case.v_full, _VOLTAGES)
    # The terminals themselves are the pack here, so that the table is over their voltage and no resistance is in it.
    c = replace(base, e_cells=v, r_pack=0.0)
    charging, shared = path.state("charging"), path.state("shared")
    assert charging is not None, "every path charges"
    assert shared is not None, "every path shares its source"
    full, cut = solve(path, charging, hardware, c), solve(path, shared, hardware, c)
    fits = full.ok & ~in_dropout(case, full) & (full.i["source"] <= source_limit(case, supply))
    left = np.where(cut.ok & ~in_dropout(case, cut), cut.i["pack"], 0.0)
    # A little more than wanted, so that the charge current itself rules where the source does not.
    ample = np.fmax(left, (1.0 + _AMPLE) * full.i["pack"]) if charging.held == "pack-current" else full.i["pack"]
    return CurrentTable(v_pack=v, i=np.maximum(np.where(fits, ample, left), 0.0))


def _along(
    case: Situation,
    path: PowerPath,
    hardware: Hardware,
    supply: Supply,
    run: ChargeRun,
    p_load: float,
    temp: float,
    edge: Edge,
) -> tuple[Floats, Floats, Floats]:
    """Solve the path at instants along the run with the run's own pack current; return t, p_source, p_loss."""
    charging = path.state("charging")
    assert charging is not None, "every path charges"
    # The run gives the pack's current, whatever current the path itself regulates.
    state = replace(charging, held="pack-current")
    t = np.linspace(0.0, max(float(run.trace.t[-1]), 1.0), _SAMPLES)
    i = np.interp(t, run.trace.t, run.trace.i)
    soc = np.clip(np.interp(t, run.trace.t, run.trace.soc), 0.0, 1.0)
    rest: dict[str, Any] = {"soc": soc, "p_load": p_load, "temp": temp, "edge": edge}
    base = conditions(case, path, "charging", supply, i_pack=i, **rest)
    # The run knows its own polarisation: give the solver the resistance that leads to the run's terminal voltage.
    v = np.interp(t, run.trace.t, run.trace.v_pack)
    ohms = np.where(i > 1e-6, (v - base.e_cells) / np.maximum(i, 1e-6), base.r_pack)
    c = replace(base, r_pack=np.clip(ohms, 1e-4, None))
    s = solve(path, state, hardware, c)
    drawn = s.v["connector"] * s.i["source"]
    return t, np.where(np.isfinite(drawn), drawn, 0.0), np.where(s.ok, product_loss(s), 0.0)

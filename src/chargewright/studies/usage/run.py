"""Use of one path over days: from a situation, a plan and parts to what a day, a month or a year brings."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from chargewright.base.units import show
from chargewright.network.hardware import Hardware
from chargewright.parts.cell import Array
from chargewright.parts.rail_inputs import rail_inputs
from chargewright.parts.supply import wall_power
from chargewright.sim import usage_rules as code
from chargewright.sim.charge_setup import ChargeSettings, charge_settings
from chargewright.sim.usage import DAY, Engine, UsageSums, rested, run_usage
from chargewright.sim.usage_setup import TURNS_IN, PackTables, energy_at, fold_charger, fold_pack
from chargewright.sizing.build import Build
from chargewright.studies.needs import Plan
from chargewright.studies.operate import source_side
from chargewright.studies.situation import Situation
from chargewright.studies.usage.peaks import log_peak_risks, peak_risks
from chargewright.studies.usage.points import Place
from chargewright.studies.usage.record import Daily, EnergyLine, Event, PeakRisk, StateTime, UsageRun, UsageTrace
from chargewright.studies.usage.series import Demand, table_demand
from chargewright.studies.usage.settings import UsageSettings
from chargewright.studies.usage.story import stories
from chargewright.studies.usage.tables import UsageTables, load_points, usage_tables

_FEW_LOADS = 12


def usage(
    case: Situation,
    chosen: Plan,
    hardware: Hardware,
    build: Build | None = None,
    *,
    demand: Demand | None = None,
    settings: UsageSettings | None = None,
    engine: Engine = "auto",
    progress: Callable[[str, float], None] | None = None,
) -> UsageRun:
    """Return the use of one path over `settings.days` days.

    build  : the parts behind `hardware`, for the capacitors on the bus; without them no peak is judged
    demand : what is asked for; the design's usage table if None
    engine : as in `sim.usage.run_usage`
    Raises ChargewrightError where the design or the demand cannot be used.
    """
    tell = progress or (lambda _step, _share: None)
    demand, settings = demand or table_demand(case), settings or UsageSettings()
    ambient = settings.ambient or (case.design.ambient.typical,)
    temp = float(np.mean(ambient[:-1] if len(ambient) > 1 else ambient))
    tell("solving the path over voltage, load and charge", 0.0)
    tables = usage_tables(
        case, chosen, hardware, loads=_loads(case, demand), sources=demand.series.sources, temp=temp, edge=settings.edge
    )
    length = settings.days * DAY
    step = min(settings.step, float(np.min(demand.series.duration)) if len(demand.series.duration) == 1 else np.inf)
    pack = fold_pack(case.pack, self_discharge=settings.self_discharge, thermal_resistance=settings.pack_cooling)
    rules = fold_charger(
        case.pack,
        charger_of(case),
        recharge_drop=case.design.charge.recharge_drop,
        standby=case.design.system.standby,
        ambient=ambient,
        enclosure=settings.enclosure,
        headroom=settings.headroom,
        dwell=settings.dwell,
        restart=settings.restart,
        retry=settings.retry,
        wake=settings.wake,
        longest=step,
        row_every=max(step, length / settings.rows),
    )
    start = rested(case.pack, pack, rules, soc=settings.soc_start, temp=float(ambient[0]))
    sums = run_usage(
        pack,
        tables.path,
        rules,
        demand.series,
        start=start,
        length=length,
        rows=settings.rows + 1,
        engine=engine,
        progress=lambda share: tell("stepping through the days", 0.1 + 0.8 * share),
    )
    tell("judging peaks", 0.9)
    run = _record(case, chosen, demand, settings, tables, pack, sums, length)
    peaks: tuple[PeakRisk, ...] = ()
    if build is not None:
        peaks = peak_risks(case, chosen, hardware, build, sums, tables, settings, length)
        peaks += log_peak_risks(case, chosen, hardware, build, demand, run.trace, settings, length)
    run = replace(run, peaks=peaks, said=(*demand.said, *_said(case, chosen, settings, build is not None)))
    return replace(run, stories=stories(case, chosen, run))


def charger_of(case: Situation) -> ChargeSettings:
    """Return what the charger is set to, the current already cut to what the cells allow."""
    return replace(charge_settings(case.design.charge, case.pack), i_charge=case.i_charge)


def wall_energy(tables: UsageTables, by_source: Array) -> Array:
    """Return the energy from the wall of each day [J] from seconds and joules by source, (day, source, 2)."""
    total = np.zeros(len(by_source))
    for k, supply in enumerate(tables.supplies):
        t, e = by_source[:, k, 0], by_source[:, k, 1]
        total += np.where(t > 0.0, wall_power(supply, e / np.maximum(t, 1e-9)) * t, 0.0)
    return total


def cable_loss(tables: UsageTables, p_source: Array, source: Array) -> Array:
    """Return the loss of cable and contacts [W] at powers at the connectors of sources; -1 is no source.

    The current follows from p = i·(e − r·i) at the connector, with the source's open voltage and droop.
    """
    total = np.zeros(len(p_source))
    for k, supply in enumerate(tables.supplies):
        side = source_side(supply, tables.edge)
        e, r = side["e_source"], side["r_source"]
        i = 2.0 * p_source / (e + np.sqrt(np.maximum(e * e - 4.0 * r * p_source, 0.0)))
        total = np.where(source == k, side["r_cable"] * i**2, total)
    return total


def losses_by_place(tables: UsageTables, spent: Array) -> dict[Place, float]:
    """Return the energy lost in each element by each cause [J], from the time spent at the points of the tables."""
    path = tables.path
    total = np.zeros(len(tables.places))
    for losses, at in (
        (tables.charge_loss, path.charge_source),
        (tables.rest_loss, path.rest_source),
        (tables.flat_loss, path.flat_source),
        (tables.battery_loss, path.battery_power),
    ):
        flat = losses.reshape(len(tables.places), -1)
        total += flat @ spent[at : at + flat.shape[1]]
    return dict(zip(tables.places, (float(x) for x in total), strict=True))


def _loads(case: Situation, demand: Demand) -> list[float]:
    """Return the points of the load: the very powers of a table, or points that suit a log."""
    power, standby = demand.series.power, case.design.system.standby
    # Sorting a year of seconds takes longer than running it: a log shows itself in its first hour.
    if len(np.unique(power[:3600])) <= _FEW_LOADS and len(powers := np.unique(power)) <= _FEW_LOADS:
        return sorted({0.0, standby, *(float(p) for p in powers)})
    return load_points(float(np.max(power)), standby)


def _record(
    case: Situation, chosen: Plan, demand: Demand, settings: UsageSettings, tables: UsageTables, pack: PackTables,
    sums: UsageSums, length: float,
) -> UsageRun:  # fmt: skip
    places = losses_by_place(tables, sums.spent)
    return UsageRun(
        path=chosen.path.key,
        title=demand.title,
        settings=settings,
        sources=tables.sources,
        length=length,
        steps=sums.steps,
        daily=_daily(tables, pack, sums, places, case.pack.series),
        lines=_lines(pack, sums, places),
        times=tuple(
            StateTime(state=code.STATES[k], limit=code.LIMITS[m], seconds=float(sums.seconds[k, m]))
            for k, m in np.argwhere(sums.seconds > 0.0)
        ),
        counts={name: int(n) for name, n in zip(code.EVENTS, sums.counts, strict=True) if n > 0},
        events=tuple(
            Event(t=float(t), what=code.EVENTS[int(what)], soc=float(soc), source=_name(tables, source))
            for t, what, soc, source in sums.events
        ),
        trace=_trace(tables, sums.rows),
        peaks=(),
        stories=(),
        said=(),
        soc_start=sums.start.charge / case.pack.charge_span,
        soc_end=sums.end.charge / case.pack.charge_span,
        unaccounted=unaccounted(pack, sums, places),
    )


def _name(tables: UsageTables, source: Any) -> str:
    return tables.sources[int(source)] if source >= 0 else ""


def _daily(tables: UsageTables, pack: PackTables, sums: UsageSums, places: dict[Place, float], series: int) -> Daily:
    d = sums.days
    path, cable = d[:, code.E_PATH], sum(e for (where, _), e in places.items() if where == "cable and connectors")
    # The cable's loss is outside the product; it is spread over the days as the energy through it is.
    share = d[:, code.E_SOURCE] / max(float(np.sum(d[:, code.E_SOURCE])), 1e-12)
    return Daily(
        e_asked=d[:, code.E_ASKED],
        e_load=d[:, code.E_LOAD],
        e_wall=wall_energy(tables, sums.by_source),
        e_source=d[:, code.E_SOURCE],
        e_loss=path - cable * share + d[:, code.HEAT_CELLS] + d[:, code.HEAT_LEADS],
        e_from_cells=d[:, code.S_OUT],
        e_into_cells=d[:, code.S_IN],
        e_supplement=d[:, code.E_HELP],
        cycles=d[:, code.Q_OUT] / pack.span,
        flips=d[:, code.FLIPS],
        t_source=d[:, code.T_SOURCE],
        t_unserved=d[:, code.T_UNSERVED],
        t_overload=d[:, code.T_OVER] + d[:, code.T_BEYOND],
        t_blocked=d[:, code.T_BLOCKED],
        t_tripped=d[:, code.T_OUT],
        trips=d[:, code.TRIPS],
        t_refused=d[:, code.T_REFUSED],
        v_cell_high=d[:, code.V_HIGH] / series,
        soc_low=d[:, code.SOC_LOW],
        soc_high=d[:, code.SOC_HIGH],
        soc_end=d[:, code.SOC_END],
        temp_low=d[:, code.TEMP_LOW],
        temp_high=d[:, code.TEMP_HIGH],
    )


def _lines(pack: PackTables, sums: UsageSums, places: dict[Place, float]) -> tuple[EnergyLine, ...]:
    cells_lose = "resistance, hysteresis of the rest voltage" if pack.turns > 0.0 else "resistance"
    lines = [
        EnergyLine(where="source", cause="at its connector", side="in", energy=sums.total(code.E_SOURCE)),
        EnergyLine(where="cells", cause="discharge", side="in", energy=sums.total(code.S_OUT)),
        EnergyLine(where="rails", cause="load", side="out", energy=sums.total(code.E_LOAD)),
        EnergyLine(where="cells", cause="stored", side="out", energy=sums.total(code.S_IN)),
        EnergyLine(where="cells", cause="still in polarisation", side="out", energy=sums.total(code.E_PAIRS)),
    ]
    lines += [EnergyLine(where=w, cause=c, side="loss", energy=e) for (w, c), e in places.items() if e != 0.0]
    lines += [
        EnergyLine(where="cells", cause=cells_lose, side="loss", energy=sums.total(code.HEAT_CELLS)),
        EnergyLine(where="pack, inside", cause="conduction", side="loss", energy=sums.total(code.HEAT_LEADS)),
    ]
    return tuple(lines)


def unaccounted(pack: PackTables, sums: UsageSums, places: dict[Place, float]) -> float:
    """Return the largest gap in the energy of path, pack and cells and in the charge, over what flowed [1]."""
    t = sums.total
    flowed = max(t(code.E_SOURCE) + t(code.E_OUT) + t(code.E_IN) + t(code.E_SELF), 1e-9)
    path = t(code.E_SOURCE) + t(code.E_OUT) - t(code.E_IN) - t(code.E_LOAD) - sum(places.values())
    inside = t(code.E_IN) - t(code.E_OUT) - t(code.S_IN) + t(code.S_OUT)
    inside -= t(code.HEAT_CELLS) + t(code.HEAT_LEADS) + t(code.E_PAIRS)
    stored = energy_at(pack, sums.end.charge) - energy_at(pack, sums.start.charge)
    cells = t(code.S_IN) - t(code.S_OUT) - t(code.E_WARMTH) - t(code.E_SELF) - stored
    charge = t(code.Q_IN) - t(code.Q_OUT) - t(code.Q_SELF) - (sums.end.charge - sums.start.charge)
    moved = max(t(code.Q_IN) + t(code.Q_OUT) + t(code.Q_SELF), 1e-9 * pack.span)
    return max(abs(path) / flowed, abs(inside) / flowed, abs(cells) / flowed, abs(charge) / moved)


def _trace(tables: UsageTables, rows: Array) -> UsageTrace:
    columns = [rows[:, k] for k in range(8)]
    columns[7] = columns[7] - cable_loss(tables, rows[:, 5], rows[:, 10])
    return UsageTrace(
        **dict(zip(("t", "soc", "i_pack", "v_pack", "temp", "p_source", "p_load", "p_loss"), columns, strict=True)),
        state=tuple(code.STATES[int(k)] for k in rows[:, 8]),
        limit=tuple(code.LIMITS[int(k)] for k in rows[:, 9]),
        source=tuple(_name(tables, k) for k in rows[:, 10]),
    )


def _said(case: Situation, chosen: Plan, settings: UsageSettings, with_build: bool) -> tuple[str, ...]:
    said = [
        *case.assumptions,
        "The power of a mode or a log is a mean with its peaks; peaks are judged one by one and add no energy.",
        f"The pack loses {show(settings.self_discharge * 30.0 * DAY, '1')} of its capacity a month by itself.",
    ]
    if case.pack.cell.ocv_charge is not None:
        said.append(
            f"The rest voltage turns from branch to branch of its hysteresis within {show(TURNS_IN, '1')} of the "
            "charge (our choice, as a table of two branches does not tell it)."
        )
    if case.pack.balance_current > 0.0 and case.pack.series > 1:
        said.append(
            f"Balancing takes {show(case.pack.balance_current, 'A')} from the highest cell while that is charged above "
            f"{show(case.pack.balance_from, 'V')}; what it has made good does not come back within the run."
        )
    if settings.enclosure == 0.0:
        said.append("The pack does not feel the heat of the path: give the enclosure's thermal resistance if it does.")
    if case.design.system.peak is not None and with_build:
        said.append(
            f"Peaks: regulation answers after {show(settings.t_regulate, 's')}, the battery switch closes "
            f"{show(settings.t_switch, 's')} after the bus has fallen below the pack (common practice)."
        )
        said.append(rail_inputs(chosen.rails).words)
    return tuple(said)

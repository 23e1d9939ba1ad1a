"""The design's load peak inside a usage run: how low the bus falls at each state of charge, and how often."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from chargewright.base.units import show
from chargewright.network.hardware import Hardware
from chargewright.parts.cell import Array, pair_tau
from chargewright.parts.pack import pack_ocv, pack_polarisation, pack_resistance
from chargewright.parts.rail_inputs import rail_inputs
from chargewright.parts.regulator import rails_loss
from chargewright.parts.supply import Supply
from chargewright.sim import usage_rules as code
from chargewright.sim.bus_dip import Dip, Peak, bus_dip
from chargewright.sim.usage import DAY, UsageSums
from chargewright.sizing.build import Build
from chargewright.studies.needs import Plan
from chargewright.studies.operate import Operation, for_peaks, operate, source_side
from chargewright.studies.situation import Situation
from chargewright.studies.usage.feeding import feeding, passes_through
from chargewright.studies.usage.record import PeakRisk, UsageTrace
from chargewright.studies.usage.series import PEAKY, Demand
from chargewright.studies.usage.settings import UsageSettings
from chargewright.studies.usage.tables import UsageTables

_USUAL_PEAK = 10e-3
"""Length of a peak of which nothing is known [s] (our choice)."""
_POWERS = 8
_SOC = np.array([0.01, 0.03, 0.06, 0.1, 0.2, 0.35, 0.5, 0.7, 0.9, 1.0])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Before:
    """What runs before the peaks, and what the path can bring while they last; arrays over `soc`."""

    supply: Supply | None
    soc: Array
    o: Operation
    at_peak: Operation
    p_before: Array
    p_peak: Array
    """Both as the bus sees them, the rails' losses included [W]."""
    asked: Array
    """What the rails are asked for during the peaks [W]."""
    duration: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Job:
    """What all peaks of a run have in common."""

    case: Situation
    chosen: Plan
    hw: Hardware
    build: Build
    settings: UsageSettings

    def dips(self, name: str, p_run: float, p_peak: Array, soc: Array, duration: float) -> tuple[Dip, _Before]:
        """Return the bus under peaks of `p_peak` over a load of `p_run` [W] at states of charge, on a source."""
        supply = feeding(self.case, self.chosen, name) if name else None
        through = bool(name) and passes_through(self.case, self.chosen, name)
        before = _before(self, supply, through, p_run, p_peak, soc, duration)
        bank = self.build.bank_b if self.chosen.path.narrow else self.build.bank_a
        peak = Peak(
            c_bank=bank.count * bank.part.c_0 * (1.0 - bank.part.tol_c),
            v_half=bank.part.v_half,
            bias_exponent=bank.part.bias_exponent,
            c_rails=rail_inputs(self.chosen.rails).c_low,
            v_start=before.o.v_bus,
            p_before=before.p_before,
            p_peak=before.p_peak,
            duration=duration,
            t_regulate=self.settings.t_regulate,
            t_switch=self.settings.t_switch,
            **_feeds(self, before),
            **_pack(self, before),
        )
        return bus_dip(peak), before


def peak_risks(
    case: Situation, chosen: Plan, hardware: Hardware, build: Build, sums: UsageSums, tables: UsageTables,
    settings: UsageSettings, length: float,
) -> tuple[PeakRisk, ...]:  # fmt: skip
    """Return the design's peak in each situation that the run has been in; empty for a design without a peak.

    Peaks ride on the busiest mode; `duty` and `duration` of the design say how many there are while it runs.
    """
    peak = case.design.system.peak
    if peak is None:
        return ()
    job = _Job(case=case, chosen=chosen, hw=hardware, build=build, settings=settings)
    found = []
    for k, name in enumerate(("", *tables.sources)):
        time_at = sums.soc_time[k]
        if not np.any(time_at > 0.0):
            continue
        dip, before = job.dips(name, case.p_busy, np.full(len(_SOC), case.p_peak), _SOC, peak.duration)
        margin = np.interp((np.arange(code.SOC_BINS) + 0.5) / code.SOC_BINS, _SOC, dip.v_lowest - case.bus_min)
        failing = float(np.sum(time_at[margin < 0.0]))
        worst = int(np.argmin(dip.v_lowest))
        found.append(
            PeakRisk(
                source=name,
                mode=max(case.modes, key=lambda m: case.modes[m]),
                soc=tuple(float(x) for x in _SOC),
                v_lowest=tuple(float(x) for x in dip.v_lowest),
                v_needed=case.bus_min,
                per_day=peak.duty / peak.duration * failing / (length / DAY),
                cause=_cause(job, dip, before, worst) if failing > 0.0 else "",
            )
        )
    return tuple(found)


def log_peak_risks(
    case: Situation, chosen: Plan, hardware: Hardware, build: Build, demand: Demand, trace: UsageTrace,
    settings: UsageSettings, length: float,
) -> tuple[PeakRisk, ...]:  # fmt: skip
    """Return the peaks that a log holds inside its steps, in each situation that they were met in.

    Each is taken as long as the design's peak (10 ms without one), over the log's mean power, at the state of charge of
    the trace; they are counted step by step over as much of the run as the log covers once.
    """
    if demand.peak is None:
        return ()
    job = _Job(case=case, chosen=chosen, hw=hardware, build=build, settings=settings)
    peak, step = demand.peak, float(demand.series.duration[0])
    duration = case.design.system.peak.duration if case.design.system.peak is not None else _USUAL_PEAK
    steps = min(len(peak), round(length / step))
    is_peak = peak[:steps] > demand.series.power[:steps] * PEAKY
    soc_at = np.interp((np.arange(steps) + 0.5) * step, trace.t, trace.soc)
    p_run = float(np.mean(demand.series.power))
    powers = np.geomspace(max(p_run, 1e-3), max(float(np.max(peak)), 1.01 * p_run, 2e-3), _POWERS)
    found = []
    for k, name in enumerate(("", *demand.series.sources)):
        here = is_peak & (demand.series.source[:steps] == k - 1)
        if not here.any():
            continue
        soc, asked = (a.ravel() for a in np.meshgrid(_SOC, powers, indexing="ij"))
        dip, before = job.dips(name, p_run, asked, soc, duration)
        lowest = dip.v_lowest.reshape(len(_SOC), len(powers))
        carried = np.array([_carried(powers, row - case.bus_min) for row in lowest])
        failing = int(np.sum(peak[:steps][here] > np.interp(soc_at[here], _SOC, carried)))
        worst = int(np.argmin(np.where(asked == powers[-1], dip.v_lowest, np.inf)))
        found.append(
            PeakRisk(
                source=name,
                mode=f"peaks of the log, up to {show(float(np.max(peak[:steps][here])), 'W', 3)}",
                soc=tuple(float(x) for x in _SOC),
                v_lowest=tuple(float(x) for x in lowest[:, -1]),
                v_needed=case.bus_min,
                per_day=failing / (steps * step / DAY),
                cause=_cause(job, dip, before, worst) if failing else "",
            )
        )
    return tuple(found)


def _carried(powers: Array, margin: Array) -> float:
    """Return the greatest peak that leaves the bus high enough [W], between points in a straight line."""
    low = np.flatnonzero(margin < 0.0)
    if not len(low):
        return np.inf
    k = int(low[0])
    if k == 0:
        return 0.0
    share = margin[k - 1] / (margin[k - 1] - margin[k])
    return float(powers[k - 1] + share * (powers[k] - powers[k - 1]))


def _before(
    job: _Job, supply: Supply | None, through: bool, p_run: float, p_peak: Array, soc: Array, duration: float
) -> _Before:
    case, path, hw = job.case, job.chosen.path, job.hw
    temp = case.design.ambient.typical
    run = operate(case, path, hw, supply, soc=soc, p_load=p_run, temp=temp, pass_through=through)
    at_peak = operate(case, path, for_peaks(case, hw), supply, soc=soc, p_load=p_peak, temp=temp)
    # Where even that load does not run, no peak rides on it: the bus stands where the rails just work.
    v_bus = np.where(np.isfinite(run.v_bus), run.v_bus, case.bus_min)
    run.v_bus = np.maximum(v_bus, 1e-3)
    return _Before(
        supply=supply,
        soc=soc,
        o=run,
        at_peak=at_peak,
        p_before=p_run + rails_loss(hw.rails, run.v_bus, p_run),
        p_peak=p_peak + rails_loss(hw.rails, run.v_bus, p_peak),
        asked=p_peak,
        duration=duration,
    )


def _feeds(job: _Job, before: _Before) -> dict[str, Any]:
    """Return what source and stage bring: a source on the bus through its cable, a stage after its regulation."""
    case, chosen = job.case, job.chosen
    o, supply = before.o, before.supply
    lifted = o.state == "battery-boost"
    if supply is None:
        # The stage lifts what the pack may give.
        most = case.pack.i_discharge_max * np.nan_to_num(o.v_pack)
        return {
            "i_held": np.where(lifted, before.p_before / o.v_bus, 0.0),
            "p_feed": np.where(lifted, most, 0.0),
        }
    given = np.nan_to_num(before.at_peak.i_pack)
    if not chosen.path.narrow:
        side = source_side(supply, "typ")
        helps = np.where(
            before.at_peak.state == "supplement", np.maximum(-given * np.nan_to_num(before.at_peak.v_pack), 0.0), 0.0
        )
        charge = np.maximum(np.nan_to_num(o.i_pack), 0.0) * np.nan_to_num(o.v_pack)
        return {
            "e_source": side["e_source"],
            "r_source": side["r_source"] + side["r_cable"] + _way_in(job.hw),
            "l_source": supply.l_cable,
            "i_source_most": supply.overload.i_trip.low,
            # A buck on the bus takes its charging power until the regulation has answered.
            "i_held": -charge / o.v_bus,
            "p_feed": helps,
        }
    charging = np.nan_to_num(o.i_pack) * o.v_bus
    return {
        "i_held": (before.p_before + charging) / o.v_bus,
        "p_feed": np.maximum(before.p_peak + given * o.v_bus, 0.0),
    }


def _way_in(hw: Hardware) -> float:
    """Return the resistance between the inlet and a bus that the source lies on [Ω], cold."""
    return float(sum(hw.wires[key].r_25 for key in ("blocking-pair", "sense-source") if key in hw.wires))


def _pack(job: _Job, before: _Before) -> dict[str, Any]:
    """Return the pack behind its resistance: on the bus, or waiting behind an open switch."""
    chosen, hw, pack, o, soc = job.chosen, job.hw, job.case.pack, before.o, before.soc
    temp = job.case.design.ambient.typical
    switch = hw.wires.get("battery-switch")
    sense = hw.wires["sense-charge"].r_25 if chosen.path.narrow and "sense-charge" in hw.wires else 0.0
    beside = (switch.r_25 if switch is not None else 0.0) + sense
    at_once = pack_resistance(pack, soc, temp, False) + beside
    polarised = pack_polarisation(pack, soc, temp, False)
    slowest = max((float(np.max(pair_tau(pack.cell, k, soc, temp))) for k in range(len(pack.cell.pairs))), default=1.0)
    apart = o.state == "battery-boost"
    if before.supply is not None:
        resting = np.isin(o.state, ("source-only", "pass-through"))
        apart = resting if chosen.path.narrow and switch is not None else np.full(len(soc), not chosen.path.narrow)
    rest = pack_ocv(pack, soc, temp)
    # On the bus its voltage behind the resistance is such that what ran before the peak is at rest.
    brought = -np.nan_to_num(o.i_pack)
    return {
        "e_pack": np.where(apart, rest, o.v_bus + brought * at_once),
        "r_pack": at_once,
        "r_pack_end": at_once + polarised * (1.0 - np.exp(-before.duration / slowest)),
        "l_pack": pack.lead_inductance,
        "closed": ~apart,
        "v_diode": switch.v_diode if switch is not None else np.inf,
    }


def _cause(job: _Job, dip: Dip, before: _Before, k: int) -> str:
    """Return in words why the bus falls too low at a state of charge."""
    case, settings = job.case, job.settings
    where = f"from {before.supply.name}" if before.supply is not None else "on the pack alone"
    head = (
        f"A peak of {show(float(before.asked[k]), 'W')} {where} brings the bus to {show(float(dip.v_lowest[k]), 'V')}, "
        f"{show(case.bus_min, 'V')} are needed"
    )
    if not dip.settles[k]:
        return f"{head}: source and pack together cannot carry it."
    if dip.t_lowest[k] >= 0.5 * before.duration and dip.v_end[k] < case.bus_min:
        return f"{head}: the pack's resistance drops too much while it lasts."
    until = max(settings.t_regulate, settings.t_switch)
    return (
        f"{head} after {show(float(dip.t_lowest[k]), 's')}: {show(float(dip.c_start[k]), 'F')} on the bus do not hold "
        f"it until regulation and switch-over ({show(until, 's')}) bring the rest."
    )

"""The design's load peak inside a usage run: how low the bus falls at each state of charge, and how often."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from chargewright.base.units import show
from chargewright.network.hardware import Hardware
from chargewright.parts.cell import Array, pair_tau
from chargewright.parts.pack import pack_ocv, pack_polarisation, pack_resistance
from chargewright.parts.regulator import rails_loss
from chargewright.parts.supply import Supply
from chargewright.sim import _usage_rules as code
from chargewright.sim.bus_dip import Dip, Peak, bus_dip
from chargewright.sim.usage import DAY, UsageSums
from chargewright.sizing.build import Build
from chargewright.studies.needs import Plan
from chargewright.studies.operate import Operation, for_peaks, operate, source_side
from chargewright.studies.situation import Situation
from chargewright.studies.usage.record import PeakRisk
from chargewright.studies.usage.settings import UsageSettings
from chargewright.studies.usage.tables import UsageTables

_SOC = np.array([0.01, 0.03, 0.06, 0.1, 0.2, 0.35, 0.5, 0.7, 0.9, 1.0])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Before:
    """What runs before the peak, and what the path can bring while it lasts; arrays over `_SOC`."""

    supply: Supply | None
    o: Operation
    at_peak: Operation
    p_before: Array
    p_peak: Array


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
    mode = max(case.modes, key=lambda m: case.modes[m])
    found = []
    for k, name in enumerate(("", *tables.sources)):
        time_at = sums.soc_time[k]
        if not np.any(time_at > 0.0):
            continue
        dip, before = _dips(case, chosen, hardware, build, None if name == "" else chosen.contracts[name], settings)
        margin = np.interp((np.arange(code.SOC_BINS) + 0.5) / code.SOC_BINS, _SOC, dip.v_lowest - case.bus_min)
        failing = float(np.sum(time_at[margin < 0.0]))
        worst = int(np.argmin(dip.v_lowest))
        found.append(
            PeakRisk(
                source=name,
                mode=mode,
                soc=tuple(float(x) for x in _SOC),
                v_lowest=tuple(float(x) for x in dip.v_lowest),
                v_needed=case.bus_min,
                per_day=peak.duty / peak.duration * failing / (length / DAY),
                cause=_cause(case, dip, before, worst, settings) if failing > 0.0 else "",
            )
        )
    return tuple(found)


def worst_dips(
    case: Situation, chosen: Plan, hardware: Hardware, build: Build, settings: UsageSettings | None = None
) -> dict[str, tuple[Array, Array]]:
    """Return the lowest bus of the design's peak over state of charge, by source; "" is the pack alone."""
    settings = settings or UsageSettings()
    names: dict[str, Supply | None] = {"": None, **chosen.contracts}
    return {n: (_SOC, _dips(case, chosen, hardware, build, s, settings)[0].v_lowest) for n, s in names.items()}


def _dips(
    case: Situation, chosen: Plan, hw: Hardware, build: Build, supply: Supply | None, settings: UsageSettings
) -> tuple[Dip, _Before]:
    before = _before(case, chosen, hw, supply)
    bank = build.bank_b if chosen.path.narrow else build.bank_a
    peak = case.design.system.peak
    assert peak is not None, "asked only for designs with a peak"
    return bus_dip(
        Peak(
            c_bank=bank.count * bank.part.c_0 * (1.0 - bank.part.tol_c),
            v_half=bank.part.v_half,
            bias_exponent=bank.part.bias_exponent,
            c_rails=settings.c_rails,
            v_start=before.o.v_bus,
            p_before=before.p_before,
            p_peak=before.p_peak,
            duration=peak.duration,
            t_regulate=settings.t_regulate,
            t_switch=settings.t_switch,
            **_feeds(case, chosen, before),
            **_pack(case, chosen, hw, before, peak.duration),
        )
    ), before


def _before(case: Situation, chosen: Plan, hw: Hardware, supply: Supply | None) -> _Before:
    temp = case.design.ambient.typical
    through = supply is not None and supply.name in chosen.through
    run = operate(case, chosen.path, hw, supply, soc=_SOC, p_load=case.p_busy, temp=temp, pass_through=through)
    at_peak = operate(case, chosen.path, for_peaks(case, hw), supply, soc=_SOC, p_load=case.p_peak, temp=temp)
    # Where even the busiest mode does not run, no peak rides on it: the bus stands where the rails just work.
    v_bus = np.where(np.isfinite(run.v_bus), run.v_bus, case.bus_min)
    run.v_bus = np.maximum(v_bus, 1e-3)
    return _Before(
        supply=supply,
        o=run,
        at_peak=at_peak,
        p_before=case.p_busy + rails_loss(hw.rails, run.v_bus, case.p_busy),
        p_peak=case.p_peak + rails_loss(hw.rails, run.v_bus, case.p_peak),
    )


def _feeds(case: Situation, chosen: Plan, before: _Before) -> dict[str, Any]:
    """Return what source and stage bring: a source on the bus through its cable, a stage after its regulation."""
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
            "r_source": side["r_source"] + side["r_cable"],
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


def _pack(case: Situation, chosen: Plan, hw: Hardware, before: _Before, duration: float) -> dict[str, Any]:
    """Return the pack behind its resistance: on the bus, or waiting behind an open switch."""
    pack, o, temp = case.pack, before.o, case.design.ambient.typical
    switch = hw.wires.get("battery-switch")
    sense = hw.wires["sense-charge"].r_25 if chosen.path.narrow and "sense-charge" in hw.wires else 0.0
    beside = (switch.r_25 if switch is not None else 0.0) + sense
    at_once = pack_resistance(pack, _SOC, temp, False) + beside
    polarised = pack_polarisation(pack, _SOC, temp, False)
    slowest = max((float(np.max(pair_tau(pack.cell, k, _SOC, temp))) for k in range(len(pack.cell.pairs))), default=1.0)
    apart = o.state == "battery-boost"
    if before.supply is not None:
        resting = np.isin(o.state, ("source-only", "pass-through"))
        apart = resting if chosen.path.narrow and switch is not None else np.full(len(_SOC), not chosen.path.narrow)
    rest = pack_ocv(pack, _SOC, temp)
    # On the bus its voltage behind the resistance is such that what ran before the peak is at rest.
    brought = -np.nan_to_num(o.i_pack)
    return {
        "e_pack": np.where(apart, rest, o.v_bus + brought * at_once),
        "r_pack": at_once,
        "r_pack_end": at_once + polarised * (1.0 - np.exp(-duration / slowest)),
        "l_pack": pack.lead_inductance,
        "closed": ~apart,
        "v_diode": switch.v_diode if switch is not None else np.inf,
    }


def _cause(case: Situation, dip: Dip, before: _Before, k: int, settings: UsageSettings) -> str:
    """Return in words why the bus falls too low at a state of charge."""
    peak = case.design.system.peak
    assert peak is not None, "asked only for designs with a peak"
    where = f"from {before.supply.name}" if before.supply is not None else "on the pack alone"
    head = (
        f"A peak of {show(case.p_peak, 'W')} {where} brings the bus to {show(float(dip.v_lowest[k]), 'V')}, "
        f"{show(case.bus_min, 'V')} are needed"
    )
    if not dip.settles[k]:
        return f"{head}: source and pack together cannot carry it."
    if dip.t_lowest[k] >= 0.5 * peak.duration and dip.v_end[k] < case.bus_min:
        return f"{head}: the pack's resistance drops too much while it lasts."
    until = max(settings.t_regulate, settings.t_switch)
    return (
        f"{head} after {show(float(dip.t_lowest[k]), 's')}: {show(float(dip.c_start[k]), 'F')} on the bus do not hold "
        f"it until regulation and switch-over ({show(until, 's')}) bring the rest."
    )

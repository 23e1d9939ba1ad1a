"""From the study to the controller: which set-points the product wants, coded for the controller of the design file."""

from dataclasses import dataclass

from chargewright.base.findings import Finding
from chargewright.base.units import Toleranced
from chargewright.parts.sense_resistor import SenseResistor
from chargewright.setpoints.cell_voltage import CellVoltage, FullState, cell_voltage_error, full_state
from chargewright.setpoints.context import Context, Want
from chargewright.setpoints.controller import Controller
from chargewright.setpoints.judge import judge_setpoints
from chargewright.setpoints.load import load_controller
from chargewright.setpoints.plan import SetPoint, plan_setpoints
from chargewright.setpoints.sequence import (
    ReadBack,
    Refresh,
    Write,
    read_back,
    refresh_interval,
    write_sequence,
)
from chargewright.sizing.build import Build
from chargewright.studies.needs import Plan, lowest_input
from chargewright.studies.operate import source_limit
from chargewright.studies.situation import Situation

HOST_TIME_OUT = 40.0
"""Longest silence of the host that the product asks its controller to stand [s] (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Set-points of one path on one controller, with what is left of error and how they are written."""

    controller: Controller
    context: Context
    points: tuple[SetPoint, ...]
    missing: tuple[Want, ...]
    """Wanted, but the controller has no field for it."""
    writes: tuple[Write, ...]
    read_back: tuple[ReadBack, ...]
    refresh: Refresh | None
    cell: CellVoltage | None
    """Voltage of the highest cell that the coded charge voltage leads to; None if no charge voltage is set."""
    full: FullState | None
    """How full that leaves the cell."""
    findings: tuple[Finding, ...]


def settings(case: Situation, chosen: Plan, build: Build, controller_name: str | None = None) -> Settings:
    """Return the coded set-points of a path. Raises PartsError for a controller description that cannot be used.

    controller_name : a shipped description or a file; None takes the design file's
    """
    controller = load_controller(controller_name, case.folder) if controller_name else case.controller
    context = _context(case, chosen, build)
    has = {f.quantity.key for f in controller.fields}
    wants = _wants(case, chosen)
    able = [w for w in wants if w.quantity in has]
    points = plan_setpoints(able, controller, context)
    charge = next((p for p in points if p.want.quantity == "charge_voltage"), None)
    cell = cell_voltage_error(charge, context) if charge is not None else None
    writes = write_sequence(points, controller)
    return Settings(
        controller=controller,
        context=context,
        points=points,
        missing=tuple(w for w in wants if w.quantity not in has),
        writes=writes,
        read_back=read_back(writes, controller),
        refresh=refresh_interval(points, controller),
        cell=cell,
        full=full_state(case.pack.cell, cell) if cell is not None else None,
        findings=judge_setpoints(able, controller, context),
    )


def source_limit_point(coded: Settings, limit: float) -> SetPoint | None:
    """Return the coded source current limit for another contract than the weakest [A]; None without such a field.

    The table of set-points holds the limit for the weakest contract; firmware codes it anew for each.
    """
    if coded.controller.field("input_current") is None:
        return None
    return plan_setpoints([Want(quantity="input_current", value=limit)], coded.controller, coded.context)[0]


def _wants(case: Situation, chosen: Plan) -> list[Want]:
    charge, pack = case.design.charge, case.pack
    weakest = min(chosen.contracts.values(), key=lambda s: s.i_rated)
    lowest = min(chosen.contracts.values(), key=lambda s: s.v_set.low)
    floor = lowest_input(lowest)
    return [
        Want(quantity="charge_voltage", value=pack.v_full, reason="cells in series times their charge voltage"),
        Want(quantity="charge_current", value=case.i_charge, reason="wanted charge current, within the cells' limit"),
        Want(quantity="precharge_current", value=case.i_precharge, reason="gentle current for a flat pack"),
        Want(quantity="precharge_voltage", value=pack.v_precharge, reason="precharge threshold of the cells"),
        Want(quantity="termination_current", value=case.i_termination, reason="end of the taper"),
        Want(
            quantity="recharge_drop", value=charge.recharge_drop * pack.series, reason="fall that starts a new charge"
        ),
        Want(
            quantity="input_current",
            value=source_limit(case, weakest),
            reason=f"'{weakest.contract}' of {weakest.name} less the margin of the rules; set anew for every contract",
        ),
        Want(
            quantity="input_voltage",
            value=0.97 * floor,
            reason=f"3 % below the lowest voltage that '{lowest.contract}' leaves at the product",
        ),
        Want(quantity="bus_minimum", value=case.bus_min, reason="lowest bus at which every rail works"),
        Want(quantity="discharge_current", value=pack.i_discharge_max, reason="the pack's lasting limit"),
        Want(
            quantity="watchdog",
            value=HOST_TIME_OUT,
            reason="a host that falls silent must not leave the charge unwatched",
        ),
        Want(quantity="safety_timer", value=charge.timer, reason="safety timer of the whole charge"),
        Want(quantity="precharge_timer", value=charge.precharge_timer, reason="safety timer of the precharge"),
    ]


def _context(case: Situation, chosen: Plan, build: Build) -> Context:
    pack = case.pack
    lead = pack.lead_resistance * case.i_termination if pack.sensed_at == "converter" else 0.0
    return Context(
        series=pack.series,
        v_cell_max=pack.v_cell_max,
        v_cell_upper=pack.cell.limits.v_upper,
        v_lead=Toleranced(lead, 0.8 * lead, 1.2 * lead),
        i_charge_max=pack.cell.limits.rate_charge * pack.capacity,
        i_precharge_max=pack.cell.limits.rate_precharge * pack.capacity,
        i_discharge_max=pack.i_discharge_max,
        i_source_max=min(s.i_rated for s in chosen.contracts.values()),
        v_source_min=min(lowest_input(s) for s in chosen.contracts.values()),
        r_pack=_band(build.sense_charge),
        r_source=_band(build.sense_source),
    )


def _band(part: SenseResistor) -> Toleranced:
    """Return the band of a sense resistor [Ω]: its tolerance and 60 K of temperature drift."""
    off = part.tol + 60.0 * part.temp_co
    return Toleranced(part.r, part.r * (1.0 - off), part.r * (1.0 + off))

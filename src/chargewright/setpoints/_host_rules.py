"""Findings about what holds without the host: reset values, a host that falls silent."""

from collections.abc import Iterator
from math import inf, nan

from chargewright.base.findings import Cure, Finding, Severity
from chargewright.base.units import show
from chargewright.setpoints._case import COMMON_PRACTICE, Case
from chargewright.setpoints.controller import Controller
from chargewright.setpoints.plan import wants_by_key
from chargewright.setpoints.resets import charges_at_reset, reset_effects
from chargewright.setpoints.sequence import Refresh, refresh_interval


def reset_values(case: Case) -> Iterator[Finding]:
    """Yield what the reset values would do, after power-up and where a lost host brings them back."""
    effects = reset_effects(case.controller, wants_by_key(case.wants), case.context)
    live = charges_at_reset(effects)
    for key, effect in effects.items():
        field = case.controller.field(key)
        if field is None or effect.verdict == "safe" or (effect.limit is None and effect.verdict == "unknown"):
            continue
        title = field.quantity.title
        severity: Severity = "note"
        if effect.verdict == "unsafe":
            severity = _reset_severity(key, live)
        yield Finding(
            severity=severity,
            check="reset-value",
            where=case.where(title),
            what=f"The reset value of the {title} is {effect.verdict} with this pack: {effect.reason}.",
            value=nan if effect.value is None else effect.value,
            limit=0.0 if effect.limit is None else effect.limit,
            unit=field.quantity.unit,
            why=_reset_why(case.controller, live),
            source="controller file",
        )


def _reset_severity(key: str, live: bool) -> Severity:
    if key in ("charge_voltage", "charge_current", "precharge_current", "charge_enable"):
        return "stop" if live else "caution"
    return "serious" if key in ("input_current", "input_voltage", "bus_minimum", "discharge_current") else "caution"


def _reset_why(controller: Controller, live: bool) -> str:
    comes = "it holds from power-up until the host has written"
    if controller.host_lost.then == "goes back to reset values":
        comes += ", and again after the host is lost"
    return f"{comes[0].upper()}{comes[1:]}; " + (
        "the controller may charge with it."
        if live
        else "the charge is off at that time, so write it before the charge starts."
    )


def refresh(case: Case) -> Iterator[Finding]:
    """Yield what is wrong with the interval at which the host writes."""
    plan = refresh_interval(case.points, case.controller)
    where = case.where("refresh")
    if plan is None:
        yield Finding(
            severity="caution",
            check="host-refresh",
            where=where,
            what="Nothing ends the charge when the host falls silent.",
            value=inf,
            limit=0.0,
            unit="s",
            why="A host that has stopped cannot stop the charge.",
            source=COMMON_PRACTICE,
        )
        return
    asked = case.context.refresh
    judged = None if asked is None else _judged_interval(asked, plan)
    if asked is None or judged is None:
        return
    severity, limit, says = judged
    yield Finding(
        severity=severity,
        check="host-refresh",
        where=where,
        what=f"The host writes every {show(asked, 's')}, the shortest time-out is {show(plan.shortest_timeout, 's')}: "
        f"{says}.",
        value=asked,
        limit=limit,
        unit="s",
        why=f"A lost host means that the controller {case.controller.host_lost.then}.",
        source="controller file, lower edge of its time-out",
        cure=Cure(change=f"write every {show(plan.interval, 's')}", value=plan.interval, clears=True),
    )


def _judged_interval(asked: float, plan: Refresh) -> tuple[Severity, float, str] | None:
    """Return severity, limit and words for an interval that is not right."""
    if asked >= plan.shortest_timeout:
        return "serious", plan.shortest_timeout, "the controller may take the host for lost"
    if asked > plan.longest_allowed:
        return "serious", plan.longest_allowed, f"its description wants at most {show(plan.longest_allowed, 's')}"
    if asked > plan.interval * (1.0 + 1e-9):
        return "caution", plan.interval, "one write that goes missing is enough to lose the host"
    if asked < plan.shortest_allowed:
        return "caution", plan.shortest_allowed, f"its description wants at least {show(plan.shortest_allowed, 's')}"
    return None

"""What each reset value would do with this pack: after power-up, and after a lost host where the values come back."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isinf
from typing import Literal

from chargewright.base.units import show
from chargewright.setpoints.accuracy import Sensing, real_value
from chargewright.setpoints.context import Context, Want
from chargewright.setpoints.controller import Controller, Field
from chargewright.setpoints.quantise import decode

Verdict = Literal["safe", "unsafe", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ResetEffect:
    """One field's reset value, as it is on this board, judged against this pack."""

    code: int | None
    value: float | None
    """In the unit of the quantity, with the fitted sense resistor; infinite is "no limit"."""
    limit: float | None
    """What it was judged against."""
    verdict: Verdict
    reason: str


def reset_effects(controller: Controller, wants: Mapping[str, Want], context: Context) -> dict[str, ResetEffect]:
    """Return the judgement on the reset value of every field, by the key of its quantity."""
    effects = {
        field.quantity.key: _effect(field, context.sensing(controller, field), wants.get(field.quantity.key), context)
        for field in controller.fields
        if field.quantity.key != "charge_enable"
    }
    switch = controller.field("charge_enable")
    if switch is not None:
        effects[switch.quantity.key] = _switch_effect(switch, effects)
    return effects


def charges_at_reset(effects: Mapping[str, ResetEffect]) -> bool:
    """Return whether the controller may charge with its reset values before any host has spoken; in doubt it may."""
    switch = effects.get("charge_enable")
    current = effects.get("charge_current")
    off = switch is not None and switch.value == 0.0
    return not (off or (current is not None and current.value == 0.0))


def _effect(field: Field, sensing: Sensing | None, want: Want | None, context: Context) -> ResetEffect:
    limit = _limit(field.quantity.key, want, context)
    if field.reset is None:
        means = f": {field.reset_means}" if field.reset_means else ""
        return ResetEffect(
            code=None, value=None, limit=limit, verdict="unknown", reason=f"not stated by the file{means}"
        )
    value = real_value(decode(field, field.reset), sensing)
    verdict, reason = _judged(field, value, limit, want, context)
    return ResetEffect(code=field.reset, value=value, limit=limit, verdict=verdict, reason=reason)


def _limit(key: str, want: Want | None, context: Context) -> float | None:
    """What the reset value must not pass: a limit of pack or source if there is one, else what is asked for."""
    hard = {
        "charge_voltage": context.v_pack_max,
        "charge_current": context.i_charge_max,
        "precharge_current": context.i_precharge_max,
        "input_current": context.i_source_max,
        "discharge_current": context.i_discharge_max,
    }.get(key)
    return hard if hard is not None else want.value if want is not None else None


def _judged(
    field: Field, value: float, limit: float | None, want: Want | None, context: Context
) -> tuple[Verdict, str]:
    unit, key = field.quantity.unit, field.quantity.key
    said = show(value, unit)
    if isinf(value):
        return "unsafe", f"{said}: {field.reset_means or 'nothing limits it'}"
    if limit is None:
        return "unknown", f"{said}; nothing was asked of it"
    direction = field.quantity.safe if want is None else want.safe
    grain = 1e-9 * abs(limit)
    if direction == "down" and value > limit + grain:
        return "unsafe", f"{said} is above {show(limit, unit)}"
    if direction == "up" and value < limit - grain:
        return "unsafe", f"{said} is below {show(limit, unit)}"
    if key == "input_voltage" and context.v_source_min is not None and value > context.v_source_min:
        return "safe", f"{said}, but a source that gives {show(context.v_source_min, unit)} never charges"
    return "safe", f"{said} against {show(limit, unit)}"


def _switch_effect(switch: Field, effects: Mapping[str, ResetEffect]) -> ResetEffect:
    if switch.reset is None:
        return ResetEffect(code=None, value=None, limit=0.0, verdict="unknown", reason="not stated by the file")
    value = decode(switch, switch.reset)
    if value == 0.0:
        return ResetEffect(
            code=switch.reset, value=value, limit=0.0, verdict="safe", reason="no charge until the host allows it"
        )
    verdicts = [effects[key].verdict for key in ("charge_voltage", "charge_current") if key in effects]
    verdict: Verdict = "unsafe" if "unsafe" in verdicts else "safe" if set(verdicts) == {"safe"} else "unknown"
    return ResetEffect(
        code=switch.reset,
        value=value,
        limit=0.0,
        verdict=verdict,
        reason=f"the charge starts by itself with the reset values, which are {verdict} for this pack",
    )

"""A charge judged against the cell's limits, and why it ended, in words."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.base.units import show
from chargewright.parts.cell import SOC_TOP, Array
from chargewright.parts.pack import Pack, pack_charge_current
from chargewright.sim import _charge_kernel as kernel
from chargewright.sim.charge_setup import ChargeSettings

LIMITS = ("precharge", "charge current", "charge voltage", "source", "temperature", "done")
"""What rules the current, by the codes of `Trace.limit`."""
_ROUNDING = 1e-6
_TEMP_EXACT = 0.05
"""How exactly the steps of a charge end on a temperature [K]; no thermistor tells it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """A charge over time. Where a limit changes, two rows share one instant: before and after."""

    t: Array
    i: Array
    v_pack: Array
    """At the terminals."""
    v_cell_highest: Array
    v_cell_lowest: Array
    """Of all cells but the highest, which are taken as alike."""
    soc: Array
    temp: Array
    """Of the cells."""
    limit: npt.NDArray[np.int64]
    """Index into `LIMITS`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditRow:
    """One number of a charge against one limit of the cell."""

    what: str
    value: float
    limit: float
    unit: str
    ok: bool
    note: str = ""
    """What was assumed."""


def audit(pack: Pack, settings: ChargeSettings, trace: Trace) -> tuple[AuditRow, ...]:
    """Return the charge against every limit of the cell that it touches."""
    limits = pack.cell.limits
    v_high = float(trace.v_cell_highest.max())
    v_error = settings.v_error * settings.v_set / pack.series
    spread = _spread(pack) + _passed(trace, limits.v_upper)
    rows = [
        _at_most("highest cell voltage", v_high, limits.v_upper, "V", note=f"charge voltage exact; {spread}"),
        _at_most(
            "highest cell voltage, tolerance included",
            v_high + v_error,
            limits.v_upper,
            "V",
            note=f"charge voltage {show(settings.v_error, '1')} high; {_spread(pack)}",
        ),
    ]
    flowing = trace.i > 0.0
    if flowing.any():
        rows += _while_charging(pack, settings, trace, flowing)
    return tuple(rows)


def _spread(pack: Pack) -> str:
    if pack.series == 1:
        return "one cell in series"
    parts = [f"capacity spread {show(pack.spread_capacity, '1')}"]
    if pack.spread_soc > 0.0:
        parts.append(f"{show(pack.spread_soc, '1')} in state of charge")
    if pack.balance_current > 0.0:
        parts.append(f"balanced with {show(pack.balance_current, 'A')} from {show(pack.balance_from, 'V')}")
    else:
        parts.append("never balanced")
    return ", ".join(parts)


def _passed(trace: Trace, v_upper: float) -> str:
    """Return when the highest cell passes the voltage at which a pack's own protection has to end a charge."""
    above = np.flatnonzero(trace.v_cell_highest > v_upper * (1.0 + _ROUNDING))
    if not len(above):
        return ""
    k = int(above[0])
    return (
        f"; passed after {show(float(trace.t[k]), 's')} at {show(float(trace.soc[k]), '1', 3)}: there the pack's own "
        "protection would end the charge, what follows is what the charger alone would do"
    )


def _while_charging(
    pack: Pack, settings: ChargeSettings, trace: Trace, flowing: npt.NDArray[np.bool_]
) -> list[AuditRow]:
    limits = pack.cell.limits
    i, temp = trace.i[flowing], trace.temp[flowing]
    # At the very edge of a zone the row before the change carries the current of the zone just left.
    allowed = np.maximum(pack_charge_current(pack, temp - _TEMP_EXACT), pack_charge_current(pack, temp + _TEMP_EXACT))
    coldest = pack_charge_current(pack, limits.temp_charge_low)
    in_band = (temp < limits.temp_charge_low) & (temp >= limits.temp_charge_low - settings.cold_band - _ROUNDING)
    allowed = np.where(in_band, coldest, allowed)
    worst = int(np.argmax(i - allowed))
    i_error = 1.0 + settings.i_error
    rows = [
        _at_most("charge current", float(i[worst]), float(allowed[worst]), "A", note=f"at {show(temp[worst], 'K')}"),
        _at_most(
            "charge current, tolerance included",
            float(i[worst]) * i_error,
            float(allowed[worst]),
            "A",
            note=f"current {show(settings.i_error, '1')} high",
        ),
        AuditRow(
            what="hottest cell while charging",
            value=float(temp.max()),
            limit=limits.temp_charge_high,
            unit="K",
            ok=bool(temp.max() <= limits.temp_charge_high + _TEMP_EXACT),
        ),
        AuditRow(
            what="coldest cell while charging",
            value=float(temp.min()),
            limit=limits.temp_charge_low,
            unit="K",
            ok=bool(temp.min() >= limits.temp_charge_low - settings.cold_band - _ROUNDING),
            note=f"entropic cooling by up to {settings.cold_band:g} K accepted",
        ),
    ]
    cells_v = trace.v_pack[flowing] - i * pack.lead_resistance
    deep = cells_v < pack.v_precharge * (1.0 - _ROUNDING)
    if deep.any():
        rows.append(
            _at_most(
                "current below the precharge threshold",
                float(i[deep].max()),
                limits.rate_precharge * pack.capacity,
                "A",
                note=f"cells below {show(limits.v_precharge, 'V')}",
            )
        )
    return rows


def _at_most(what: str, value: float, limit: float, unit: str, note: str = "") -> AuditRow:
    return AuditRow(
        what=what, value=value, limit=limit, unit=unit, ok=value <= limit + _ROUNDING * abs(limit), note=note
    )


def cause_of(
    pack: Pack, settings: ChargeSettings, trace: Trace, seconds: dict[str, float], reason: int, temp_ambient: float
) -> str:
    """Return why the charge ended, in words."""
    soc, v, temp = show(trace.soc[-1], "1", 3), show(trace.v_pack[-1], "V"), show(trace.temp[-1], "K", 3)
    ambient = show(temp_ambient, "K", 3)
    low, high = (show(k, "K") for k in (pack.cell.limits.temp_charge_low, pack.cell.limits.temp_charge_high))
    match reason:
        case kernel.TERMINATION:
            if trace.t[-1] == 0.0:
                return (
                    f"The pack is full: it takes less than {show(settings.i_termination, 'A')} at its charge voltage."
                )
            return f"The current fell to {show(settings.i_termination, 'A')} at the charge voltage, at {soc}."
        case kernel.TIMER:
            return f"The safety timer of {show(settings.timer, 's')} ran out at {soc}. " + _held_back(trace, seconds)
        case kernel.PRECHARGE_TIMER:
            threshold = show(settings.v_precharge, "V")
            return (
                f"The precharge timer of {show(settings.precharge_timer, 's')} ran out at {v}, below {threshold}. "
                + _held_back(trace, seconds)
            )
        case kernel.REFUSED:
            assert settings.wake is not None, "only a wake-up refuses"
            v_wake, trickle, longest = settings.wake
            return (
                f"The pack does not rise above {show(v_wake, 'V')} within {show(longest, 's')} of "
                f"{show(trickle, 'A')}; it is refused at {v}. A pack that was this low needs its maker's rule, "
                "which is often disposal."
            )
        case kernel.STARVED:
            return f"The source leaves no current for the pack at {v}; it stays at {soc}."
        case kernel.COLD:
            return (
                f"At {temp} the cells may not be charged (below {low}), and an ambient of {ambient} will not warm them."
            )
        case kernel.HOT:
            return f"At {temp} the cells may not be charged (above {high}); an ambient of {ambient} will not cool them."
    return f"The highest cell passed {SOC_TOP:.0%} before the charge voltage was met; the pack stands at {soc}."


def _held_back(trace: Trace, seconds: dict[str, float]) -> str:
    total = float(trace.t[-1])
    parts = [
        f"for {show(seconds[name] / total, '1', 2)} of the time the {name} held the current back"
        for name in ("source", "temperature")
        if seconds[name] > 0.01 * total
    ]
    if not parts:
        return "Nothing held the current back: the current is too small for this pack, or the timer too short."
    sentence = ", and ".join(parts)
    return sentence[0].upper() + sentence[1:] + "."

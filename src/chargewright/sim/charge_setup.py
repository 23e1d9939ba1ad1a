"""What a charge is set to, and what source and load leave over for it."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from chargewright.base.errors import OutOfRange
from chargewright.base.units import show
from chargewright.parts.cell import Array, frozen, soc_at_ocv
from chargewright.parts.pack import Pack, pack_ocv
from chargewright.spec.pack import ChargeSpec

_TIMER_SPEEDS = {"runs": 1.0, "pauses": 0.0, "half": 0.5}


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeSettings:
    """What the charger is set to, for the pack as a whole. Make it with `charge_settings`."""

    v_set: float
    i_charge: float
    v_precharge: float
    """Sensed voltage below which only the precharge current flows."""
    i_precharge: float
    i_termination: float
    timer: float
    precharge_timer: float
    steps: tuple[tuple[float, float], ...] = ()
    """Charge current in steps: (sensed voltage that ends the step, current of the step), before `i_charge`."""
    wake: tuple[float, float, float] | None = None
    """Sensed voltage below which only a trickle flows, the trickle, how long it may last; None for no such stage."""
    timer_speed: float = 1.0
    """Speed of the timers while the source cuts the charge back: 1 runs on, 0 pauses."""
    zone_hysteresis: float = 2.0
    """How far the temperature must return before a better temperature zone is taken again [K]: common practice."""
    cold_band: float = 0.5
    """How far a charge that has begun may cool the cells below the coldest zone before it stops [K]. Charging an almost
    empty cell cools it by tenths of a kelvin (entropy), which no thermistor tells from the edge: common practice."""
    v_error: float = 0.0
    """Relative error of the charge voltage, for the audit."""
    i_error: float = 0.0
    """Relative error of the charge current, for the audit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """How long a step of the charge may be."""

    soc_step: float
    """In state of charge."""
    v_step: float
    """In rest voltage [V]."""
    current_step: float
    """In relative change of the current of a taper."""
    temp_step: float
    """In temperature [K]."""


FINE = Accuracy(soc_step=0.002, v_step=0.005, current_step=0.012, temp_step=0.1)
"""Times to about 2e-5, energy to 1e-6."""
QUICK = Accuracy(soc_step=0.02, v_step=0.03, current_step=0.05, temp_step=0.5)
"""Times to about 1e-3, for sweeps and for values that are dragged."""

BRISK = Accuracy(soc_step=0.03, v_step=0.04, current_step=0.1, temp_step=0.5)
"""Times to about 1e-3, in fewer steps than `QUICK`: for batches."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CurrentTable:
    """The greatest charge current that source and load leave over [A] against the pack's terminal voltage [V]."""

    v_pack: Array
    i: Array


Available = Callable[[Array], Any] | CurrentTable


def charge_settings(spec: ChargeSpec, pack: Pack) -> ChargeSettings:
    """Return what the design file asks of the charger of this pack. Raises OutOfRange."""
    settings = ChargeSettings(
        v_set=pack.v_full,
        i_charge=spec.current.amps(pack.capacity),
        v_precharge=pack.v_precharge,
        i_precharge=spec.precharge.amps(pack.capacity),
        i_termination=spec.termination.amps(pack.capacity),
        steps=tuple((step.until * pack.series, step.current.amps(pack.capacity)) for step in spec.steps),
        wake=(
            None
            if spec.wake is None
            else (spec.wake.until * pack.series, spec.wake.current.amps(pack.capacity), spec.wake.timer)
        ),
        timer_speed=_TIMER_SPEEDS[spec.timer_rule],
        timer=spec.timer,
        precharge_timer=spec.precharge_timer,
        v_error=spec.v_error,
        i_error=spec.i_error,
    )
    require_sense(settings)
    return settings


def require_sense(settings: ChargeSettings) -> None:
    """Raise OutOfRange where settings contradict each other."""
    if not 0.0 < settings.i_termination < settings.i_charge:
        raise OutOfRange(
            f"charge.termination = {show(settings.i_termination, 'A')} must be above zero and below charge.current = "
            f"{show(settings.i_charge, 'A')}"
        )
    first = [] if settings.wake is None else [settings.wake[0]]
    stages = [*first, settings.v_precharge, *(v for v, _ in settings.steps), settings.v_set]
    if any(a >= b for a, b in pairwise(stages)):
        shown = ", ".join(show(v, "V") for v in stages)
        raise OutOfRange(
            f"wake-up voltage, precharge threshold, current steps and charge voltage must rise in this order: {shown}"
        )


def recharge_point(spec: ChargeSpec, pack: Pack, temp: float) -> tuple[float, float]:
    """Return the rest voltage of the pack [V] below which a new charge starts, and its state of charge there [1].

    A full pack that rests and feeds nothing falls by its self-discharge alone; a drop that is less than what the taper
    leaves as polarisation would start a new charge at once.
    """
    v_cell = pack.v_cell_max - spec.recharge_drop
    return v_cell * pack.series, float(soc_at_ocv(pack.cell, v_cell, temp))


def table_of(
    available: Available | None, pack: Pack, settings: ChargeSettings, soc: float, temp: float
) -> CurrentTable | None:
    """Return the available current as a table that holds every voltage of this charge."""
    if available is None:
        return None
    v_low = float(pack_ocv(pack, soc, temp)) - 0.01 * pack.series
    v_high = settings.v_set + max(settings.i_charge, settings.i_precharge) * pack.lead_resistance + 0.01 * pack.series
    if not isinstance(available, CurrentTable):
        v = np.linspace(v_low, v_high, 1025)
        available = CurrentTable(v_pack=v, i=np.broadcast_to(np.asarray(available(v), dtype=float), v.shape))
    v_table = np.asarray(available.v_pack, dtype=float)
    if len(v_table) < 2 or np.any(np.diff(v_table) <= 0.0) or not np.all(np.isfinite(available.i)):
        raise OutOfRange("the available current needs rising pack voltages, at least two, and a finite current at each")
    if v_table[0] > v_low or v_table[-1] < v_high:
        raise OutOfRange(
            f"the available current is known from {show(v_table[0], 'V')} to {show(v_table[-1], 'V')} of pack voltage; "
            f"this charge needs {show(v_low, 'V')} to {show(v_high, 'V')}"
        )
    return CurrentTable(v_pack=frozen(v_table), i=frozen(available.i))

"""Contracts: what a source of the design file can offer, and which offer to take for a demand."""

from dataclasses import dataclass

import numpy as np

from chargewright.base.errors import NoSolution, QuantityError
from chargewright.base.units import parse, show
from chargewright.parts.sources import shelf
from chargewright.parts.supply import Supply, at_voltage, set_points
from chargewright.spec.source import SourceSpec

_SAME_VOLTS = 1e-6
"""Difference up to which two voltages are the same [V]: rounding."""


def supplies(spec: SourceSpec) -> tuple[Supply, ...]:
    """Return every contract that a source can end up in, highest power first.

    Raises PartsError that names the object of a USB PD source which cannot be used.
    """
    return shelf.get(spec.kind).supplies(spec)


def contract_named(offered: tuple[Supply, ...], contract: str) -> Supply | None:
    """Return the contract that a text names, by its own words ("9 V 3 A") or by the voltage of a fixed one ("9 V")."""
    for supply in offered:
        if supply.contract == contract:
            return supply
    try:
        v = parse(contract, "V")
    except QuantityError:
        return None
    fixed = (s for s in offered if s.adjustable is None)
    return next((s for s in fixed if abs(s.v_set.typ - v) < _SAME_VOLTS), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejected:
    """A contract that was not taken, and why."""

    contract: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """The contract taken for a demand; an adjustable one is set to its voltage."""

    supply: Supply
    suffices: bool
    """Whether it brings the wanted power in the worst steady case; if not, it is the one that brings most."""
    power_worst: float
    """Power at the product's connector in the worst steady case [W]."""
    reasons: tuple[str, ...]
    rejected: tuple[Rejected, ...]


def choose_contract(
    supplies: tuple[Supply, ...], power_wanted: float, v_min: float, v_max: float, v_prefer: float | None = None
) -> Choice:
    """Return the contract for a demand.

    Of all contracts that stay inside the window, the one with the smallest rated power that still brings
    `power_wanted` in the worst steady case; of equal ones that whose voltage is nearest above `v_prefer` (lowest, if
    there is no preference), and of these a fixed one. An adjustable contract enters at the lowest set point, from
    `v_prefer` on, that suffices. If none suffices, the one that brings most.

    power_wanted : power needed at the product's connector [W]
    v_min        : lowest voltage at the product's connector that will do, in the worst steady case [V]
    v_max        : highest voltage that may stand there with nothing wrong, while the voltage moves included [V]
    Raises NoSolution if no contract stays inside the window, naming the nearest and what it misses.
    """
    entries = [_best_setting(supply, power_wanted, v_min, v_max, v_prefer) for supply in supplies]
    inside = [entry for entry in entries if entry.inside]
    if not inside:
        raise NoSolution(_nothing_inside(entries, v_min, v_max))
    sufficing = [entry for entry in inside if entry.power_worst >= power_wanted]
    if sufficing:
        best = min(sufficing, key=lambda entry: (round(entry.supply.power, 3), *_taste(entry.supply, v_prefer)))
        reason = f"of the contracts that bring {show(power_wanted, 'W')} it has the smallest rated power"
        if v_prefer is not None:
            reason += f", and of equals the voltage nearest to {show(v_prefer, 'V')}"
    else:
        best = min(inside, key=lambda entry: (-round(entry.power_worst, 3), *_taste(entry.supply, v_prefer)))
        missing = show(power_wanted - best.power_worst, "W")
        reason = f"no contract brings {show(power_wanted, 'W')}; this one brings most and is {missing} short"
    return Choice(
        supply=best.supply,
        suffices=bool(sufficing),
        power_worst=best.power_worst,
        reasons=(reason, f"at worst it brings {show(best.power_worst, 'W')} at {show(best.v_worst, 'V')}"),
        rejected=tuple(
            Rejected(contract=entry.supply.contract, reason=_why_not(entry, power_wanted))
            for entry in entries
            if entry is not best
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entry:
    """A contract at its best setting for a demand."""

    supply: Supply
    v_worst: float
    power_worst: float
    too_low: float
    """How far the worst voltage lies below the window [V]."""
    too_high: float
    """How far the highest normal voltage lies above it [V]."""

    @property
    def inside(self) -> bool:
        return max(self.too_low, self.too_high) <= _ROUNDING


_ROUNDING = 1e-9
"""Volts by which a float may miss the edge of a window that it meets exactly."""


def _best_setting(supply: Supply, power: float, v_min: float, v_max: float, v_prefer: float | None) -> _Entry:
    points = set_points(supply)
    miss = np.maximum(v_min - points.v_worst, points.v_max_normal - v_max)
    usable = miss <= _ROUNDING
    suffices = usable & (points.power_worst >= power)
    if not usable.any():
        at = int(np.argmin(miss))
    elif not suffices.any():
        at = int(np.argmax(np.where(usable, points.power_worst, -np.inf)))
    else:
        wanted = suffices & (points.v >= (v_prefer or 0.0))
        # From the preference on the lowest; with nothing there, the highest below it.
        at = int(np.flatnonzero(wanted)[0] if wanted.any() else np.flatnonzero(suffices)[-1])
    return _Entry(
        supply=at_voltage(supply, float(points.v[at])) if supply.adjustable else supply,
        v_worst=float(points.v_worst[at]),
        power_worst=float(points.power_worst[at]),
        too_low=float(v_min - points.v_worst[at]),
        too_high=float(points.v_max_normal[at] - v_max),
    )


def _taste(supply: Supply, v_prefer: float | None) -> tuple[bool, float, bool]:
    """Sort by voltage: nearest above the preference first, then nearest below it; a fixed contract before a range."""
    distance = supply.v_set.typ - (v_prefer or 0.0)
    return distance < 0.0, abs(distance), supply.adjustable is not None


def _why_not(entry: _Entry, power: float) -> str:
    if not entry.inside:
        return _outside(entry)
    if entry.power_worst < power:
        return f"brings {show(entry.power_worst, 'W')} at worst, {show(power - entry.power_worst, 'W')} short"
    return "would do, but is not the nearest to the demand"


def _outside(entry: _Entry) -> str:
    if entry.too_low >= entry.too_high:
        return f"falls to {show(entry.v_worst, 'V')} at rated current, {show(entry.too_low, 'V')} too low"
    return f"reaches {show(entry.supply.v_max_normal, 'V')} with nothing wrong, {show(entry.too_high, 'V')} too high"


def _nothing_inside(entries: list[_Entry], v_min: float, v_max: float) -> str:
    window = f"{show(v_min, 'V')} to {show(v_max, 'V')}"
    if not entries:
        return f"there is no contract to choose from for {window}"
    nearest = min(entries, key=lambda entry: max(entry.too_low, entry.too_high))
    name, contract = nearest.supply.name, nearest.supply.contract
    return f"no contract of {name!r} stays within {window}; the nearest, {contract}, {_outside(nearest)}"

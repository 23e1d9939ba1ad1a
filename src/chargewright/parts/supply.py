"""A supply: what one contract of one source offers to a power path, in SI units."""

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from chargewright.base.errors import OutOfRange, PartsError
from chargewright.base.units import Toleranced, show
from chargewright.parts.usb_pd.limits import current_limit_band
from chargewright.physics import adapter, source
from chargewright.spec.source import Overload

Corner = Literal["low", "typical", "high"]
"""Which end of the bands: what leaves the product least, what is usual, what stresses it most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OverloadBehaviour:
    """What the source does when more than the rated current is drawn."""

    kind: Overload
    i_trip: Toleranced
    """Band of the current at which it acts [A]. Plan below `low`; what the product must stand reaches to `high`."""
    time: float
    """How long more than the rated current is stood [s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjustable:
    """The range of a contract whose voltage the product may choose."""

    v_min: float
    v_max: float
    v_step: float
    i_step: float
    i_max: float
    """Greatest current anywhere in the range [A]."""
    power_max: float
    """Power limit inside the range [W]; inf where only the current is limited."""
    current_limited: bool
    """Whether the source holds the requested current by itself (PPS) or trips (AVS)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """One contract of one source, seen from the product: Thevenin voltage, limits, behaviour at the limits."""

    name: str
    """The source, as the design file calls it."""
    contract: str
    """The contract: "20 V 3.25 A"."""
    v_set: Toleranced
    """No-load voltage at the source's connector [V]."""
    i_rated: float
    """Current that may be drawn without end [A]."""
    r_droop: float
    """Output resistance inside the source [ohm]."""
    band_holds_under_load: bool
    """Whether the band of `v_set` is promised up to rated current, so that the droop is inside it (USB)."""
    r_cable: Toleranced
    """Both conductors and all contacts [ohm]: typical at 25 °C, low cold and new, high hot and worn."""
    l_cable: float
    """Inductance of the loop [H]."""
    v_max_normal: float
    """Highest voltage at the source's connector with nothing wrong, while the voltage moves included [V]."""
    v_max_fault: float
    """Highest voltage that a faulty source puts out on this contract [V]."""
    overload: OverloadBehaviour
    efficiency: float
    """Average active efficiency from the wall [1]."""
    no_load: float
    """Wall power with nothing drawn [W]."""
    power_rated: float
    """Rated power of the whole source, whatever the contract [W]."""
    slew: float
    """Fastest change of voltage that the source may make [V/s]; inf where none is promised."""
    bulk_capacitance_max: float | None
    """Capacitance that the product may switch on to the source at once, by its standard [F]; None: no rule."""
    adjustable: Adjustable | None = None
    position: int | None = None
    """Place of the object in the source's list, for a USB PD request."""
    notes: tuple[str, ...] = ()
    """What was assumed or cut back on the way from the design file to this record, as sentences."""

    @property
    def power(self) -> float:
        """Nominal power of the contract at the source's connector [W]."""
        return self.v_set.typ * self.i_rated


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """A supply as a voltage behind a resistance, seen from the product's connector."""

    v_open: float
    r: float


def feed(supply: Supply, corner: Corner = "typical") -> Feed:
    """Return the supply at one corner of its bands.

    Where the band of the voltage is promised under load, the droop is already inside it and is left out at the corners.
    """
    r_source = 0.0 if supply.band_holds_under_load and corner != "typical" else supply.r_droop
    if corner == "low":
        return Feed(v_open=supply.v_set.low, r=r_source + supply.r_cable.high)
    if corner == "high":
        return Feed(v_open=supply.v_set.high, r=r_source + supply.r_cable.low)
    return Feed(v_open=supply.v_set.typ, r=r_source + supply.r_cable.typ)


def input_voltage(supply: Supply, i: Any, corner: Corner = "typical") -> Any:
    """Return the voltage at the product's connector [V] at a steady current [A]; floats or arrays."""
    at = feed(supply, corner)
    return source.droop_voltage(at.v_open, at.r, i)


def worst_input_voltage(supply: Supply, i: Any) -> Any:
    """Return the lowest voltage at the product's connector [V] at a steady current [A]; floats or arrays."""
    return input_voltage(supply, i, "low")


def greatest_power(supply: Supply, corner: Corner = "low") -> float:
    """Return the most power [W] that reaches the product's connector without end, within the rated current."""
    at = feed(supply, corner)
    return float(_greatest_power(at.v_open, at.r, supply.i_rated))


def _greatest_power(v_open: Any, r: float, i_rated: Any) -> Any:
    at_rated = source.power_after_resistance(v_open, i_rated, r)
    if r == 0.0:
        return at_rated
    # A resistance so large that more current would bring less power: then not the rating limits but the resistance.
    return np.where(i_rated > v_open / (2.0 * r), source.greatest_power(v_open, r), at_rated)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetPoints:
    """Every voltage that a contract can be set to, rising, with what goes with it: arrays of one length."""

    v: Any
    i_rated: Any
    v_worst: Any
    """Voltage at the product's connector at rated current, in the worst case [V]."""
    power_worst: Any
    """Most power at the product's connector in the worst case [W]."""
    v_max_normal: Any
    """Highest voltage with nothing wrong [V]."""


def set_points(supply: Supply) -> SetPoints:
    """Return the set points of a contract; a fixed one has one."""
    adjustable = supply.adjustable
    if adjustable is None:
        v, i = np.array([supply.v_set.typ]), np.array([supply.i_rated])
    else:
        first = math.ceil(adjustable.v_min / adjustable.v_step - 1e-6)
        last = math.floor(adjustable.v_max / adjustable.v_step + 1e-6)
        v = np.arange(first, last + 1) / round(1.0 / adjustable.v_step)
        i = current_at(adjustable, v)
    low = supply.v_set.scaled(1.0 / supply.v_set.typ).low * v
    r = feed(supply, "low").r
    return SetPoints(
        v=v,
        i_rated=i,
        v_worst=source.droop_voltage(low, r, i),
        power_worst=_greatest_power(low, r, i),
        v_max_normal=_highest_normal(supply, v),
    )


def _highest_normal(supply: Supply, v: Any) -> Any:
    """Return the top of the band at a set voltage and how far the voltage leaves it while it moves."""
    return v * (supply.v_set.high / supply.v_set.typ) + (supply.v_max_normal - supply.v_set.high)


def at_voltage(supply: Supply, v: float) -> Supply:
    """Return an adjustable contract set to `v` volts, with current, bands, trip and fault voltage that go with it.

    Raises PartsError for a contract that cannot be set, OutOfRange for a voltage outside its range or off its grid.
    """
    adjustable = supply.adjustable
    if adjustable is None:
        raise PartsError(f"{supply.name!r}: contract {supply.contract!r} has one voltage and cannot be set to {v:g} V")
    count = round(v / adjustable.v_step)
    inside = adjustable.v_min - 1e-9 <= v <= adjustable.v_max + 1e-9
    if not inside or abs(v / adjustable.v_step - count) > 1e-6:
        raise OutOfRange(
            f"{supply.name!r}: {show(v, 'V', 6)} is no set point of {range_text(adjustable)} "
            f"in steps of {show(adjustable.v_step, 'V')}"
        )
    i = float(current_at(adjustable, v))
    ratio = v / supply.v_set.typ
    v_max_normal = float(_highest_normal(supply, v))
    return replace(
        supply,
        contract=f"{show(v, 'V', 5)} {show(i, 'A')} (of {range_text(adjustable)})",
        v_set=supply.v_set.scaled(ratio),
        i_rated=i,
        v_max_normal=v_max_normal,
        v_max_fault=max(supply.v_max_fault * ratio, v_max_normal),
        overload=replace(
            supply.overload,
            i_trip=current_limit_band(i)
            if adjustable.current_limited
            else supply.overload.i_trip.scaled(i / supply.i_rated),
        ),
    )


def current_at(adjustable: Adjustable, v: Any) -> Any:
    """Return the current [A] that may be asked for at `v` volts: the limit or what the power leaves, on the grid."""
    i = np.minimum(adjustable.i_max, adjustable.power_max / v)
    return np.floor(i / adjustable.i_step + 1e-6) / round(1.0 / adjustable.i_step)


def range_text(adjustable: Adjustable) -> str:
    """Return the range in words: "3.3 V to 21 V"."""
    return f"{show(adjustable.v_min, 'V')} to {show(adjustable.v_max, 'V')}"


def wall_power(supply: Supply, p_out: Any) -> Any:
    """Return the power from the wall [W] while the source delivers `p_out` [W] at its connector; floats or arrays.

    Constant loss is the no-load power; the rest is such that the mean efficiency at 25, 50, 75 and 100 % of the rated
    power is the average active efficiency. That the contract is another than the rated one makes no difference here.
    """
    slope = _slope_efficiency(supply)
    return adapter.wall_power(p_out, supply.no_load, slope)


_ACTIVE_POINTS = np.array([0.25, 0.50, 0.75, 1.00])
"""Shares of rated power over which the average active efficiency is taken (10 CFR 430 subpart B appendix Z)."""


def _slope_efficiency(supply: Supply) -> float:
    """Return the efficiency of what is drawn on top of no load, at most 1."""
    p_out = _ACTIVE_POINTS * supply.power_rated
    wanted = supply.efficiency
    if float(np.mean(p_out / adapter.wall_power(p_out, supply.no_load, 1.0))) < wanted - 1e-12:
        raise PartsError(
            f"{supply.name!r}: an average efficiency of {show(wanted, '1')} leaves no room for a no-load power of "
            f"{show(supply.no_load, 'W')} at a rated {show(supply.power_rated, 'W')}; lower one of the two"
        )
    # Newton's method on 1/eta: there the mean falls and is convex, so that from 1 on no step passes the root.
    slope = 1.0
    for _ in range(60):
        share = p_out / adapter.wall_power(p_out, supply.no_load, 1.0 / slope)
        step = (float(np.mean(share)) - wanted) / float(np.mean(share**2))
        slope += step
        if abs(step) < 1e-14:
            break
    return 1.0 / slope

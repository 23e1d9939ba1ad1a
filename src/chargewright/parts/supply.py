"""A supply: what one contract of one source offers to a power path, in SI units."""

from dataclasses import dataclass

from chargewright.base.units import Toleranced
from chargewright.spec.source import Overload


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
    """Highest voltage that a faulty source puts out [V]."""
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

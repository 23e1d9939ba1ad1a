"""A controller as its file describes it: bus, fields, least steps, accuracy, reset values, time-outs. Records only."""

from dataclasses import dataclass
from typing import Literal

from chargewright.base.units import Toleranced, exact
from chargewright.setpoints.quantities import Place, Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Linear:
    """A field whose value is `offset` + code · `step`, used between `minimum` and `maximum` [unit of the quantity]."""

    step: float
    offset: float = 0.0
    minimum: float
    maximum: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """A field whose codes stand for listed values, lowest value first."""

    values: tuple[tuple[int, float], ...]
    """Pairs of code and value [unit of the quantity]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpecialCode:
    """A code that means something of its own: "no limit", "off"."""

    code: int
    value: float
    """What it means as a number: infinite for "no limit" and for a timer that never runs out."""
    means: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """What the controller promises about the value that it regulates."""

    gain: Toleranced = exact(1.0)
    """Band of the factor on the value [1]; with `of_full_scale` its excess over 1 counts on the full scale."""
    of_full_scale: bool = False
    full_scale: float | None = None
    """Greatest value that the controller can be set to; None: the value itself, the kindest reading."""
    offset: Toleranced = exact(0.0)
    """Fixed error in the unit of the quantity."""
    sense_offset: Toleranced = exact(0.0)
    """Offset of the amplifier at the sense resistor [V]."""
    resolution_bits: int | None = None
    """Bits of full scale to which the controller resolves, where that is coarser than the code."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """Some bits of a register that set one quantity."""

    quantity: Quantity
    register: int
    low_bit: int = 0
    width: int = 16
    signed: bool = False
    scale: Linear | Choices
    special: tuple[SpecialCode, ...] = ()
    accuracy: Accuracy = Accuracy()
    reset: int | None = None
    """Code after power-up or after a lost host; None where the file does not say."""
    reset_means: str = ""
    readable: bool = True
    """Whether the register answers with what was written."""
    notes: str = ""

    @property
    def mask(self) -> int:
        """The bits of the register that belong to this field."""
        return ((1 << self.width) - 1) << self.low_bit


@dataclass(frozen=True, slots=True, kw_only=True)
class HostLost:
    """What a silent host brings about."""

    timeout: Toleranced | None = None
    """Time-out that no register sets [s]; a settable one is the field `watchdog`."""
    refresh: Toleranced | None = None
    """Shortest and longest interval at which the host may write [s]."""
    then: Literal["stops charging", "goes back to reset values", "keeps its values"] = "goes back to reset values"


@dataclass(frozen=True, slots=True, kw_only=True)
class Controller:
    """One controller of a power path."""

    name: str
    origin: str
    """Where the description comes from: "invented", or an open specification."""
    address: int
    """7-bit bus address."""
    pec: bool
    """Whether words carry a packet error code."""
    register_width: int = 16
    keep_other_bits: bool = True
    """Whether bits that no field covers have to be read and written back as they were."""
    r_pack: float | None = None
    """Sense resistor in the pack path for which the steps are given [Ω]; None: the steps are amperes as such."""
    r_source: float | None = None
    """The same in the source path."""
    host_lost: HostLost = HostLost()
    fields: tuple[Field, ...]
    notes: str = ""

    def field(self, key: str) -> Field | None:
        """Return the field that sets a quantity, or None if the controller has none."""
        return next((field for field in self.fields if field.quantity.key == key), None)

    def r_configured(self, place: Place) -> float | None:
        """Return the sense resistor for which the steps at `place` are given [Ω]."""
        return {"pack": self.r_pack, "source": self.r_source}.get(place)

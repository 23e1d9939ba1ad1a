"""What sizing returns: the chosen build, the front it was chosen from, what nearly won, and every margin."""

from dataclasses import dataclass
from typing import Literal

from chargewright.sizing.build import Build

SenseRole = Literal["source", "charge"]
Side = Literal["source", "pack"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One complete set of parts that meets every rule."""

    build: Build
    p_loss: float
    """Loss of the stage [W], averaged over the usual points by their weights."""
    cost: float
    """Cost index of the whole build [1]."""
    area: float
    """Board area of the whole build [m²]."""
    score: float
    """Loss plus what cost and area are worth [W]; the least wins."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejected:
    """A set with a better score than the chosen one that breaks exactly one rule."""

    candidate: Candidate
    rule: str
    where: str
    value: float
    limit: float
    unit: str
    miss: float
    """How far the limit is missed [1]: a margin with its sign turned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """One rule at the place where it is tightest, for the chosen build; value and limit are SI numbers in `unit`."""

    rule: str
    where: str
    value: float
    limit: float
    unit: str
    margin: float
    """Distance to the limit over the limit's size [1]; temperatures over the rise from ambient. Negative breaks it."""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SenseError:
    """Error of a sensed current at one set-point, each part over the current [1]."""

    at: str
    """Which set-point: "full", "precharge" or "termination"."""
    current: float
    tolerance: float
    temperature: float
    offset: float
    worst: float
    """Sum of the parts: what no combination of them exceeds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SenseTrade:
    """One catalogue resistor in one of the two sense positions."""

    role: SenseRole
    name: str
    r: float
    p_loss: float
    """Loss at full current [W]."""
    temp: float
    """Temperature at full current [K]."""
    errors: tuple[SenseError, ...]
    score: float
    """Loss plus what cost and area are worth [W]."""
    fits: bool
    """Whether it keeps its rating and temperature."""
    accurate: bool
    """Whether every error is within the aim."""
    chosen: bool
    why: str

    def error(self, at: str) -> float:
        """Return the worst error [1] at one set-point."""
        return next(e.worst for e in self.errors if e.at == at)


@dataclass(frozen=True, slots=True, kw_only=True)
class BankWork:
    """What one side's capacitors do at their worst corners."""

    side: Side
    name: str
    count: int
    c_nominal: float
    """All parts together, without bias [F]."""
    c_effective: float
    """All parts together, at the highest voltage of the side and low tolerance [F]."""
    ripple: float
    """Greatest ripple over the voltage of the side [1]."""
    i_rms_each: float
    life: float
    """Life at the hottest board [s]; inf for parts that do not wear."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizing:
    """The parts for one path, and why these."""

    build: Build
    front: tuple[Candidate, ...]
    """Sets that no other set beats in loss, cost and area at once; by score, so the chosen one comes first."""
    chosen_because: str
    nearest_rejected: tuple[Rejected, ...]
    """By score; each would have won, but for one rule: of each rule the best by score and those that miss least."""
    considered: int
    """Sets that were compared."""
    margins: tuple[Margin, ...]
    sense: tuple[SenseTrade, ...]
    banks: tuple[BankWork, ...]

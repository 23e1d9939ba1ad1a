"""Records of transients: what is drawn, what is measured against which limit, and the verdict in words."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from chargewright.base.units import show

if TYPE_CHECKING:
    from chargewright.parts.supply import Supply
    from chargewright.studies.transients.phases import Phase
    from chargewright.studies.transients.product import Product

Floats = npt.NDArray[np.float64]
Side = Literal["above", "below"]
Engine = Literal["switched", "averaged"]

QUANTITIES: dict[str, tuple[str, str]] = {
    "v_bus": ("bus voltage", "V"),
    "v_input": ("stage input voltage", "V"),
    "v_pack": ("pack voltage", "V"),
    "i_pack": ("pack current", "A"),
    "i_source": ("source current", "A"),
    "i_coil": ("coil current", "A"),
    "i_load": ("load current", "A"),
    "duty": ("duty of the regulated leg", "1"),
}
"""What every transient records: name to title and unit. Current into the pack is positive."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Waves:
    """Waveforms over time: mean, least and greatest value of each switching period."""

    t: Floats
    """Middle of each period [s]; the event is at 0."""
    mean: dict[str, Floats]
    low: dict[str, Floats]
    high: dict[str, Floats]
    ruling: npt.NDArray[np.int64]
    """Index of the loop that rules in each period; −1 while the stage stands still."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """What a quantity must not pass; `side` says on which side the trouble is."""

    of: str
    words: str
    value: float
    side: Side


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One number of a transient, with its limit where it has one."""

    key: str
    title: str
    value: float
    unit: str
    limit: float | None = None
    side: Side = "above"
    note: str = ""

    @property
    def passes(self) -> bool:
        """Whether the limit is kept; True without one."""
        if self.limit is None or not np.isfinite(self.limit):
            return True
        return self.value <= self.limit if self.side == "above" else self.value >= self.limit

    def told(self, value: float) -> str:
        """Return its value or its limit as text; the only measures without a unit are counts."""
        return f"{value:.0f}" if self.unit == "1" else show(value, self.unit, 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Script:
    """What is run: phases one after the other, each starting where the one before it ended."""

    phases: "tuple[Phase, ...]" = ()
    supply: "Supply | None" = None
    """Source that is drawn on; the strongest if None."""
    settles: str = "v_bus"
    """Quantity whose settling time is measured."""
    band: float = 0.0
    """Half of the band around its final value that counts as settled, in its unit."""
    settles_from: float = 0.0
    """Instant from which the last event's settling counts, where that is no phase's beginning [s]."""
    judge_bus_from: float = -np.inf
    """Instant from which the bus has to be within its limits [s]."""
    charge_target: float | None = None
    """Pack current that the loops are to hold [A], for its overshoot; None where none is held."""
    setting: str = ""
    """Source, state of charge and loads in words."""
    assumptions: tuple[str, ...] = ()
    why_not: str = ""
    """Why this product cannot meet the transient; then there are no phases."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Transient:
    """One kind of transient, as its file defines it."""

    key: str
    title: str
    what: str
    """What happens, for a reader who was not in the room."""
    cure: str
    """What helps where a limit is passed."""
    drawn: tuple[str, ...]
    """Quantities worth drawing, most telling first."""
    script: "Callable[[Product], Script]"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TransientReport:
    """One transient of one product."""

    key: str
    title: str
    what: str
    setting: str
    drawn: tuple[str, ...]
    loops: tuple[str, ...]
    """Titles of the loops; `waves.ruling` counts in them."""
    events: tuple[tuple[float, str], ...]
    """Instants [s] at which something is done, in words."""
    waves: Waves
    limits: tuple[Limit, ...]
    measures: tuple[Measure, ...]
    verdict: str
    cause: str
    """Why a limit is passed; "" where none is."""
    cure: str
    engine: Engine
    assumptions: tuple[str, ...] = ()

    @property
    def passes(self) -> bool:
        """Whether every limit is kept."""
        return all(m.passes for m in self.measures)

    def measure(self, key: str) -> Measure:
        """Return one measure by its key; raises KeyError."""
        return {m.key: m for m in self.measures}[key]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A transient that this path or product cannot meet, or that could not be run."""

    key: str
    title: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Transients:
    """All transients of one path."""

    path: str
    reports: tuple[TransientReport, ...]
    left_out: tuple[LeftOut, ...] = ()
    assumptions: tuple[str, ...] = ()

    @property
    def passes(self) -> bool:
        """Whether every limit of every transient is kept."""
        return all(r.passes for r in self.reports)

"""What a usage run returns: day by day, by element, over time, and in words."""

from dataclasses import dataclass

import numpy as np

from chargewright.parts.cell import Array
from chargewright.studies.usage.settings import UsageSettings


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Daily:
    """One value for each day; the last day may be cut."""

    e_asked: Array
    """What the rails were asked for [J]."""
    e_load: Array
    """What they were given [J]."""
    e_wall: Array
    """From the wall, with the sources' own losses [J]."""
    e_source: Array
    """At the sources' connectors [J]."""
    e_loss: Array
    """In the product, the pack's own resistance included [J]."""
    e_from_cells: Array
    e_into_cells: Array
    e_supplement: Array
    """From the pack while a source was there [J]."""
    cycles: Array
    """Equivalent full cycles [1]."""
    flips: Array
    """Turns between charge and discharge while a source was there."""
    t_source: Array
    t_unserved: Array
    t_overload: Array
    """Source or pack asked for more than they may lastingly give, served or not [s]."""
    t_blocked: Array
    """Charge kept off by the temperature of the cells [s]."""
    t_tripped: Array
    """Sources plugged in but off because they have tripped [s]."""
    trips: Array
    """How often they trip, each retry that fails among them."""
    t_refused: Array
    """The pack too cold or too hot to give current [s]."""
    v_cell_high: Array
    """Highest cell while charging [V]; 0 where no spread between cells is given, or nothing is charged."""
    soc_low: Array
    soc_high: Array
    soc_end: Array
    temp_low: Array
    """Of the cells [K]."""
    temp_high: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class EnergyLine:
    """One line of the balance of a run."""

    where: str
    cause: str
    side: str
    """ "in", "out" or "loss"."""
    energy: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StateTime:
    """How long a state was in force under a limit [s]."""

    state: str
    limit: str
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened."""

    t: float
    what: str
    soc: float
    source: str
    """ "" without one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UsageTrace:
    """Flows are those of the step that begins at a row; rows are wider apart while a full pack rests."""

    t: Array
    soc: Array
    i_pack: Array
    v_pack: Array
    temp: Array
    p_source: Array
    p_load: Array
    p_loss: Array
    state: tuple[str, ...]
    limit: tuple[str, ...]
    source: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakRisk:
    """The design's load peak in one situation of the run, over the state of charge."""

    source: str
    """ "" for the pack alone."""
    mode: str
    soc: tuple[float, ...]
    v_lowest: tuple[float, ...]
    """Lowest bus during the peak [V]."""
    v_needed: float
    per_day: float
    """Peaks a day that bring the bus below what the rails need: each of them would restart the product."""
    cause: str
    """"" where no peak does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """One thing worth telling, with its cause, in words."""

    key: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UsageRun:
    """Use of one path over days."""

    path: str
    title: str
    settings: UsageSettings
    sources: tuple[str, ...]
    length: float
    steps: int
    daily: Daily
    lines: tuple[EnergyLine, ...]
    times: tuple[StateTime, ...]
    counts: dict[str, int]
    """How often each kind of event happened."""
    events: tuple[Event, ...]
    """The first two thousand of them."""
    trace: UsageTrace
    peaks: tuple[PeakRisk, ...]
    stories: tuple[Story, ...]
    said: tuple[str, ...]
    """What was assumed."""
    soc_start: float
    soc_end: float
    unaccounted: float
    """Largest gap of the balances of path, pack and cells, over the energy that flowed [1]: zero to rounding."""

    @property
    def e_wall(self) -> float:
        """From the wall over the whole run [J]."""
        return float(np.sum(self.daily.e_wall))

    @property
    def e_load(self) -> float:
        """Given to the rails over the whole run [J]."""
        return float(np.sum(self.daily.e_load))

    @property
    def cycles(self) -> float:
        """Equivalent full cycles over the whole run [1]."""
        return float(np.sum(self.daily.cycles))

    @property
    def t_unserved(self) -> float:
        """Time in which a load was not served [s]."""
        return float(np.sum(self.daily.t_unserved))

    @property
    def brown_outs(self) -> float:
        """Peaks of the whole run that bring the bus below what the rails need [1]."""
        return sum(p.per_day for p in self.peaks) * self.length / 86400.0

    def seconds(self, *, state: str | None = None, limit: str | None = None) -> float:
        """Return the time in a state, under a limit, or both [s]."""
        return sum(
            t.seconds for t in self.times if (state is None or t.state == state) and (limit is None or t.limit == limit)
        )

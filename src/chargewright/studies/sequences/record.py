"""What a study of event orders comes to."""

from dataclasses import dataclass
from typing import Literal

from chargewright.base.findings import SEVERITIES, Cure, Severity
from chargewright.sim.sequence import Passage, Standing
from chargewright.sim.sequence_rules import Machine

OutcomeKey = Literal[
    "trip-and-restart",
    "trip-and-return",
    "input-chatter",
    "restart-loop",
    "protection-loop",
    "flapping",
    "reset-with-pack",
    "reset-on-source",
    "latched-off",
    "dead",
    "beyond-rated",
    "pack-beyond",
    "not-settled",
]
OUTCOMES: dict[OutcomeKey, tuple[str, Severity]] = {
    "trip-and-restart": ("source trips, product restarts, without end", "serious"),
    "trip-and-return": ("source trips and recovers without end", "serious"),
    "input-chatter": ("input connects and breaks down without end", "serious"),
    "restart-loop": ("product starts and resets without end", "serious"),
    "protection-loop": ("the pack's protection opens and is woken without end", "serious"),
    "flapping": ("the pack turns between help and rest without end", "caution"),
    "dead": ("product stays dead with its source plugged", "serious"),
    "reset-with-pack": ("product resets with a charged pack fitted", "serious"),
    "latched-off": ("source latches off until it is re-plugged", "caution"),
    "reset-on-source": ("product resets on its source alone", "caution"),
    "beyond-rated": ("source gives more than its rated current for long", "caution"),
    "pack-beyond": ("pack gives more than its lasting current for long", "caution"),
    "not-settled": ("nothing settles and no cycle is proven", "caution"),
}
"""Outcome to its title and severity, worst first."""
_MILDER: dict[Severity, Severity] = {"serious": "caution", "caution": "note"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One bad outcome of one source: the shortest order that leads there."""

    key: OutcomeKey
    source: str
    script: tuple[str, ...]
    contract: bool
    """Whether it needs the default contract, before the wanted one is made."""
    no_pack: bool
    """Whether it happens without a pack, or with one whose protection is open."""
    period: float
    """Of a limit cycle [s]; nan otherwise."""
    i_peak: float
    """Greatest source current [A]."""
    v_low: float
    """Lowest bus while the load was on [V]; inf where it never was."""
    ways: int
    """How many of the transitions tried end so."""
    cause: str
    cure: Cure | None

    @property
    def title(self) -> str:
        """What happens, in a few words."""
        return OUTCOMES[self.key][0]

    @property
    def severity(self) -> Severity:
        """How bad it is; one step milder where no pack is fitted, or its protection is open: that is met less often."""
        full = OUTCOMES[self.key][1]
        return _MILDER.get(full, full) if self.no_pack else full


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """One node of the state graph."""

    script: tuple[str, ...]
    words: str
    standing: Standing
    ending: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """One event between two settled states."""

    start: int
    event: str
    end: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceOrders:
    """All orders on one source."""

    source: str
    contract: str
    machine: Machine
    states: tuple[Settled, ...]
    links: tuple[Link, ...]
    broken_into: int
    """Transitions in which a further event came before all was at rest."""
    orders: int
    length: int
    """Orders of up to so many events are counted."""
    whole: bool
    """Whether every event of every state was tried."""
    unaccounted: float
    """Greatest share of energy that is in none of the lines [1]."""
    outcomes: tuple[Outcome, ...]
    """Worst first."""

    @property
    def cycles(self) -> int:
        """How many of the states are limit cycles."""
        return sum(s.ending == "limit cycle" for s in self.states)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequences:
    """The orders of events of one path."""

    path: str
    sources: tuple[SourceOrders, ...]
    left_out: tuple[str, ...]
    """Sources that were not run, since the budget was spent on weaker ones."""
    assumptions: tuple[str, ...]

    @property
    def outcomes(self) -> tuple[Outcome, ...]:
        """Return every bad outcome, worst first."""
        order = list(OUTCOMES)
        found = (o for s in self.sources for o in s.outcomes)
        return tuple(sorted(found, key=lambda o: (SEVERITIES.index(o.severity), order.index(o.key))))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Leg:
    """One event of a script that was run, with the words for what it led to."""

    word: str
    title: str
    t: float
    """When it came, since the beginning of the script [s]."""
    passage: Passage
    changes: tuple[tuple[float, str], ...]
    """Time since the beginning of the script, and what changed, in words."""

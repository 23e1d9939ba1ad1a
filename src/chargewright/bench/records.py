"""What a test plan is made of: instruments, then steps in the order that protects the hardware."""

from dataclasses import dataclass
from math import isfinite
from typing import Literal

Phase = Literal[
    "before power",
    "sensing",
    "source alone",
    "codes",
    "protections",
    "watts",
    "charge",
    "limits and hand-over",
    "bad days",
]
PHASES: tuple[Phase, ...] = (
    "before power",
    "sensing",
    "source alone",
    "codes",
    "protections",
    "watts",
    "charge",
    "limits and hand-over",
    "bad days",
)
"""In the order of the plan: nothing that can hurt comes before what would have shown the fault gently."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """One instrument of the set-up and how good it has to be."""

    name: str
    range: str
    accuracy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step: what to do, what to measure, what to expect. SI numbers; nan for a step that is seen, not measured."""

    id: str
    """"F3": letter of the phase, in its order, and number."""
    phase: Phase
    title: str
    how: str
    """What to set and to do, in whole sentences."""
    quantity: str
    """What is measured and where, or what has to be seen."""
    expected: float
    low: float
    high: float
    unit: str
    """SI unit of the three numbers; "code" for the word of a register, "" for a step that is seen."""
    basis: str
    """Where the expected value comes from and what is in its band."""
    caution: str
    why: str

    @property
    def measured(self) -> bool:
        """Whether the step ends in a number."""
        return isfinite(self.expected)

    def passes(self, value: float) -> bool:
        """Return whether a measured value lies within the limits."""
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True, kw_only=True)
class TestPlan:
    """What the lab does with the first board."""

    # Not a class of tests, whatever pytest makes of the name.
    __test__ = False

    title: str
    path: str
    """Key of the power path that the plan is for."""
    instruments: tuple[Instrument, ...]
    set_up: tuple[str, ...]
    """What stands and is agreed before the first step, as sentences."""
    cautions: tuple[str, ...]
    steps: tuple[Step, ...]
    left_out: tuple[str, ...]
    """What no step covers, and why."""

    def of(self, phase: Phase) -> tuple[Step, ...]:
        """Return the steps of one phase."""
        return tuple(s for s in self.steps if s.phase == phase)

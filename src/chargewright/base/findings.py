"""A finding: what is wrong or thin in a design, against which limit, why it matters and what would cure it."""

from dataclasses import dataclass
from typing import Literal

Severity = Literal["stop", "serious", "caution", "note"]
SEVERITIES: tuple[Severity, ...] = ("stop", "serious", "caution", "note")
"""From worst to mildest: hardware or cells at risk or the job impossible; fails in the field; thin margin; good to
know."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure:
    """A change that was tried by the solver."""

    change: str
    """What was changed, as a sentence: "raise the bus floor by 0.2 V"."""
    value: float
    """The judged number after the change, in the finding's unit."""
    clears: bool
    """Whether the number then meets the limit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One judgement on a design; `value` and `limit` are SI numbers in `unit`."""

    severity: Severity
    check: str
    """Key of the check that found it."""
    where: str
    """Path, state or part: "direct: blocking pair"."""
    what: str
    """One sentence."""
    value: float
    limit: float
    unit: str
    why: str
    """Why it matters."""
    source: str
    """Standard, book or 'common practice'."""
    cure: Cure | None = None

    @property
    def margin(self) -> float:
        """Distance between limit and value over the limit's size [1]; the sign says nothing of good or bad."""
        return abs(self.limit - self.value) / abs(self.limit) if self.limit else float("inf")


def worst_first(findings: list[Finding]) -> list[Finding]:
    """Return findings sorted by severity, then by place."""
    return sorted(findings, key=lambda f: (SEVERITIES.index(f.severity), f.where))

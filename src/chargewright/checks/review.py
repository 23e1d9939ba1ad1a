"""What a check is, and what it is given: one path of a study, and everything worked out for it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from chargewright.base.findings import Cure, Finding, Severity
from chargewright.network.graph import PowerPath
from chargewright.network.hardware import Hardware
from chargewright.sizing.build import Build
from chargewright.sizing.records import Sizing
from chargewright.studies.charge import ChargePlan
from chargewright.studies.ladder import Ladder
from chargewright.studies.needs import Plan
from chargewright.studies.operate import Operation, operate
from chargewright.studies.sequences.record import Sequences
from chargewright.studies.settings import Settings
from chargewright.studies.situation import Situation
from chargewright.studies.stability import Stability
from chargewright.studies.study import PathStudy, Study
from chargewright.studies.transients.record import Transients


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One design check. The file that defines it is named after its key."""

    key: str
    title: str
    """What it asks, as a statement that a good design fulfils."""
    why: str
    """Why it matters; goes into every finding that says nothing better."""
    source: str
    """Standard, book or 'common practice'."""
    judge: "Callable[[Review], Iterable[Finding]]"

    def finding(
        self,
        severity: Severity,
        where: str,
        what: str,
        *,
        value: float,
        limit: float,
        unit: str,
        why: str = "",
        source: str = "",
        cure: Cure | None = None,
    ) -> Finding:
        """Return a finding of this check."""
        return Finding(
            severity=severity,
            check=self.key,
            where=where,
            what=what,
            value=value,
            limit=limit,
            unit=unit,
            why=why or self.why,
            source=source or self.source,
            cure=cure,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """The path under review: the winner, or the one that came nearest. Made by `review_of`."""

    study: Study
    case: Situation
    plan: Plan
    sizing: Sizing
    hardware: Hardware
    result: PathStudy
    settings: Settings
    ladders: tuple[Ladder, ...]
    charges: tuple[ChargePlan, ...]
    stability: Stability | None = None
    """The loops; None where they were not judged."""
    orders: Sequences | None = None
    """The orders of events; None where they were not run."""
    transients: Transients | None = None
    """What was run in time; None where nothing was."""
    hot: dict[str, Operation] = field(default_factory=dict)
    """Source name to the path at its hottest: busiest load, hot ambient, low edge, at `HOT_SOC`."""

    @property
    def path(self) -> PowerPath:
        """The power path."""
        return self.plan.path

    @property
    def build(self) -> Build:
        """The chosen parts."""
        return self.sizing.build

    @property
    def used(self) -> frozenset[str]:
        """Names of the sources that the day of use counts on."""
        return frozenset(u.source for u in self.case.usage if u.source != "none") or frozenset(self.plan.contracts)

    def at(self, place: str) -> str:
        """Return a finding's place: "direct: blocking pair"."""
        return f"{self.path.key}: {place}"


HOT_SOC = (0.1, 0.5, 0.9)


def subject_of(study: Study) -> PathStudy | None:
    """Return the path to review: the winner, else the one with the fewest failures; None if no path has parts."""
    return next((p for p in study.paths if p.sizing is not None and p.hardware is not None), None)


def review_of(
    study: Study,
    settings: Settings,
    ladders: tuple[Ladder, ...],
    charges: tuple[ChargePlan, ...],
    stability: Stability | None = None,
    orders: Sequences | None = None,
    transients: Transients | None = None,
) -> Review | None:
    """Return the review of a study's subject with what was worked out for it; None if no path has parts."""
    subject = subject_of(study)
    if subject is None or subject.sizing is None or subject.hardware is None:
        return None
    case, chosen, hardware = study.case, subject.plan, subject.hardware
    return Review(
        study=study,
        case=case,
        plan=chosen,
        sizing=subject.sizing,
        hardware=hardware,
        result=subject,
        settings=settings,
        ladders=ladders,
        charges=charges,
        stability=stability,
        orders=orders,
        transients=transients,
        hot={
            name: operate(
                case,
                chosen.path,
                hardware,
                supply,
                soc=HOT_SOC,
                p_load=case.p_busy,
                temp=case.design.ambient.hot,
                edge="low",
            )
            for name, supply in chosen.contracts.items()
        },
    )

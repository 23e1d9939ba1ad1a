"""The dossier: one study with everything that is handed on, in one frozen record. Reports and tables only read it."""

from dataclasses import dataclass

from chargewright.base.findings import Finding
from chargewright.bench.records import TestPlan
from chargewright.dossier.short import short_html, short_text
from chargewright.studies.charge import ChargePlan
from chargewright.studies.ladder import Ladder
from chargewright.studies.outlook import Outlook
from chargewright.studies.sequences.record import Sequences
from chargewright.studies.settings import Settings
from chargewright.studies.stability import Stability
from chargewright.studies.study import Study
from chargewright.studies.transients.record import Transients
from chargewright.studies.transients.steady_wave import SteadyWave


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """A standard or rule that governs; this work defers to it."""

    name: str
    subject: str


@dataclass(frozen=True, slots=True, kw_only=True, repr=False, eq=False)
class Dossier:
    """Everything known of one design. Made by `dossier.make.make_dossier`; tables of it: `dossier.tables.table`."""

    study: Study
    settings: Settings | None
    """Coded set-points of the winner; None if no path is feasible."""
    open_settings: Settings | None
    """The same set-points on a charger of the open Smart Battery Charger Specification; None where that is the design's
    own controller, or no path is feasible."""
    ladders: tuple[Ladder, ...]
    """Protection ladders of the winner."""
    charges: tuple[ChargePlan, ...]
    """The charges that the winner must expect."""
    outlook: Outlook | None
    """What the winner's use comes to over a week, a month and a year; None if no path is feasible."""
    stability: Stability | None
    """The winner's loops; None if no path is feasible, or no loop could be judged."""
    orders: Sequences | None
    """The orders of events of the winner, searched as far as a study's time allows; None if no path is feasible."""
    findings: tuple[Finding, ...]
    """Worst first."""
    test_plan: TestPlan | None
    """None if no path is feasible."""
    cautions: tuple[str, ...]
    standards: tuple[Standard, ...]
    assumptions: tuple[str, ...]
    """What was filled in where the design file says nothing."""
    not_modelled: tuple[str, ...]
    transients: Transients | None = None
    """What happens to the winner in time; None if no path is feasible, its loops could not be judged, or it was not
    run."""
    stage_wave: SteadyWave | None = None
    """Two steady switching periods of the winner's stage, and the stage as a deck for a circuit simulator."""

    def __repr__(self) -> str:
        """Return verdict and ranking; a dossier in full is thousands of numbers."""
        return short_text(self.study, self.findings)

    def _repr_html_(self) -> str:
        """Return what a notebook shows."""
        return short_html(self.study, self.findings)

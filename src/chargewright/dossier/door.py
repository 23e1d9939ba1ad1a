"""The front door for Python: from a design file to its dossier in one call."""

from pathlib import Path

from chargewright.dossier.make import Progress, make_dossier
from chargewright.dossier.record import Dossier
from chargewright.spec.load import load_design
from chargewright.studies.study import study_design

_STUDY_SHARE = 0.8
"""Share of the whole work that the study is; the rest is the dossier."""


def study(path: str | Path, progress: Progress | None = None) -> Dossier:
    """Return everything known of the design in a file: verdict, watts, parts, charge, set-points, findings, test plan.

    progress : told each step that starts, and the share of the work that is done [1]
    Raises ChargewrightError, whose text says what is wrong, where, and what to do.
    """
    tell = progress or (lambda _step, _share: None)
    file = Path(path)
    design = load_design(file)
    found = study_design(design, file, lambda step, share: tell(step, _STUDY_SHARE * share))
    return make_dossier(found, lambda step, share: tell(step, _STUDY_SHARE + (1.0 - _STUDY_SHARE) * share))

"""From a dossier to the document: the chapters in the order in which the questions are asked."""

from pathlib import PurePath

from chargewright.base.version import own_version
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Document
from chargewright.report.chapters import (
    basis,
    bench,
    charge,
    day,
    decision,
    findings,
    orders,
    parts,
    protection,
    reach,
    set_points,
    stability,
    transients,
    use,
    watts,
)

_CHAPTERS = (
    decision,
    watts,
    parts,
    charge,
    day,
    use,
    stability,
    transients,
    orders,
    set_points,
    protection,
    findings,
    reach,
    bench,
    basis,
)


def document_of(dossier: Dossier, date: str = "") -> Document:
    """Return the whole report; `date` is printed as it is given."""
    design = dossier.study.case.design
    found = (room.chapter(dossier) for room in _CHAPTERS)
    return Document(
        title=design.name,
        subtitle=design.notes.strip(),
        date=date,
        made_by=f"Power-path study by Chargewright {own_version()} from {design_file(dossier)}",
        chapters=tuple(c for c in found if c is not None),
    )


def design_file(dossier: Dossier) -> str:
    """Return the name of the design file without its folder."""
    return PurePath(dossier.study.design_file).name

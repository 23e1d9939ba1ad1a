"""One product studied once; the same with names that try to be markup; and one that no path can serve."""

from dataclasses import replace
from pathlib import Path

import pytest

from chargewright.dossier.door import study as study_file
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Document, Picture, pictures_of
from chargewright.report.document import document_of

PRODUCT = """\
name: Report sample
notes: A product for tests.
candidates: [direct-boost, narrow-through, parallel]
sources:
  - {name: adapter, kind: fixed, voltage: 20 V ±5 %, current: 3.25 A, efficiency: 89 %}
pack: {cell: nmc-energy, series: 2, parallel: 1, v_cell_min: 3.1 V}
system:
  load: 14 W
  peak: {power: 70 W, duration: 10 ms}
  boot: 6 W
usage:
  - {mode: work, source: none, duration: 1 h}
  - {mode: work, source: adapter, duration: 23 h}
"""
HOSTILE = "<script>alert(\"1\")</script> #strong[x] \\textbf{y} $z$ *b* _i_ @r `c` // & 'q' ]["
"""A name with what HTML, typst and LaTeX would take for markup."""
FOLDER = "folder-of-this-machine"
"""Part of the path of the design file, which no output may show."""


def studied(folder: Path, text: str = PRODUCT) -> Dossier:
    """Return the dossier of a design file that lies in a folder with a telling name."""
    place = folder / FOLDER
    place.mkdir()
    file = place / "sample.yaml"
    file.write_text(text, encoding="utf-8")
    return study_file(file)


@pytest.fixture(scope="session")
def dossier(tmp_path_factory: pytest.TempPathFactory) -> Dossier:
    """Return the dossier of the sample product."""
    return studied(tmp_path_factory.mktemp("sample"))


@pytest.fixture(scope="session")
def hopeless(tmp_path_factory: pytest.TempPathFactory) -> Dossier:
    """Return the dossier of a product whose load no candidate can carry."""
    text = PRODUCT.replace("load: 14 W", "load: 120 W").replace("power: 70 W", "power: 150 W")
    return studied(tmp_path_factory.mktemp("hopeless"), text)


@pytest.fixture(scope="session")
def hostile(dossier: Dossier) -> Dossier:
    """Return the sample with names and sentences that try to be markup."""
    study = dossier.study
    design = replace(study.case.design, name=HOSTILE, notes=HOSTILE)
    case = replace(study.case, design=design)
    first = replace(dossier.findings[0], where=HOSTILE, what=HOSTILE, why=HOSTILE, source=HOSTILE)
    return replace(
        dossier,
        study=replace(study, case=case),
        findings=(first, *dossier.findings[1:]),
        assumptions=(HOSTILE,),
        cautions=(HOSTILE, *dossier.cautions),
    )


@pytest.fixture(scope="session")
def document(dossier: Dossier) -> Document:
    """Return the sample's report."""
    return document_of(dossier)


@pytest.fixture(scope="session")
def pictures(document: Document) -> dict[str, Picture]:
    """Return the sample's figures by key."""
    return {p.key: p for c in document.chapters for p in pictures_of(c.blocks)}

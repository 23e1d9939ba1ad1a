"""The PDF: it opens, says what the page says, and takes no text for markup."""

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from chargewright.base.units import show
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Document, Picture
from chargewright.report.document import document_of
from chargewright.report.pdf import pdf_bytes, png_bytes, quoted, typst_source
from chargewright.studies.words import verdict_sentence, why_out


def squeezed(text: str) -> str:
    """Return a text without spaces and hyphens at line ends: where lines break is the typesetter's business."""
    return "".join(text.split()).replace("\u00ad", "").replace("-", "").replace("−", "")


@pytest.fixture(scope="module")
def data(document: Document) -> bytes:
    return pdf_bytes(document)


@pytest.fixture
def text_of(need_program: Callable[[str], str], tmp_path: Path) -> Callable[[bytes], str]:
    """Return a function that reads the text of a PDF."""
    program = need_program("pdftotext")

    def read(data: bytes) -> str:
        file = tmp_path / "report.pdf"
        file.write_bytes(data)
        done = subprocess.run([program, "-enc", "UTF-8", str(file), "-"], capture_output=True, check=True, timeout=60)
        return squeezed(done.stdout.decode("utf-8"))

    return read


def test_it_holds_the_decision_the_reasons_and_every_finding(
    data: bytes, dossier: Dossier, text_of: Callable[[bytes], str]
):
    text = text_of(data)
    assert squeezed(verdict_sentence(dossier.study)) in text
    for p in dossier.study.paths:
        for reason in why_out(p):
            assert squeezed(reason[1:]) in text
    for f in dossier.findings:
        # A sentence may be cut by the end of a page: its start is enough.
        assert squeezed(f.what)[:40] in text
    for caution in dossier.cautions:
        assert squeezed(caution)[:40] in text
    for standard in dossier.standards:
        assert squeezed(standard.name) in text


def test_units_stand_behind_the_numbers(data: bytes, dossier: Dossier, text_of: Callable[[bytes], str]):
    text = text_of(data)
    winner = dossier.study.winner
    assert winner is not None
    assert winner.measures is not None
    assert squeezed(show(winner.measures["energy"], "J", 3)) in text
    assert squeezed(show(winner.measures["heat"], "W", 3)) in text


def test_it_is_tagged_and_knows_its_title(data: bytes, need_program: Callable[[str], str], tmp_path: Path):
    file = tmp_path / "report.pdf"
    file.write_bytes(data)
    done = subprocess.run([need_program("pdfinfo"), str(file)], capture_output=True, text=True, check=True, timeout=60)
    facts = dict(line.split(":", 1) for line in done.stdout.splitlines() if ":" in line)
    assert facts["Title"].strip() == "Report sample: power-path study"
    assert facts["Tagged"].strip() == "yes"
    assert 8 <= int(facts["Pages"]) <= 40


def test_each_figure_carries_its_words(document: Document, pictures: dict[str, Picture]):
    source = typst_source(document)
    for p in pictures.values():
        assert quoted(p.alt) in source


def test_names_that_try_to_be_markup_are_printed_as_they_are(hostile: Dossier, text_of: Callable[[bytes], str]):
    text = text_of(pdf_bytes(document_of(hostile)))
    assert text.count(squeezed(hostile.study.case.design.name)) >= 3


def test_a_study_without_a_winner_is_set_too(hopeless: Dossier, text_of: Callable[[bytes], str]):
    assert squeezed(verdict_sentence(hopeless.study)) in text_of(pdf_bytes(document_of(hopeless)))


def test_the_same_study_gives_the_same_bytes(document: Document, data: bytes):
    assert data.startswith(b"%PDF-")
    assert pdf_bytes(document) == data


def test_it_does_not_tell_where_the_design_lies(dossier: Dossier, data: bytes, text_of: Callable[[bytes], str]):
    name = dossier.study.case.folder.name
    assert name.encode() not in data
    assert squeezed(name) not in text_of(data)


def test_a_figure_becomes_a_png_of_twice_its_size(pictures: dict[str, Picture]):
    data = png_bytes(pictures["decision-map"])
    # Portable Network Graphics (ISO/IEC 15948), 5.2 and 11.2.2: signature, then width and height in the IHDR chunk.
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = (int.from_bytes(data[k : k + 4], "big") for k in (16, 20))
    assert (width, height) == (840, 660)


@pytest.mark.parametrize("text", ['a"b', "a\\b", "a\nb", '\\"', "#eval", "\\u{41}"])
def test_a_quoted_text_stays_one_literal(text: str):
    import typst

    source = f'#set page(height: auto)\n#if {quoted(text)}.len() != {len(text.encode())} {{ panic("not the same") }}'
    assert typst.compile(source.encode("utf-8"), format="pdf", ignore_system_fonts=True)

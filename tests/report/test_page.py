"""The HTML page, by what it shows and by what it must not hold."""

import re
from itertools import pairwise

import pytest
from page_reader import Page, read_page

from chargewright.base.units import show
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Document
from chargewright.report.document import document_of
from chargewright.report.html import html_page
from chargewright.report.words import SEVERITY_MARKS
from chargewright.studies.verdict import MEASURES, SMALL_IS_GOOD
from chargewright.studies.words import verdict_sentence, why_out


def flat(text: str) -> str:
    """Return a text with each run of spaces as one."""
    return " ".join(text.split())


@pytest.fixture(scope="module")
def html(document: Document) -> str:
    return html_page(document)


@pytest.fixture(scope="module")
def page(html: str) -> Page:
    return read_page(html)


def test_the_verdict_comes_first_and_has_its_numbers(page: Page, dossier: Dossier):
    sentence = verdict_sentence(dossier.study)
    assert flat(sentence) in page.text
    order = [page.text.index(c.question) for c in document_of(dossier).chapters]
    assert page.text.index(flat(sentence), order[0]) < page.text.index("Where does every watt go? 2", order[1])


def test_every_feasible_path_is_shown_with_all_its_measures(page: Page, dossier: Dossier):
    assert dossier.study.feasible_paths, "the sample has a winner"
    for p in dossier.study.feasible_paths:
        assert p.path.key in page.text
        for name in SMALL_IS_GOOD:
            measure = (p.measures or {})[name]
            text = f"{measure:.3g}" if name == "cost" else show(measure, MEASURES[name][1], 3)
            assert flat(text) in page.text, (p.path.key, name)


def test_every_path_that_is_out_is_shown_with_each_of_its_reasons(page: Page, dossier: Dossier):
    out = [p for p in dossier.study.paths if not p.feasible]
    assert out, "the sample has a candidate that cannot do the job"
    for p in out:
        assert p.path.title in page.text
        assert why_out(p)
        for reason in why_out(p):
            assert flat(reason)[1:] in page.text


def test_every_finding_is_shown_with_number_limit_and_cure(page: Page, dossier: Dossier):
    assert len(dossier.findings) > 5
    for f in dossier.findings:
        assert flat(f.what) in page.text
        assert flat(f.why) in page.text
        assert f"{SEVERITY_MARKS[f.severity]} {f.severity}" in page.text
        if f.unit and f.value == f.value:
            assert flat(show(f.value, f.unit)) in page.text
            assert flat(show(f.limit, f.unit)) in page.text
        if f.cure is not None:
            assert flat(f.cure.change) in page.text


def test_everything_that_limits_the_result_is_said(page: Page, dossier: Dossier):
    for text in (*dossier.cautions, *dossier.assumptions, *dossier.not_modelled):
        assert flat(text) in page.text
    for standard in dossier.standards:
        assert standard.name in page.text
        assert flat(standard.subject) in page.text


def test_set_points_and_test_steps_are_all_there(page: Page, dossier: Dossier):
    assert dossier.settings is not None
    assert dossier.test_plan is not None
    for point in dossier.settings.points:
        assert point.quantity.title in page.text
        assert f"0x{point.bits:04X}" in page.text
    for step in dossier.test_plan.steps:
        assert flat(step.title) in page.text
        assert flat(step.how) in page.text


def test_every_state_of_the_winner_has_its_losses_and_its_picture(page: Page, dossier: Dossier):
    winner = dossier.study.winner
    assert winner is not None
    figures = {t.attributes["id"] for t in page.all("figure")}
    for r in winner.states:
        assert f"figure-flow-{winner.path.key}-{r.key}" in figures
        if r.possible:
            assert flat(show(float(r.p_loss[r.usual]), "W", 3)) in page.text


def test_a_study_without_a_winner_says_so_and_gives_every_reason(hopeless: Dossier):
    assert hopeless.study.winner is None
    page = read_page(html_page(document_of(hopeless)))
    assert flat(verdict_sentence(hopeless.study)) in page.text
    for p in hopeless.study.paths:
        for reason in why_out(p):
            assert flat(reason)[1:] in page.text
    for text in (*hopeless.cautions, *hopeless.not_modelled):
        assert flat(text) in page.text
    for f in hopeless.findings:
        assert flat(f.what) in page.text


def test_nothing_is_fetched_and_nothing_runs(html: str, page: Page):
    # The namespace of SVG is a name, not an address that anything opens.
    rest = html.replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"https?://|//[a-z]+\.", rest)
    assert not re.search(r"\burl\(|@import|\bsrc=|<link|<script|<iframe|javascript:", rest)
    assert not [t for t in page.tags if any(name.startswith("on") for name in t.attributes)]
    assert all(t.attributes["href"].startswith("#") for t in page.all("a") + page.all("use"))


def test_the_page_hangs_together(page: Page):
    assert page.unbalanced == []
    assert len(page.all("h1")) == 1
    assert [t.attributes["lang"] for t in page.all("html")] == ["en"]
    ids = [t.attributes["id"] for t in page.tags if "id" in t.attributes]
    assert len(ids) == len(set(ids)), "an id stands twice"
    for t in page.all("a") + page.all("use"):
        assert t.attributes["href"][1:] in ids


def test_no_heading_skips_a_level(page: Page):
    levels = [int(t.name[1]) for t in page.tags if re.fullmatch("h[1-6]", t.name)]
    assert levels[0] == 1
    assert all(b <= a + 1 for a, b in pairwise(levels))


def test_the_page_can_be_used_without_eyes_and_without_a_mouse(page: Page):
    for t in page.tags:
        if t.attributes.get("class", "").split()[:1] in (["scroll"], ["drawing"]):
            assert t.attributes["tabindex"] == "0"
            assert t.attributes["aria-label"]
    drawings = [t for t in page.all("div") if t.attributes.get("class") == "drawing"]
    assert len(drawings) > 15
    for t in drawings:
        assert t.attributes["role"] == "img"
        assert len(t.attributes["aria-label"]) > 40
        assert re.search("[0-9]", t.attributes["aria-label"]), "the alternative text has no number"
    for t in page.all("svg"):
        assert t.attributes["aria-hidden"] == "true"
    for t in page.all("th"):
        assert t.attributes["scope"] in ("row", "col")
    assert len(page.all("details")) == len(page.all("summary")) > 20
    assert len(page.all("caption")) == len(page.all("table"))


def test_the_page_does_not_tell_where_the_design_lies(html: str, dossier: Dossier):
    assert dossier.study.case.folder.name not in html
    assert "sample.yaml" in html


def test_names_that_try_to_be_markup_are_shown_as_they_are(hostile: Dossier):
    html = html_page(document_of(hostile))
    page = read_page(html)
    assert page.unbalanced == []
    assert not page.all("script")
    assert page.text.count(flat(hostile.study.case.design.name)) >= 6


def test_the_same_study_gives_the_same_page(dossier: Dossier, html: str):
    assert html_page(document_of(dossier)) == html


def test_a_date_changes_nothing_but_itself(dossier: Dossier, html: str):
    dated = html_page(document_of(dossier, "2031-04-05"))
    assert dated != html
    assert dated.replace(", 2031-04-05", "") == html


def test_the_page_does_not_scroll_sideways_by_its_own(html: str):
    # What is wider than a phone scrolls in its own frame: tables and drawings.
    style = html.partition("<style>")[2].partition("</style>")[0]
    assert re.search(r"\.scroll \{ position: relative; overflow-x: auto", style)
    assert re.search(r"\.drawing \{ overflow-x: auto", style)
    page = read_page(html)
    assert all(t.around[-1] == "div" for t in page.all("table"))

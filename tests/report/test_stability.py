"""The chapter about stability, by what it shows, and the tables that go with it."""

import math
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from chargewright.base.units import show
from chargewright.checks.loop_margins import CHECK
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Chapter, KeyNumbers, Table, Verdict, pictures_of
from chargewright.report.chapters.stability import chapter
from chargewright.report.document import document_of
from chargewright.report.record import study_record
from chargewright.studies.loop_words import decibels, thinnest, thinnest_of
from chargewright.studies.stability import Stability


def words_of(block: Any) -> str:
    """Return every word of a chapter or block."""
    if isinstance(block, str):
        return block + " "
    if isinstance(block, tuple):
        return "".join(words_of(part) for part in block)
    names = getattr(block, "__dataclass_fields__", {})
    return "".join(words_of(getattr(block, name)) for name in names if name != "svg")


def table(of: Chapter, start: str) -> Table:
    return next(b for b in of.blocks if isinstance(b, Table) and b.caption.startswith(start))


@pytest.fixture
def found(dossier: Dossier) -> Stability:
    assert dossier.stability is not None
    return dossier.stability


@pytest.fixture
def shown(dossier: Dossier) -> Chapter:
    made = chapter(dossier)
    assert made is not None
    return made


def with_first(dossier: Dossier, **margins: Any) -> Dossier:
    """Return the dossier whose first loop has other margins at its first corner."""
    found = dossier.stability
    assert found is not None
    first = found.loops[0]
    changed: dict[str, Any] = {name: getattr(first.margins, name).copy() for name in margins}
    for name, value in margins.items():
        changed[name][0] = value
    m = replace(first.margins, **changed)
    report = replace(
        first, margins=m, worst=0, worst_corner=first.corners[0], phase_margin=float(np.min(m.phase)), passes=False
    )
    return replace(dossier, stability=replace(found, loops=(report, *found.loops[1:])))


def test_it_stands_behind_the_use_and_before_what_is_set(dossier: Dossier):
    keys = [c.key for c in document_of(dossier).chapters]
    assert keys.index("use") + 1 == keys.index("stability") < keys.index("set-points")


def test_the_verdict_names_the_thinnest_margin_and_its_corner_in_words(shown: Chapter, found: Stability):
    (verdict,) = [b for b in shown.blocks if isinstance(b, Verdict)]
    thin = thinnest(found)
    for part in (thin.name, thin.loop.title, thin.words, thin.loop.corners[thin.corner]):
        assert part in verdict.text


def test_every_loop_has_its_margins_amplifier_and_chart(shown: Chapter, found: Stability):
    rows = {row[0].text: row for row in table(shown, "Margins").rows}
    values = {
        row[0].text.removesuffix(", with the stiffer bus"): row[3].text for row in table(shown, "Amplifiers").rows
    }
    assert set(rows) == set(values) == {r.title for r in found.loops}
    for r in found.loops:
        row = [cell.text for cell in rows[r.title]]
        if r.margins.stable[-1]:
            assert float(row[2].removesuffix("°")) == pytest.approx(math.degrees(r.margins.phase[-1]), abs=0.51)
        assert row[5] == (decibels(float(np.min(r.margins.gain))) if np.all(r.margins.stable) else "–")
        assert row[6] in r.corners
        # Two parts at the least: a zero alone is a resistor and a capacitor.
        assert len(re.findall(r"[0-9.]+ [kM]?Ω", values[r.title])) >= 1
        assert len(re.findall(r"[0-9.]+ [pnµ]F", values[r.title])) >= 1
    keys = {p.key for p in pictures_of(shown.blocks)}
    close = thinnest(found).loop.key
    assert keys == {f"loop-{r.key}" for r in found.loops} | {f"nyquist-{close}", f"margins-{close}", "source-filter"}


def test_each_chart_tells_lines_apart_by_style_and_says_its_numbers(shown: Chapter):
    for picture in pictures_of(shown.blocks):
        if not picture.key.startswith("margins-"):  # a map, whose cells say their numbers
            assert "stroke-dasharray" in picture.svg
        assert re.search(r"\d", picture.alt)
        assert picture.message in picture.alt


def test_it_says_what_it_is_and_what_it_assumes(shown: Chapter, found: Stability):
    text = words_of(shown.blocks)
    assert "small-signal model" in text
    assert "not a proof" in text
    for assumed in found.assumptions:
        assert assumed in text


def test_a_thin_margin_is_told_as_one(dossier: Dossier):
    # 45 degrees are the rule (common practice).
    made = chapter(with_first(dossier, phase=math.radians(31.0)))
    assert made is not None
    verdict = made.blocks[0]
    assert isinstance(verdict, Verdict)
    assert verdict.tone != "plain"
    assert "31°" in verdict.text
    assert "not kept" in words_of(table(made, "Margins"))


def test_a_loop_that_is_not_stable_gets_no_margins(dossier: Dossier):
    made = chapter(with_first(dossier, stable=False))
    assert made is not None
    verdict = made.blocks[0]
    assert isinstance(verdict, Verdict)
    assert verdict.tone == "bad"
    assert "not stable" in verdict.text
    row = [cell.text for cell in table(made, "Margins").rows[0]]
    assert row[4:6] == ["–", "–"]
    numbers = next(b for b in made.blocks if isinstance(b, KeyNumbers))
    assert "not stable" in words_of(numbers)


def test_a_bus_that_only_the_stage_holds_is_told_which_capacitor_it_needs(shown: Chapter, found: Stability):
    # The sample's boosted bus has one 10 µF part, half of which is left under bias, against a load of 14 W to 70 W.
    (cured,) = [r for r in found.loops if r.stiffened is not None]
    assert cured.reverse
    assert cured.stiffened is not None
    verdict = shown.blocks[0]
    assert isinstance(verdict, Verdict)
    assert verdict.text.startswith("Yes, once the bus is stiffer")
    for text in (verdict.text, words_of(shown.blocks)):
        assert show(cured.stiffened.damper.c, "F", 3) in text
        assert cured.title in text


def test_a_winner_whose_loops_could_not_be_judged_says_so(dossier: Dossier):
    made = chapter(replace(dossier, stability=None))
    assert made is not None
    assert "Not known" in words_of(made.blocks)


def test_no_winner_has_no_chapter_and_no_table(hopeless: Dossier):
    assert chapter(hopeless) is None
    assert "loops" not in study_record(hopeless)["tables"]


def test_the_record_holds_the_same_margins_in_radians_and_ratios(dossier: Dossier, found: Stability):
    record = study_record(dossier)
    rows = {row["loop"]: row for row in record["tables"]["loops"]}
    for r in found.loops:
        row = rows[r.key]
        # rel: the record has ten digits.
        assert row["phase_least_rad"] == pytest.approx(float(np.min(r.margins.phase)), rel=1e-9)
        assert row["passes"] is r.passes
    assert record["tables"]["source_filter"][0]["passes"] is found.filter.passes


def test_the_curves_cross_one_where_the_table_says(dossier: Dossier, found: Stability):
    # Second road: the curve's own size there, a cubic through its 50 points a decade; beside a resonance the straight
    # line between two of them is 1 % off.
    curves = study_record(dossier)["curves"]["loop_gains"]
    for r in found.loops:
        own = [k for k, (loop, at) in enumerate(zip(curves["loop"], curves["at"], strict=True))
               if (loop, at) == (r.key, "usual")]  # fmt: skip
        f = np.array([curves["f_Hz"][k] for k in own])
        size = np.log(np.array([curves["gain"][k] for k in own]))
        at_cross = CubicSpline(np.log(f), size)(np.log(r.margins.f_cross[-1]))
        assert abs(at_cross) < 0.01  # 0.1 dB, at a resonance ten times narrower than the points; elsewhere 1e-6


def test_decibels_are_twenty_times_the_logarithm():
    # Definition: a ratio of ten is 20 dB; 1.995 is 6 dB.
    assert decibels(10.0) == "20.0 dB"
    assert decibels(1.99526) == "6.0 dB"
    assert decibels(math.inf) == "unlimited"


def test_a_conditionally_stable_loop_is_judged_by_how_far_its_gain_may_fall(dossier: Dossier):
    # It may fall to 0.8: 1.94 dB, less than 6 dB.
    changed = with_first(dossier, gain_down=0.8).stability
    assert changed is not None
    thin = thinnest_of(changed.loops[0])
    assert thin.name == "margin against falling gain"
    assert thin.words == "1.9 dB"
    assert thin.share == pytest.approx(20.0 * math.log10(1.0 / 0.8) / 6.0, rel=1e-9)


def test_the_check_and_the_chapter_name_the_same_loops(dossier: Dossier, found: Stability):
    told = {f.where for f in dossier.findings if f.check == CHECK.key}
    assert len(told) == sum(not r.passes for r in found.loops) + len(found.not_designed) + (not found.filter.passes)

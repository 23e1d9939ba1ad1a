"""Colours: contrast by the rule of WCAG 2.2, and told apart by readers who see two of the three primaries."""

import re
from itertools import combinations

import numpy as np
import pytest

from chargewright.report.blocks import Document, pictures_of
from chargewright.report.html import html_page
from chargewright.report.palette import DASHES, LETTERS, SERIES, SHADES, themed
from chargewright.report.words import MARKS, SEVERITY_MARKS

NAMES = {s.name: s for s in SHADES}
TEXT = ("ink", "soft", "source", "good", "thin", "bad", "loss", "pack")
"""Colours that words are written in."""
GRAPHIC = ("load", "series-3", "series-4", "series-5", "series-6", *TEXT)
AA_TEXT, AA_GRAPHIC = 4.5, 3.0
"""Least contrast of text and of graphics: W3C, Web Content Accessibility Guidelines 2.2, 1.4.3 and 1.4.11 (AA)."""


def linear(colour: str) -> np.ndarray:
    """Return linear red, green and blue of a colour (WCAG 2.2, definition of relative luminance)."""
    c = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def contrast(a: str, b: str) -> float:
    """Return the contrast ratio of two colours (WCAG 2.2): (L1 + 0.05)/(L2 + 0.05)."""
    bright, dark = sorted((float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (a, b)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def test_the_rule_of_contrast_gives_the_known_values():
    # Black on white is 21 by definition; #767676 is the well-known lightest grey that passes on white, at 4.54.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0, rel=1e-12)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize("name", TEXT)
def test_words_can_be_read_on_paper_and_on_a_wash(name: str, mode: str):
    for ground in ("paper", "wash"):
        assert contrast(getattr(NAMES[name], mode), getattr(NAMES[ground], mode)) >= AA_TEXT, ground


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize("name", GRAPHIC)
def test_lines_and_bars_stand_out_from_the_paper(name: str, mode: str):
    assert contrast(getattr(NAMES[name], mode), getattr(NAMES["paper"], mode)) >= AA_GRAPHIC


# G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, A physiologically-based model for simulation of color vision
# deficiency, IEEE Transactions on Visualization and Computer Graphics 15(6), 2009, table 1, severity 1.0 (from memory).
DICHROMATS = {
    "no red cones": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "no green cones": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
}


@pytest.mark.parametrize("eyes", DICHROMATS)
@pytest.mark.parametrize("pair", [("source", "pack"), ("source", "loss"), ("pack", "load"), ("good", "bad")])
@pytest.mark.parametrize("mode", ["light", "dark"])
def test_what_must_not_be_confused_stays_apart_for_dichromats(eyes: str, pair: tuple[str, str], mode: str):
    # Distance in a gamma-corrected cube; 0.1 is some five times a just noticeable step (common practice).
    seen = [np.clip(DICHROMATS[eyes] @ linear(getattr(NAMES[n], mode)), 0.0, 1.0) ** (1 / 2.4) for n in pair]
    assert float(np.linalg.norm(seen[0] - seen[1])) > 0.1


def test_nothing_is_told_by_colour_alone():
    assert len(set(DASHES)) == len(DASHES) == len(SERIES)
    assert len(set(LETTERS)) == len(LETTERS) >= len(SERIES)
    assert len(set(MARKS.values())) == len(MARKS)
    assert len(set(SEVERITY_MARKS.values())) == len(SEVERITY_MARKS)


def test_colours_of_the_palette_do_not_collide():
    for a, b in combinations(SHADES, 2):
        assert a.light != b.light, (a.name, b.name)


def test_dark_mode_reaches_every_line_of_every_figure(document: Document):
    for chapter in document.chapters:
        for picture in pictures_of(chapter.blocks):
            assert not re.search("#[0-9a-fA-F]{3,8}(?![0-9a-zA-Z-])", themed(picture.svg)), picture.key


def test_the_page_declares_each_colour_in_both_modes(document: Document):
    style = html_page(document).partition("<style>")[2].partition("</style>")[0]
    for shade in SHADES:
        assert f"--{shade.name}: {shade.light};" in style
        assert f"--{shade.name}: {shade.dark};" in style
    assert "prefers-color-scheme: dark" in style

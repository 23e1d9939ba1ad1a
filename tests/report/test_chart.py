"""Axes, ticks and outlines that the figures are made of."""

from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.report.figures._chart import Axis, Panel, axis_of, round_step, tick_text
from chargewright.report.figures._svg import Board, shortened, text_width

SVG = "{http://www.w3.org/2000/svg}"


@given(span=st.floats(1e-9, 1e9), at_most=st.integers(2, 12))
def test_a_round_step_is_round_and_not_too_small(span: float, at_most: int):
    step = round_step(span, at_most)
    assert span / step <= at_most * (1.0 + 1e-9)
    assert f"{step:.6e}"[0] in "125"


@given(spans_off=st.floats(-1e3, 1e3), span=st.floats(1e-3, 1e6), at_most=st.integers(2, 9))
def test_ticks_lie_inside_their_axis_at_equal_steps(spans_off: float, span: float, at_most: int):
    # An axis that is a thousand times as far from zero as it is long is the strangest that a figure could ask for.
    low = spans_off * span
    axis = Axis(label="", low=low, high=low + span)
    ticks = axis.ticks(at_most)
    assert len(ticks) <= at_most + 1
    slack = 1e-6 * span + 1e-9 * abs(low)
    assert all(low - slack <= t <= low + span + slack for t in ticks)
    assert np.allclose(np.diff(ticks), round_step(span, at_most), rtol=1e-6, atol=slack)


@given(value=st.integers(-9999, 9999), exponent=st.integers(-4, 4))
def test_a_tick_says_its_value(value: int, exponent: int):
    step = 10.0**exponent
    text = tick_text(value * step, step).replace("−", "-")
    assert float(text) == pytest.approx(value * step, rel=1e-9, abs=1e-12)


def test_a_log_axis_has_ticks_of_one_two_and_five():
    axis = axis_of("", [3.0, 60.0], log=True)
    assert axis.ticks(6) == [5.0, 10.0, 20.0, 50.0]
    assert axis.share(axis.low) == pytest.approx(0.0, abs=1e-12)
    assert axis.share(axis.high) == pytest.approx(1.0, rel=1e-12)


def test_an_axis_of_equal_values_still_has_a_span():
    axis = axis_of("", [5.0, 5.0])
    assert axis.low < 5.0 < axis.high


def test_text_is_as_wide_as_its_signs():
    # DejaVu Sans: the advance of "M" is 1767 of 2048 units (read from the font's own table, hmtx).
    assert text_width("M", 2048.0) == pytest.approx(1767.0, abs=0.5)
    assert text_width("MM", 10.0) == pytest.approx(2 * text_width("M", 10.0), rel=1e-12)


@given(text=st.text(st.characters(codec="ascii", exclude_categories=["Cc"]), max_size=40), room=st.floats(20.0, 200.0))
def test_a_shortened_text_fits(text: str, room: float):
    assert text_width(shortened(text, 10.0, room), 10.0) <= room + 1e-9


def test_a_name_with_markup_is_escaped_in_a_title():
    board = Board(key="x", width=10.0, height=10.0)
    svg = board.svg('<script>&"')
    assert ElementTree.fromstring(svg).findtext(f"{SVG}title") == '<script>&"'


def test_a_long_line_keeps_its_short_dips(monkeypatch: pytest.MonkeyPatch):
    drawn: list[str] = []
    monkeypatch.setattr(Board, "path", lambda _board, d, **_more: drawn.append(d))
    x, y = np.linspace(0.0, 1.0, 50_000), np.ones(50_000)
    y[31_337] = 0.0
    axis = Axis(label="", low=0.0, high=1.0)
    panel = Panel(
        board=Board(key="b", width=200.0, height=200.0), x=0.0, y=0.0, width=100.0, height=100.0, across=axis, up=axis
    )
    panel.line(x, y)
    (path,) = drawn
    heights = [float(point.split()[1]) for point in path.replace("M", "L").split("L")[1:]]
    assert max(heights) == panel.py(0.0)
    assert len(heights) < 1000


def test_a_bold_title_is_cut_to_the_width_it_has_in_bold():
    words = "The charge over time: Direct path with battery boost, from dock adapter, system at 3 W"
    for bold in (False, True):
        cut = shortened(words, 12.0, 400.0, bold=bold)
        assert cut.endswith("…")
        assert text_width(cut, 12.0, bold=bold) <= 400.0

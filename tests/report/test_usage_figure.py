"""The figure of a usage run: what it names, and that it draws the run's own numbers."""

from pathlib import Path

import pytest

from chargewright.report.figures._svg import Board
from chargewright.report.figures.usage import usage_picture
from chargewright.spec.load import parse_design
from chargewright.studies.one_path import BuiltPath, built_path
from chargewright.studies.usage.run import usage
from chargewright.studies.usage.settings import UsageSettings

DESIGN = """\
name: Bench lamp
sources: [{name: adapter, kind: fixed, voltage: 20 V ±5 %, current: 3.25 A}]
pack: {cell: nmc-energy, series: 2, capacity: 5 Ah}
system: {load: 12 W}
usage:
  - {mode: work, source: adapter, duration: 20 h}
  - {mode: work, source: none, duration: 4 h}
"""


@pytest.fixture(scope="module")
def built() -> BuiltPath:
    return built_path(parse_design(DESIGN, "lamp.yaml"), Path("lamp.yaml"), "direct", lambda _what, _share: None)


def drawn(built: BuiltPath, days: float, monkeypatch: pytest.MonkeyPatch) -> tuple[list[str], int, str]:
    words: list[str] = []
    boxes: list[str] = []
    text, box = Board.text, Board.box
    monkeypatch.setattr(
        Board, "text", lambda self, x, y, said, **more: (words.append(said), text(self, x, y, said, **more))
    )
    monkeypatch.setattr(
        Board, "box", lambda self, *at, fill, **more: (boxes.append(fill), box(self, *at, fill=fill, **more))
    )
    run = usage(built.case, built.plan, built.hardware, built.build, settings=UsageSettings(days=days))
    picture = usage_picture(run)
    assert picture.message.startswith(run.stories[0].text)
    assert picture.svg.startswith("<svg")
    return words, len(boxes), picture.alt


def test_a_day_is_drawn_over_hours(built, monkeypatch):
    words, boxes, alt = drawn(built, 1.0, monkeypatch)
    for label in ("state of charge in %", "power in W", "time in h", "from the source", "to the rails"):
        assert label in words
    assert boxes >= 3  # on the source, on the pack, shut down
    assert "over 24 h" in alt


def test_many_days_are_drawn_day_by_day(built, monkeypatch):
    words, _, alt = drawn(built, 20.0, monkeypatch)
    for label in ("energy a day in Wh", "time in days", "from the wall", "lowest of the day (thin: highest)"):
        assert label in words
    assert "over 20 days" in alt


def test_a_week_is_drawn_as_it_goes_up_and_down_with_the_energy_of_each_day(built, monkeypatch):
    words, _, alt = drawn(built, 7.0, monkeypatch)
    for label in ("energy a day in Wh", "time in days", "from the wall"):
        assert label in words
    assert "lowest of the day" not in words
    assert "over 7 days" in alt

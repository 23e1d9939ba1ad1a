"""The page about orders of events tells what the code does."""

import re

import pytest
from doc_page import ROOT, options_named, options_of, page_of, run_example

from chargewright.sim.sequence_events import EVENTS
from chargewright.studies.sequences.record import OUTCOMES

PAGE = page_of("sequence.md")


def rows(heading: str) -> list[tuple[str, str]]:
    section = PAGE.split(heading)[1].split("\n\n")[0]
    return re.findall(r"^\| `([^`]+)` \| (.+?) \|$", section, flags=re.MULTILINE)


def test_the_page_lists_every_event():
    assert rows("| word | event |") == [(e.word, e.title) for e in EVENTS]


def test_the_page_lists_every_outcome():
    assert rows("| outcome | what it is |") == [(key, title) for key, (title, _) in OUTCOMES.items()]


def test_the_page_s_python_prints_what_the_page_shows(capsys: pytest.CaptureFixture[str], monkeypatch):
    monkeypatch.chdir(ROOT)
    shown = run_example("sequence.md")
    assert capsys.readouterr().out == shown


def test_the_page_s_commands_have_options_that_exist(capsys: pytest.CaptureFixture[str]):
    known, used = options_of("sequence", capsys), options_named("sequence.md")
    assert len(used) >= 5
    assert used <= known

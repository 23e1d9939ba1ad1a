"""The page about orders of events tells what the code does."""

import re
from pathlib import Path

import pytest

from chargewright.cli.main import app
from chargewright.sim.sequence_events import EVENTS
from chargewright.studies.sequences.record import OUTCOMES

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "sequence.md").read_text(encoding="utf-8")


def rows(heading: str) -> list[tuple[str, str]]:
    section = PAGE.split(heading)[1].split("\n\n")[0]
    return re.findall(r"^\| `([^`]+)` \| (.+?) \|$", section, flags=re.MULTILINE)


def test_the_page_lists_every_event():
    assert rows("| word | event |") == [(e.word, e.title) for e in EVENTS]


def test_the_page_lists_every_outcome():
    assert rows("| outcome | what it is |") == [(key, title) for key, (title, _) in OUTCOMES.items()]


def test_the_page_s_python_prints_what_the_page_shows(capsys: pytest.CaptureFixture[str], monkeypatch):
    monkeypatch.chdir(ROOT)
    code = re.search(r"^```python\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)
    assert code
    shown = re.search(r"^```text\n(.*?)^```$", PAGE[code.end() :], flags=re.MULTILINE | re.DOTALL)
    assert shown
    exec(compile(code[1], "docs/sequence.md", "exec"), {})
    assert capsys.readouterr().out == shown[1]


def test_the_page_s_commands_have_options_that_exist(capsys: pytest.CaptureFixture[str]):
    with pytest.raises(SystemExit):
        app(args=["sequence", "--help"], prog_name="chargewright", standalone_mode=True)
    known = set(re.findall(r"--[a-z][a-z-]+", capsys.readouterr().out))
    used = set(re.findall(r"--[a-z][a-z-]+", PAGE))
    assert len(used) >= 5
    assert used <= known

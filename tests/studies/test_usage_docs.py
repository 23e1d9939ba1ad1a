"""The page about use tells what the code does."""

import re
from dataclasses import fields
from pathlib import Path

import pytest

from chargewright.bridges.bdf import REQUIRED
from chargewright.cli.main import app
from chargewright.parts.rail_inputs import C_IN
from chargewright.studies.usage.settings import UsageSettings

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "usage.md").read_text(encoding="utf-8")


def test_the_page_s_python_prints_what_the_page_shows(capsys: pytest.CaptureFixture[str], monkeypatch):
    monkeypatch.chdir(ROOT)
    code = re.search(r"^```python\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)
    assert code
    shown = re.search(r"^```text\n(.*?)^```$", PAGE[code.end() :], flags=re.MULTILINE | re.DOTALL)
    assert shown
    exec(compile(code[1], "docs/usage.md", "exec"), {})
    assert capsys.readouterr().out == shown[1]


def test_the_page_s_commands_have_options_that_exist(capsys: pytest.CaptureFixture[str]):
    with pytest.raises(SystemExit):
        app(args=["usage", "--help"], prog_name="chargewright", standalone_mode=True)
    known = set(re.findall(r"--[a-z][a-z-]+", capsys.readouterr().out))
    used = set(re.findall(r"--[a-z][a-z-]+", PAGE))
    assert len(used) > 8
    assert used <= known


def test_the_defaults_on_the_page_are_those_of_the_settings():
    assert "| 5 %, 2 s |" in PAGE
    assert (UsageSettings().headroom, UsageSettings().dwell) == (0.05, 2.0)
    assert (UsageSettings().restart, UsageSettings().wake, UsageSettings().step) == (60.0, 5.0, 60.0)
    assert (UsageSettings().t_regulate, UsageSettings().t_switch, C_IN) == (50e-6, 20e-6, 10e-6)
    for name in ("headroom", "dwell", "restart", "wake", "step", "enclosure"):
        assert name in {f.name for f in fields(UsageSettings)}
        assert f"`{name}`" in PAGE


def test_the_page_names_the_columns_that_the_format_requires():
    for label in REQUIRED:
        assert f"`{label}`" in PAGE

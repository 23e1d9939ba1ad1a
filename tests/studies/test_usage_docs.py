"""The page about use tells what the code does."""

from dataclasses import fields

import pytest
from doc_page import ROOT, options_named, options_of, page_of, run_example

from chargewright.bridges.bdf import REQUIRED
from chargewright.parts.rail_inputs import C_IN
from chargewright.studies.usage.settings import UsageSettings

PAGE = page_of("usage.md")


def test_the_page_s_python_prints_what_the_page_shows(capsys: pytest.CaptureFixture[str], monkeypatch):
    monkeypatch.chdir(ROOT)
    shown = run_example("usage.md")
    assert capsys.readouterr().out == shown


def test_the_page_s_commands_have_options_that_exist(capsys: pytest.CaptureFixture[str]):
    known, used = options_of("usage", capsys), options_named("usage.md")
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

"""The page about charges tells what the code does."""

import re
from pathlib import Path
from typing import get_args

import pytest

from chargewright.sim.charge import EndedBy

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "charge.md").read_text(encoding="utf-8")


def test_the_page_s_python_prints_what_the_page_shows(capsys: pytest.CaptureFixture[str]):
    code, shown = (
        re.search(rf"^```{language}\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)
        for language in ("python", "text")
    )
    assert code
    assert shown
    exec(compile(code[1], "docs/charge.md", "exec"), {})
    assert capsys.readouterr().out == shown[1]


def test_the_page_names_every_way_to_end():
    for name in get_args(EndedBy):
        assert f"`{name}`" in PAGE

"""The guide to charge and usage names options and files that are there, and its Python prints what it shows."""

import re
from pathlib import Path

import pytest
import typer

from chargewright.bridges.run_tables import usage_tables
from chargewright.cli.main import app

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "charge-and-usage.md").read_text(encoding="utf-8")


def test_the_page_s_python_prints_what_the_page_shows(capsys: pytest.CaptureFixture[str]):
    code = re.search(r"^```python\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)
    assert code
    shown = re.search(r"^```text\n(.*?)^```$", PAGE[code.end() :], flags=re.MULTILINE | re.DOTALL)
    assert shown
    exec(compile(code[1], "docs/charge-and-usage.md", "exec"), {})
    assert capsys.readouterr().out == shown[1]


def test_every_option_and_command_on_the_page_is_there():
    commands = typer.main.get_command(app).commands  # type: ignore[attr-defined]
    there = {o for c in commands.values() for p in c.params for o in p.opts}
    named = set(re.findall(r"--[a-z][a-z-]*", PAGE))
    assert named
    assert named <= there
    assert set(re.findall(r"chargewright ([a-z]+)", PAGE)) <= set(commands)


def test_every_table_of_a_usage_run_is_on_the_page():
    source = Path(usage_tables.__code__.co_filename).read_text(encoding="utf-8")
    tables = re.findall(r'^        "(\w+)": \(', source, flags=re.MULTILINE)
    assert len(tables) == 6
    for name in tables:
        assert f"`{name}.csv`" in PAGE

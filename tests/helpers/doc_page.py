"""What a page of the documentation claims: its first example with what it prints, and the options that it names."""

import re
from pathlib import Path

import pytest

from chargewright.cli.main import app

ROOT = Path(__file__).resolve().parents[2]
_OPTION = r"--[a-z][a-z-]+"


def page_of(name: str) -> str:
    """Return the text of a page."""
    return (ROOT / "docs" / name).read_text(encoding="utf-8")


def run_example(name: str) -> str:
    """Run the first Python block of a page; return what the page says that it prints."""
    page = page_of(name)
    code = re.search(r"^```python\n(.*?)^```$", page, flags=re.MULTILINE | re.DOTALL)
    assert code
    shown = re.search(r"^```text\n(.*?)^```$", page[code.end() :], flags=re.MULTILINE | re.DOTALL)
    assert shown
    exec(compile(code[1], f"docs/{name}", "exec"), {})
    return shown[1]


def options_named(name: str) -> set[str]:
    """Return the options that a page names."""
    return set(re.findall(_OPTION, page_of(name)))


def options_of(command: str, capsys: pytest.CaptureFixture[str]) -> set[str]:
    """Return the options that a command has, by its own help."""
    with pytest.raises(SystemExit):
        app(args=[command, "--help"], prog_name="chargewright", standalone_mode=True)
    return set(re.findall(_OPTION, capsys.readouterr().out))

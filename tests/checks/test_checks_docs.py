"""The page about checks lists what there is, and its example runs."""

import re
from pathlib import Path

from chargewright.base.findings import SEVERITIES
from chargewright.checks import shelf

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "checks.md").read_text(encoding="utf-8")


def test_the_page_lists_every_check_with_its_title_and_source():
    section = PAGE.split("## All checks")[1].split("\n## ")[0]
    listed = re.findall(r"^\| `([^`]+)` \| (.+?) \| (.+?) \|$", section, flags=re.MULTILINE)
    assert listed == [(key, check.title, check.source) for key, check in shelf.all()]


def test_the_page_explains_every_severity():
    for severity in SEVERITIES:
        assert f"| `{severity}` |" in PAGE


def test_the_page_s_python_prints_what_the_page_shows(capsys):
    (code,) = re.findall(r"^```python\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)
    (shown,) = re.findall(r"^```text\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)
    exec(compile(code, "docs/checks.md", "exec"), {})
    assert capsys.readouterr().out == shown

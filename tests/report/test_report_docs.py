"""The page about the report: its examples run, and what it lists is what is written."""

import re
from pathlib import Path

import pytest

import chargewright
from chargewright.dossier.record import Dossier
from chargewright.report.write import write_report

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "report.md").read_text(encoding="utf-8")


def test_the_examples_run_as_they_stand(dossier: Dossier, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    # The study of the shipped example is another test's; here it stands for the one that was made already.
    monkeypatch.setattr(chargewright, "study", lambda _path: dossier)
    monkeypatch.chdir(tmp_path)
    examples = re.findall(r"^```python\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)
    assert len(examples) == 3
    names: dict[str, object] = {}
    for example in examples:
        exec(compile(example, "docs/report.md", "exec"), names)


def test_the_files_listed_are_those_written(dossier: Dossier, tmp_path: Path):
    files = write_report(dossier, tmp_path / "report")
    patterns = re.findall(r"`([^`|]+)`", "".join(re.findall(r"^\| `.*?\|", PAGE, flags=re.MULTILINE)))
    assert len(patterns) == 7
    matched = {f for pattern in patterns for f in files.folder.glob(pattern)}
    written = {f for f in files.folder.rglob("*") if f.is_file() and not f.name.startswith(".")}
    assert matched == written


def test_the_example_that_is_named_is_there():
    for path in re.findall(r"study\(\"([^\"]+)\"\)", PAGE):
        assert (ROOT / path).is_file()

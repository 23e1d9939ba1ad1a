"""The page about Python and the notebook run as they stand."""

import re
import shutil
import sys
from pathlib import Path

import pytest

from chargewright.dossier.tables import NAMES

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "python.md").read_text("utf-8")
NOTEBOOK = ROOT / "examples" / "notebook.ipynb"


@pytest.fixture
def beside_the_example(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder with the tablet's file in it, which is also the current one."""
    shutil.copy(ROOT / "examples" / "tablet.yaml", tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_examples_of_the_page_run_in_order(beside_the_example: Path, capsys: pytest.CaptureFixture[str]):
    scope: dict[str, object] = {}
    for code in re.findall(r"^```python\n(.*?)^```", PAGE, re.M | re.S):
        exec(compile(code, "docs/python.md", "exec"), scope)
    assert "points" in capsys.readouterr().out
    assert (beside_the_example / "tablet-report" / "report.html").is_file()


def test_the_page_names_every_table():
    for name in NAMES:
        assert f"| `{name}` |" in PAGE


def test_what_a_notebook_shows_is_the_verdict(dossier_of):
    d = dossier_of("tablet")
    html, text = d._repr_html_(), repr(d)
    for p in d.study.paths:
        assert p.path.title in html
        assert p.path.title in text
    assert html.count("<tr>") == len(d.study.paths) + 1
    assert len(text.splitlines()) < 20


@pytest.mark.slow
# What the kernel's own libraries leave open or deprecate is not ours to mend.
@pytest.mark.filterwarnings("default")
def test_the_notebook_runs_from_top_to_bottom(beside_the_example: Path):
    import nbformat
    from nbclient import NotebookClient

    notebook = nbformat.read(NOTEBOOK, as_version=4)
    assert not any(cell.get("outputs") for cell in notebook.cells)  # kept without results, so that none is stale
    notebook.metadata.kernelspec = {"name": "python3", "display_name": sys.version, "language": "python"}
    client = NotebookClient(
        notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": str(beside_the_example)}}
    )
    client.execute()
    by_id = {cell["id"]: cell for cell in notebook.cells}
    (shown,) = by_id["study"]["outputs"]
    assert "Slate terminal" in shown["data"]["text/html"]
    assert "<table>" in shown["data"]["text/html"]
    assert any("image/png" in out.get("data", {}) for out in by_id["charge"]["outputs"])
    assert "lasting load" in by_id["reach"]["outputs"][0]["text"]

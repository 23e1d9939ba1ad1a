"""The dossier and the front door for Python, as a notebook sees them."""

import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import chargewright
from chargewright.base.errors import ChargewrightError, SpecError
from chargewright.bench.records import PHASES
from chargewright.dossier.make import make_dossier
from chargewright.dossier.record import Dossier
from chargewright.dossier.tables import NAMES, columns, table

PRODUCT = """\
name: "Sample <b>&"
candidates: [narrow-buck, parallel]
sources:
  - {name: adapter, kind: fixed, voltage: 20 V ±5 %, current: 3.25 A, efficiency: 89 %}
pack: {cell: nmc-energy, series: 2, capacity: 5 Ah, i_discharge_max: 1 C}
system: {load: 12 W, boot: 6 W}
usage:
  - {mode: work, source: none, duration: 1 h}
  - {mode: work, source: adapter, duration: 23 h}
"""
HOPELESS = PRODUCT.replace("20 V ±5 %", "5 V ±5 %").replace("current: 3.25 A", "current: 0.5 A")


@pytest.fixture(scope="module")
def told() -> list[tuple[str, float]]:
    return []


@pytest.fixture(scope="module")
def dossier(tmp_path_factory: pytest.TempPathFactory, told: list[tuple[str, float]]) -> Dossier:
    file = tmp_path_factory.mktemp("product") / "sample.design"
    file.write_text(PRODUCT, encoding="utf-8")
    return chargewright.study(file, progress=lambda step, share: told.append((step, share)))


def test_the_front_door_hands_everything_on(dossier: Dossier):
    assert dossier.study.winner is not None
    assert dossier.settings is not None
    assert dossier.ladders
    assert len(dossier.charges) == 5
    assert dossier.test_plan is not None
    assert dossier.test_plan.path == "narrow-buck"
    assert dossier.assumptions == dossier.study.case.assumptions
    assert dossier.not_modelled


def test_cautions_and_standards_of_the_trade_are_in_it(dossier: Dossier):
    # Outside source: the standards that govern packs, equipment and transport are named, not replaced.
    names = " ".join(s.name for s in dossier.standards)
    for name in ("IEC 62133-2", "IEC 62368-1", "UL 2054", "UN 38.3", "local codes"):
        assert name in names
    assert any("Lithium packs burn" in text for text in dossier.cautions)
    assert any("do not replace" in text for text in dossier.cautions)


def test_progress_rises_from_nothing_to_nearly_all(dossier: Dossier, told: list[tuple[str, float]]):
    shares = [share for _, share in told]
    assert shares[0] == 0.0
    assert shares == sorted(shares)
    assert 0.9 < shares[-1] < 1.0
    assert len({step for step, _ in told}) >= 6


def test_a_dossier_shows_itself_in_a_few_lines(dossier: Dossier):
    text = repr(dossier)
    assert "Sample <b>&" in text
    assert "only path that can do the job" in text
    assert "findings:" in text
    assert len(text.splitlines()) < 12


def test_what_a_notebook_shows_is_escaped(dossier: Dossier):
    shown = dossier._repr_html_()
    assert "Sample &lt;b&gt;&amp;" in shown
    assert "<b>&" not in shown
    assert shown.count("<tr>") == 1 + len(dossier.study.paths)


@pytest.mark.parametrize("name", NAMES)
def test_every_table_is_rows_of_the_same_keys(name: str, dossier: Dossier):
    rows = chargewright.table(dossier, name)
    assert rows
    assert all(list(row) == list(rows[0]) for row in rows)
    found = columns(rows)
    assert all(len(column) == len(rows) for column in found.values())


def test_watts_of_a_state_balance(dossier: Dossier):
    # Conservation: what comes in is what goes out and what is lost, to rounding.
    charging = [r for r in table(dossier, "watts") if r["path"] == "narrow-buck" and r["state"] == "charging"]
    sums = {side: sum(r["p_W"] for r in charging if r["side"] == side) for side in ("in", "out", "loss")}
    assert sums["in"] == pytest.approx(sums["out"] + sums["loss"], rel=1e-9)
    assert sums["loss"] > 0.0


def test_tables_say_what_the_records_say(dossier: Dossier):
    ranking = columns(table(dossier, "ranking"))
    assert ranking["score"][0] == dossier.study.ranking.order[0].total
    assert ranking["energy_J"].dtype == float
    findings = table(dossier, "findings")
    assert [r["what"] for r in findings] == [f.what for f in dossier.findings]
    unmet = [
        r for r in table(dossier, "requirements") if r["path"] == "parallel" and r["weight"] == "must" and not r["met"]
    ]
    assert unmet


def test_columns_keep_numbers_truths_and_texts_apart():
    rows = [{"a": 1, "b": True, "c": "x", "d": None}, {"a": 2.5, "b": False, "c": "y", "d": 4.0}]
    found = columns(rows)
    assert found["a"].dtype == float
    assert found["b"].dtype == bool
    assert found["c"].tolist() == ["x", "y"]
    assert np.isnan(found["d"][0])
    assert columns([]) == {}


def test_an_unknown_table_names_the_nearest(dossier: Dossier):
    with pytest.raises(ChargewrightError, match="did you mean 'findings'"):
        table(dossier, "finding")


def test_a_hopeless_design_still_gets_a_dossier(tmp_path: Path):
    file = tmp_path / "weak.design"
    file.write_text(HOPELESS, encoding="utf-8")
    found = chargewright.study(file)
    assert found.study.winner is None
    assert found.settings is None
    assert found.test_plan is None
    assert found.charges == ()
    assert found.findings[0].severity == "stop"
    assert any(f.check == "no-path" for f in found.findings)
    assert "No path can do the job" in repr(found)
    assert table(found, "test_plan") == []
    assert table(found, "set_points") == []
    assert found._repr_html_()


def test_a_file_that_is_wrong_says_where(tmp_path: Path):
    file = tmp_path / "bad.design"
    file.write_text("name: x\nsauces: []\n", encoding="utf-8")
    with pytest.raises(SpecError, match=r"bad\.design"):
        chargewright.study(file)


def test_a_dossier_can_be_made_again_from_its_study(dossier: Dossier):
    again = make_dossier(dossier.study)
    assert [f.what for f in again.findings] == [f.what for f in dossier.findings]
    assert again is not dossier


def test_importing_the_package_loads_nothing_heavy():
    # The command line has to start quickly, and imports the package first.
    code = "import sys, chargewright; print(any(m in sys.modules for m in ('numpy', 'scipy', 'numba')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.stdout.strip() == "False", done.stderr
    assert {"columns", "study", "table"} <= set(dir(chargewright))


def test_the_package_has_no_other_front_door():
    with pytest.raises(AttributeError, match="studdy"):
        _: Any = chargewright.studdy  # type: ignore[attr-defined]


def test_the_page_s_python_runs(dossier: Dossier, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch):
    page = (Path(__file__).resolve().parents[2] / "docs" / "test-plan.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"^```python\n(.*?)^```$", page, flags=re.MULTILINE | re.DOTALL)
    (shown,) = re.findall(r"^```text\n(.*?)^```$", page, flags=re.MULTILINE | re.DOTALL)
    # The study itself is tested above; here it stands for the page's file.
    monkeypatch.setattr(chargewright, "study", lambda _path: dossier, raising=False)
    exec(compile(code, "docs/test-plan.md", "exec"), {})
    printed = capsys.readouterr().out.splitlines()
    for line, start in zip(printed, shown.splitlines(), strict=True):
        assert line.startswith(start)
        assert " mV to " in line
    for name in NAMES:
        assert f"`{name}`" in page
    for letter, phase in zip("ABCDEFGHI", PHASES, strict=True):
        assert f"| {letter} | {phase} |" in page

"""The page about sizing tells what the code does."""

import re
from pathlib import Path

import pytest

from chargewright.sizing.exchange import WATTS_PER_AREA, WATTS_PER_COST
from chargewright.sizing.pass_elements import OVERSHOOT
from chargewright.sizing.records import Sizing
from chargewright.sizing.sense import AIMS
from chargewright.sizing.stage_rules import ON_TIME_LEAST
from chargewright.sizing.tables import FERRITE_HOT
from chargewright.sizing.task import RANKING_RISE
from chargewright.spec.rules import RulesSpec

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "sizing.md").read_text(encoding="utf-8")


def test_the_page_s_python_runs(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(ROOT)
    names: dict[str, object] = {}
    for code in re.findall(r"^```python\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL):
        exec(compile(code, "docs/sizing.md", "exec"), names)
    said = capsys.readouterr().out
    assert "source-side high switch: 1 × SW" in said
    assert "0.25 A: 1.0% + 0.2% + 4.0%" in said
    assert "0.05 A: 1.0% + 0.2% + 20.0%" in said
    assert "within the aims" in said


def test_the_page_lists_every_field_of_the_result():
    section = PAGE.partition("## What comes back")[2].partition("\n## ")[0]
    assert set(re.findall(r"^\| `(\w+)`", section, flags=re.MULTILINE)) == set(Sizing.__dataclass_fields__)


def test_the_page_s_numbers_are_the_code_s():
    assert f"worth {WATTS_PER_COST} W and a square\ncentimetre {WATTS_PER_AREA * 1e-4} W" in PAGE
    assert f"{OVERSHOOT:.0%} of the rail" in PAGE.replace("115 %", "115%")
    assert f"{ON_TIME_LEAST * 1e9:.0f} ns" in PAGE
    assert f"{FERRITE_HOT:.0%}".replace("%", " %") in PAGE
    assert f"the hot board plus {RANKING_RISE:.0f} K" in PAGE
    assert f"{AIMS['full']:.0%} at full charge current, {AIMS['termination']:.0%}" in PAGE.replace(" %", "%")


def test_every_rule_that_the_page_names_is_a_field_of_the_rules():
    section = PAGE.partition("## Rules")[2].partition("\n## ")[0]
    named = set(re.findall(r"`(\w+)`", section)) - {"i_sat", "rules"}
    assert named <= set(RulesSpec.__dataclass_fields__)

"""The page about the verdict does what it says, and says what there is."""

import re
from dataclasses import fields
from pathlib import Path

import pytest

from chargewright.spec.rules import WeightsSpec
from chargewright.studies.feasible import judge
from chargewright.studies.limits import reach_of

PAGE = (Path(__file__).parents[2] / "docs" / "verdict.md").read_text("utf-8")


def test_the_examples_of_the_page_run_in_order(capsys: pytest.CaptureFixture[str]):
    scope: dict[str, object] = {}
    found = re.findall(r"^```python\n(.*?)^```", PAGE, re.M | re.S)
    assert len(found) >= 6
    for code in found:
        exec(compile(code, "docs/verdict.md", "exec"), scope)
    said = capsys.readouterr().out
    assert "Slate tablet" in said
    assert "finishes-charge" in said


def test_the_page_names_every_requirement_weight_and_edge(bench, twelve):
    b = bench("direct", twelve)
    keys = {r.key for r in judge(b.case, b.plan, b.hardware)}
    keys |= {f.name for f in fields(WeightsSpec)}
    keys |= {e.key for e in reach_of(b.case, b.plan, b.hardware).edges}
    for key in keys:
        assert f"`{key}`" in PAGE, key

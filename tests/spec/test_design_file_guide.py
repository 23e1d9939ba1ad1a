"""The guide to the design file: its examples load, its code runs, its tables are those of the records."""

import re
from pathlib import Path

import pytest

from chargewright.base.errors import SpecError
from chargewright.spec.guide import field_tables
from chargewright.spec.load import parse_design

GUIDE = (Path(__file__).parents[2] / "docs" / "design-file.md").read_text("utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"(?ms)^```{language}\n(.*?)^```$", GUIDE)


@pytest.mark.parametrize("text", blocks("yaml"))
def test_the_examples_of_the_guide_load(text: str):
    assert parse_design(text, "guide").name


def test_the_smallest_example_has_twelve_lines():
    assert len(blocks("yaml")[0].splitlines()) == 12


def test_the_code_of_the_guide_runs(capsys: pytest.CaptureFixture[str]):
    for code in blocks("python"):
        exec(compile(code, "design-file.md", "exec"), {})
    assert capsys.readouterr().out == "3 6.0\n"


def test_the_message_that_the_guide_shows_is_the_one_that_comes():
    text = "\n" * 2 + blocks("yaml")[0].replace("  capacity: 5 Ah", "\n  capacity: 5 Ah\n  v_cell_max: 4200 V")
    with pytest.raises(SpecError) as caught:
        parse_design(text, "radio.design")
    assert f"{caught.value}\n" == blocks("text")[0]


def test_the_tables_are_those_of_the_records():
    # To bring the page up to date: replace all below its "Every key" remark by what field_tables() returns.
    assert GUIDE.endswith(field_tables()), "docs/design-file.md is out of step with the records; see this test"

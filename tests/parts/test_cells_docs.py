"""The page about cells and packs tells what the code does."""

import re
from pathlib import Path

import pytest

from chargewright.parts import cells
from chargewright.parts._grid import TABLE_UNITS
from chargewright.parts.cell_table import CellFacts, from_table

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "cells.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    found = re.findall(rf"^```{language}\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)
    assert found
    return found


SHOWN = re.findall(r"^```python\n(.*?)^```\n\n```text\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)


@pytest.mark.parametrize("number", range(len(blocks("python"))))
def test_the_page_s_python_prints_what_the_page_shows(number: int, capsys: pytest.CaptureFixture[str]):
    code, shown = SHOWN[number]
    exec(compile(code, "docs/cells.md", "exec"), {})
    assert capsys.readouterr().out == shown


def test_the_page_s_table_is_read(tmp_path: Path):
    path = tmp_path / "slab.csv"
    path.write_text(blocks("text")[1], encoding="utf-8")
    cell = from_table(path)
    assert (cell.title, cell.capacity, cell.v_max) == ("Slab cell", 14400.0, 4.35)


def test_the_page_names_every_generic_cell_column_and_fact():
    for name in (*cells.shelf.keys(), *CellFacts.__dataclass_fields__):
        assert f"`{name}`" in PAGE
    for name in ("soc", "temp", "ocv", "docv_dT", "r0", "r0_charge", "r0_discharge", "r1", "tau1", "r3", "tau3"):
        assert name in TABLE_UNITS
        assert f"`{name}`" in PAGE

"""The page about parts tells what the code does."""

import re
from pathlib import Path

import pytest

from chargewright.parts._table import parse_table
from chargewright.parts.catalogue import KINDS
from chargewright.parts.kind import PartKind
from chargewright.parts.sense_resistor import PART as SENSE

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "parts.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    found = re.findall(rf"^```{language}\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)
    assert found
    return found


@pytest.mark.parametrize("part", KINDS, ids=[part.key for part in KINDS])
def test_the_page_lists_every_column_with_reason_and_range(part: PartKind):
    section = PAGE.partition(f"(`{part.table}`)")[2].partition("\n#")[0]
    rows = [line.split(" | ") for line in section.splitlines() if line.startswith("| `")]
    assert [row[0] for row in rows] == [f"| `{column.head}`" for column in part.columns]
    for row, column in zip(rows, part.columns, strict=True):
        assert row[1] == column.info.why
        if column.plain:
            assert row[2].startswith(f"{column.plain.write(column.info.low)} to {column.plain.write(column.info.high)}")
            assert ("may be empty" in row[2]) == (not column.required)


def test_the_page_s_table_is_read():
    (table,) = blocks("csv")
    assert parse_table(table, SENSE, shown="", origin="").record(0).r == pytest.approx(4e-3)


def test_the_page_s_message_is_the_one_that_is_given():
    (table,), (message,) = blocks("csv"), blocks("text")
    with pytest.raises(Exception, match="out of range") as caught:
        parse_table(table.replace(",4,", ",40000,"), SENSE, shown="sense.csv", origin="")
    assert str(caught.value) == message.rstrip()


def test_the_page_s_python_runs(capsys: pytest.CaptureFixture[str]):
    for code in blocks("python"):
        exec(compile(code, "docs/parts.md", "exec"), {})
    assert "IND" in capsys.readouterr().out

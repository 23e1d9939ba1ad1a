"""Tables of numbers: defined once in SI units, written as CSV, and turned into blocks for page and print."""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any, Literal

from chargewright.base.units import WATT_HOURS_FROM, show, show_energy
from chargewright.report.blocks import Cell, Derivation, Table, Tone

Kind = Literal["number", "count", "flag", "text"]
ROW = "row"
"""Unit of a column whose numbers are in the unit that stands in the same row under `unit`."""
_PLAIN_FROM = 2.0
"""Ratio from which `show` writes a plain number; in a column of ratios all are per cent."""
Tones = Callable[[int, str], Tone]
"""Row and column key to what the cell means."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column; `unit` is the SI unit of its numbers, "" for what has none."""

    key: str
    title: str
    unit: str = ""
    digits: int = 3
    kind: Kind = "text"

    @property
    def head(self) -> str:
        """Head of the column in a CSV file: the key with its unit."""
        return key_with_unit(self.key, self.unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class TableForm:
    """What a table holds, without its rows."""

    key: str
    """Name of the CSV file, without ending, and key in the study record."""
    title: str
    columns: tuple[Column, ...]

    def filled(self, rows: Sequence[Sequence[Any]]) -> "DataTable":
        """Return the table with rows; each has a value for every column."""
        assert all(len(row) == len(self.columns) for row in rows), f"{self.key}: a row does not fit its columns"
        return DataTable(key=self.key, title=self.title, columns=self.columns, rows=tuple(tuple(row) for row in rows))


@dataclass(frozen=True, slots=True, kw_only=True)
class DataTable(TableForm):
    """Rows of SI numbers, texts, truths and None."""

    rows: tuple[tuple[Any, ...], ...]


def key_with_unit(key: str, unit: str) -> str:
    """Return a key that names its unit: `p_loss_W`; ratios, counts and texts have none."""
    if unit in ("", "1"):
        return key
    if unit == ROW:
        return f"{key}_SI"
    spelled = unit.replace("/", "_per_").replace("*", "_").replace("1_per_", "per_")
    return f"{key}_{spelled}"


def column(key: str, title: str, unit: str = "", digits: int = 3, *, kind: Kind | None = None) -> Column:
    """Return one column: of numbers if it has a unit, else of text, if nothing else is said."""
    return Column(key=key, title=title, unit=unit, digits=digits, kind=kind or ("number" if unit else "text"))


def table_form(key: str, title: str, columns: Sequence[Column]) -> TableForm:
    """Return the form of a table."""
    return TableForm(key=key, title=title, columns=tuple(columns))


def csv_text(table: DataTable) -> str:
    """Return a table as CSV (RFC 4180 with plain line ends): SI numbers to ten digits, empty where there is none."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([c.head for c in table.columns])
    writer.writerows([[_plain(value) for value in row] for row in table.rows])
    return text.getvalue()


def _plain(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        # A spreadsheet would take a text that starts like this for a formula.
        return f"'{value}" if value.startswith(("=", "+", "-", "@")) else value
    if isinstance(value, int):
        return str(value)
    return f"{float(value):.10g}" if isfinite(value) else ""


def table_block(
    table: DataTable,
    *,
    only: Sequence[str] = (),
    tones: Tones | None = None,
    derivations: Mapping[tuple[int, str], Derivation] | None = None,
    strong: Sequence[int] = (),
    caption: str = "",
    note: str = "",
) -> Table:
    """Return a table as a block.

    only        : keys of the columns to show; none means all
    derivations : by row and column key
    strong      : rows that stand out
    """
    own_units = any(c.unit == ROW for c in table.columns)
    hidden = ("unit",) if own_units else ()
    picked = [(k, c) for k, c in enumerate(table.columns) if (c.key in only if only else c.key not in hidden)]
    unit_at = next((k for k, c in enumerate(table.columns) if c.key == "unit"), 0)
    in_hours = {c.key for k, c in picked if c.unit == "J" and any(_is_large(row[k]) for row in table.rows)}
    rows = []
    for r, row in enumerate(table.rows):
        cells = [
            Cell(
                text=told(row[k], c, str(row[unit_at]) if c.unit == ROW else c.unit, in_hours=c.key in in_hours),
                tone=tones(r, c.key) if tones else "plain",
                strong=r in strong,
                derivation=(derivations or {}).get((r, c.key)),
            )
            for k, c in picked
        ]
        rows.append(tuple(cells))
    return Table(
        caption=caption or table.title,
        heads=tuple(c.title for _, c in picked),
        aligns=tuple("right" if c.kind in ("number", "count") else "left" for _, c in picked),
        rows=tuple(rows),
        note=note,
    )


def _is_large(energy: float | None) -> bool:
    """Say whether a column with such an energy is in Wh throughout."""
    return energy is not None and abs(energy) >= WATT_HOURS_FROM


def told(value: Any, of: Column, unit: str, *, in_hours: bool = False) -> str:
    """Return a value as people read it; a dash where there is none.

    in_hours : whether an energy is told in Wh however small it is
    """
    if value is None or value != value:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str | int):
        return str(value)
    if unit == "1" and abs(value) >= _PLAIN_FROM:
        return f"{100.0 * value:.0f} %".replace("-", "−")
    if in_hours:
        text = show_energy(float(value), of.digits)
    else:
        text = show(float(value), unit, of.digits) if unit else f"{float(value):.{of.digits}g}"
    return text.replace("-", "−")

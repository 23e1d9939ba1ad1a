"""Tables of parts as CSV text.

A table is comma-separated text. Lines that start with `#` are comments; the first other line names the columns,
each with the unit of the plain numbers below it, in any order; every further line is one part:

    # measured in our laboratory at 25 °C
    name, v_max [V], r_on_25 [mohm], ...
    SW 30V 4.8mohm A, 30, 4.8, ...

Which columns there are, their units, ranges and reasons stand in the record of the kind, and nowhere else. All
problems of a file are reported at once.
"""

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from chargewright.base.errors import PartsError, QuantityError
from chargewright.base.near import nearest
from chargewright.base.units import PlainUnit, plain_unit, unit_name
from chargewright.parts.kind import MAX_SHOWN, Catalogue, Column, PartKind, catalogue, shown_problems

R = TypeVar("R")

BUILT_IN = "built-in invented"
"""The origin of the generic parts that come with the package."""

TABLES = Path(__file__).parent / "tables"
MAX_BYTES = 2_000_000
MAX_ROWS = 10_000
_HEAD = re.compile(r"([^\[\]]*?)\s*(?:\[([^\[\]]*)\])?")


@cache
def built_in(part: PartKind[R]) -> Catalogue[R]:
    """Return the generic parts that come with the package; they are invented."""
    return read_table(TABLES / part.table, part, origin=BUILT_IN)


def read_table(path: Path | str, part: PartKind[R], *, origin: str = "") -> Catalogue[R]:
    """Return the parts of one CSV file.

    origin : what the rows say about where they come from; the file's name if empty
    Raises PartsError with every problem of the file: line, column, value, what is accepted.
    """
    path = Path(path)
    return parse_table(_text_of(path, part), part, shown=str(path), origin=origin or path.name)


def parse_table(text: str, part: PartKind[R], *, shown: str, origin: str) -> Catalogue[R]:
    """Return the parts of a table's text; `shown` is what messages call the file. Raises PartsError."""
    rows = _rows(text, shown, part)
    line, head = next(rows, (0, []))
    if not line:
        raise PartsError(f"{shown}\n    is empty; its first line names the columns:\n    {_heads(part)}")
    readers = _readers(head, f"{shown}:{line}", part)
    records: list[R] = []
    problems: list[str] = []
    lines: dict[str, int] = {}
    make: Any = part.record
    for line, cells in rows:
        if len(lines) >= MAX_ROWS:
            raise PartsError(f"{shown}:{line}\n    is part {MAX_ROWS + 1}; a table holds at most {MAX_ROWS}: split it")
        values, wrong = _values(cells, readers, f"{shown}:{line}")
        name = str(values.get("name", f"line {line}"))
        if name in lines:
            wrong.append(
                f"{shown}:{line}  name = {name!r}\n    stands in line {lines[name]} too; give one another name"
            )
        lines.setdefault(name, line)
        problems += wrong
        if not problems:
            records.append(make(**values, origin=origin))
    if problems:
        raise PartsError(shown_problems(problems))
    return catalogue(part, records)


def table_text(parts: Catalogue[Any], comments: Sequence[str] = ()) -> str:
    """Return a catalogue as the text of a table that `parse_table` reads back; the origin is left out."""
    columns = parts.part.columns
    lines = [f"# {comment}" for comment in comments]
    lines.append(",".join(column.head for column in columns))
    lines += [",".join(_cell(getattr(row, c.name), c) for c in columns) for row in parts.records]
    return "\n".join(lines) + "\n"


def _cell(value: Any, column: Column) -> str:
    # The comparison with itself finds nan, which stands for "does not apply".
    if not column.required and (value == column.default or value != value):
        return ""
    if column.plain:
        return column.plain.write(value)
    text = str(value)
    return '"' + text.replace('"', '""') + '"' if re.search(r'[",#]', text) else text


def _text_of(path: Path, part: PartKind[Any]) -> str:
    try:
        with path.open("rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise PartsError(
            f"{path}\n    cannot be read ({reason}); a CSV table of {part.title} parts is wanted"
        ) from error
    if len(raw) > MAX_BYTES:
        raise PartsError(f"{path}\n    is larger than {MAX_BYTES // 1_000_000} MB, the most a table may have; split it")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise PartsError(f"{path}:{line}\n    is not UTF-8 text; save the table as CSV in UTF-8") from error


def _rows(text: str, shown: str, part: PartKind[Any]) -> Iterator[tuple[int, list[str]]]:
    """Yield number and cells of every line that is neither empty nor a comment."""
    for number, line in enumerate(re.split(r"\r\n|\r|\n", text), start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        try:
            cells = next(csv.reader([line], strict=True, skipinitialspace=True))
        except csv.Error as error:
            raise PartsError(
                f"{shown}:{number}\n    cannot be split into cells ({error}); in a table of {part.title} parts commas "
                "separate the cells, each part has one line, and quotes come in pairs"
            ) from error
        yield number, [cell.strip() for cell in cells]


@dataclass(frozen=True, slots=True)
class _Reader:
    column: Column
    plain: PlainUnit | None
    """The unit in the head of this file; None for text."""

    def read(self, cell: str) -> Any:
        """Return the value of a cell; raises QuantityError."""
        info = self.column.info
        if not cell:
            if self.column.required:
                raise QuantityError("the cell is empty", self.accepted)
            return self.column.default
        if self.plain is None:
            if self.column.choices and cell not in self.column.choices:
                close = nearest(cell, self.column.choices)
                hint = f"; did you mean {close!r}?" if close else ""
                raise QuantityError(f"{_short(cell)} is not known", self.accepted + hint)
            if len(cell) > info.max_length or not cell.isprintable():
                raise QuantityError(f"{_short(cell)} is no plain text", self.accepted)
            return cell
        value = self.plain.read(cell)
        slack = 1e-9 * abs(value)  # so that a limit itself, written in the table's unit, passes
        if not info.low - slack <= value <= info.high + slack:
            raise QuantityError(f"{_short(cell)} {self.plain.spelling} is out of range", self.accepted)
        return value

    @property
    def accepted(self) -> str:
        """What a cell may hold."""
        info = self.column.info
        if self.plain:
            low, high = self.plain.write(info.low), self.plain.write(info.high)
            return f"{low} to {high} {self.plain.spelling}, for {info.why}"
        return ", ".join(self.column.choices) or f"up to {info.max_length} characters, for {info.why}"


def _readers(head: list[str], where: str, part: PartKind[Any]) -> list[_Reader]:
    known = {column.name: column for column in part.columns}
    readers: list[_Reader] = []
    problems: list[str] = []
    likely: set[str | None] = set()
    for cell in head:
        match = _HEAD.fullmatch(cell)
        name, spelling = (match[1].strip(), match[2]) if match else (cell, None)
        column = known.get(name)
        try:
            if column is None:
                close = nearest(name, known)
                likely.add(close)
                hint = f"{known[close].head!r}, if that is meant" if close else ", ".join(known)
                raise QuantityError("a column that is not known", hint)
            if name in (r.column.name for r in readers):
                raise QuantityError("a second column of that name", "each column once")
            likely.add(name)
            readers.append(_Reader(column, _unit_of(column, spelling)))
        except QuantityError as error:
            problems.append(f"{where}  {_short(cell)}\n    {error}")
        if len(problems) > MAX_SHOWN:
            break
    missing = [c.head for c in part.columns if c.required and c.name not in likely]
    if missing:
        hint = "; commas separate the columns" if len(head) == 1 else ""
        problems.append(f"{where}\n    columns are missing: {', '.join(missing)}{hint}")
    if problems:
        raise PartsError(shown_problems(problems))
    return readers


def _unit_of(column: Column, spelling: str | None) -> PlainUnit | None:
    if column.plain is None:
        if spelling is not None:
            raise QuantityError("a text does not have a unit", f"the head {column.head!r}")
        return None
    if spelling is None:
        raise QuantityError("the unit is missing", f"a {unit_name(column.info.unit)} with its unit: {column.head!r}")
    return plain_unit(spelling, column.info.unit)


def _values(cells: list[str], readers: list[_Reader], where: str) -> tuple[dict[str, Any], list[str]]:
    if len(cells) != len(readers):
        has = f"has {len(cells)} cells where the first line names {len(readers)} columns"
        return {}, [f"{where}\n    {has}; a decimal comma splits a number: write 4.7, not 4,7"]
    values: dict[str, Any] = {}
    problems: list[str] = []
    for cell, reader in zip(cells, readers, strict=True):
        try:
            values[reader.column.name] = reader.read(cell)
        except QuantityError as error:
            problems.append(f"{where}  {reader.column.name} = {_short(cell)}\n    {error}")
    return values, problems


def _heads(part: PartKind[Any]) -> str:
    return ", ".join(column.head for column in part.columns)


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:40] + "...")

"""Numbers in columns under heads with units: the text form of cell tables."""

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from chargewright.base.errors import PartsError, QuantityError
from chargewright.base.near import nearest
from chargewright.base.units import plain_unit
from chargewright.parts.cell import Array, frozen

MAX_BYTES = 2_000_000
MAX_ROWS = 20_000
_MAX_SHOWN = 8
_BRACKETED = re.compile(r"([a-z0-9_]+?)\s*\[([^\[\]]*)\]", re.IGNORECASE)
_FACT = re.compile(r"([A-Za-z_][A-Za-z0-9_]*)\s*:\s*(.*)")
_IN_HEADS = {"C": "degC", "V_per_K": "V/K", "mV_per_K": "mV/K", "": "1"}
"""Unit spellings that only heads know; a head joined by underscores can't hold a slash, and there C is Celsius."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """A table as arrays in SI, the facts that stand above it, and the line in which each row stands."""

    shown: str
    values: dict[str, Array]
    facts: dict[str, tuple[int, str]]
    """Fact to its line and its text."""
    lines: tuple[int, ...]


def read_columns(path: Path, units: Mapping[str, str]) -> Columns:
    """Return the columns of a table in SI.

    units : every column that may stand in the table, with its SI unit
    The file holds facts ("capacity: 4 Ah"), one a line; then a line of heads, each a name with its unit, "ocv [mV]" or
    "ocv_mV"; then rows of plain numbers. Lines that start with # are comments.
    Raises PartsError with every problem of the file.
    """
    shown = str(path)
    rows, facts = _split(text_of(path, "cell table"), shown)
    if not rows:
        raise PartsError(f"{shown}\n    has no rows; the first must name the columns: {', '.join(units)}")
    (head_line, heads), *body = rows
    if not body:
        raise PartsError(f"{shown}:{head_line}\n    names the columns, but no row of numbers follows")
    readers = [_reader(head, units, f"{shown}:{head_line}") for head in heads]
    names = [name for name, _, _ in readers]
    for name in names:
        if names.count(name) > 1:
            raise PartsError(f"{shown}:{head_line}\n    the column {name!r} stands there more than once")
    numbers: list[list[float]] = []
    problems: list[str] = []
    for line, cells in body:
        if len(cells) != len(heads):
            problems.append(f"{shown}:{line}\n    has {len(cells)} values under {len(heads)} heads")
            continue
        numbers.append([_number(cell, *reader, f"{shown}:{line}", problems) for cell, reader in zip(cells, readers)])  # noqa: B905
    if problems:
        more = [f"... and {len(problems) - _MAX_SHOWN} more"] if len(problems) > _MAX_SHOWN else []
        raise PartsError("\n".join(problems[:_MAX_SHOWN] + more))
    values = {name: frozen([row[k] for row in numbers]) for k, name in enumerate(names)}
    return Columns(shown=shown, values=values, facts=facts, lines=tuple(line for line, _ in body))


def text_of(path: Path, what: str) -> str:
    """Return the text of a user's file; raises PartsError if it can't be read, is too large or is not UTF-8."""
    try:
        with path.open("rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except OSError as error:
        raise PartsError(
            f"{path}\n    cannot be read ({error.strerror}); give the path of a {what}, relative to the design file"
        ) from error
    if len(raw) > MAX_BYTES:
        raise PartsError(f"{path}\n    is larger than {MAX_BYTES // 1_000_000} MB, too much for a {what}")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise PartsError(f"{path}:{line}\n    is not UTF-8 text; save the {what} in UTF-8") from error


def _split(text: str, shown: str) -> tuple[list[tuple[int, list[str]]], dict[str, tuple[int, str]]]:
    facts: dict[str, tuple[int, str]] = {}
    rows: list[tuple[int, list[str]]] = []
    for number, line in enumerate(re.split(r"\r\n|\r|\n", text), start=1):
        stripped = line.strip()
        if not stripped or stripped.startswith("#"):
            continue
        fact = _FACT.fullmatch(stripped) if not rows else None
        if fact:
            if fact[1] in facts:
                raise PartsError(f"{shown}:{number}\n    {fact[1]} stands in line {facts[fact[1]][0]} already")
            facts[fact[1]] = (number, fact[2].strip())
            continue
        if len(rows) > MAX_ROWS:
            raise PartsError(f"{shown}\n    has more than {MAX_ROWS} rows; thin the table out")
        try:
            rows.append((number, [cell.strip() for cell in next(csv.reader([line], strict=True))]))
        except csv.Error as error:
            raise PartsError(f"{shown}:{number}\n    cannot be split into values ({error}); use commas") from error
    return rows, facts


def _reader(head: str, units: Mapping[str, str], where: str) -> tuple[str, float, float]:
    """Return the column's name, and scale and offset from its plain numbers to SI."""
    bracketed = _BRACKETED.fullmatch(head)
    if bracketed:
        name, spelling = bracketed[1], bracketed[2].strip()
    else:
        name = max((n for n in units if head == n or head.startswith(n + "_")), key=len, default=head)
        spelling = head[len(name) + 1 :]
    if name not in units:
        close = nearest(name, units)
        hint = f"did you mean {close!r}?" if close else f"known: {', '.join(units)}"
        raise PartsError(f"{where}\n    the column {head!r} is not known; {hint}")
    unit = units[name]
    spelling = _IN_HEADS.get(spelling, spelling)
    if spelling == unit:
        return name, 1.0, 0.0
    try:
        plain = plain_unit(spelling, unit)
    except QuantityError as error:
        raise PartsError(f"{where}\n    the column {head!r}: {error}") from error
    return name, plain.scale, plain.offset


def _number(text: str, name: str, scale: float, offset: float, where: str, problems: list[str]) -> float:
    try:
        value = float(text) * scale + offset
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e12:
        problems.append(f"{where}  {name} = {text[:40]!r}\n    is not a plain number, like 4.7 or 1e-3")
    return value

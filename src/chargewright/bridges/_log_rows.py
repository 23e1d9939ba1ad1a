"""The rows of a load log: many lines to numbers at once, and line by line where something is wrong with them."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import QuantityError
from chargewright.bridges._log_head import SEPARATORS, Column, Head

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Rows that can be used, SI, and those that cannot."""

    t: Floats
    p: Floats
    source: list[str] | None
    line: npt.NDArray[np.int64]
    """Number of the line in the file of each row."""
    bad: list[tuple[int, str]]
    """Number of the line, and what is wrong with it."""
    decimal_commas: bool


def rows_of(lines: list[str], first: int, head: Head) -> Rows:
    """Return the rows of lines, of which the first one has the number `first`."""
    quick = None if head.clock else _quick(lines, first, head)
    return quick or _slow(lines, first, head)


def _quick(lines: list[str], first: int, head: Head) -> Rows | None:
    """Return the rows by numpy's own reader; None where any line is not plain."""
    columns = [c for c in head.columns.values() if c.unit is not None]
    commas = head.separator != "," and any("," in line for line in lines[:50])
    text = [line.replace(",", ".") for line in lines] if commas else lines
    if any(line.count(head.separator) != head.fields - 1 for line in text):
        return None
    try:
        found = np.loadtxt(
            text, delimiter=head.separator, usecols=[c.place for c in columns], comments=None, ndmin=2, dtype=float
        )
    except ValueError:
        return None
    if len(found) != len(lines) or not np.all(np.isfinite(found)):
        return None
    values = {c.role: _scaled(c, found[:, k]) for k, c in enumerate(columns)}
    line = np.arange(first, first + len(lines))
    source = None
    if "source" in head.columns:
        place = head.columns["source"].place
        source = [_name(row.split(head.separator)[place]) for row in lines]
    return Rows(t=values["time"], p=_power(values), source=source, line=line, bad=[], decimal_commas=commas)


def _name(cell: str) -> str:
    return cell.strip().strip('"').strip()


def _scaled(column: Column, values: Floats) -> Floats:
    assert column.unit is not None, "columns of numbers have a unit"
    return np.asarray(values * column.unit.scale + column.unit.offset)


def _power(values: dict[str, Floats]) -> Floats:
    return values["power"] if "power" in values else values["current"] * values["voltage"]


def _slow(lines: list[str], first: int, head: Head) -> Rows:
    numbers: list[int] = []
    values: dict[str, list[float]] = {role: [] for role in head.columns if role != "source"}
    source: list[str] | None = [] if "source" in head.columns else None
    bad: list[tuple[int, str]] = []
    commas = False
    for number, line in enumerate(lines, start=first):
        if not line.strip():
            continue
        cells = line.rstrip("\r\n").split(head.separator)
        if len(cells) != head.fields:
            bad.append((number, _field_count(line, cells, head)))
            continue
        commas |= head.separator != "," and "," in line
        try:
            row = {role: _number(cells[c.place], c, head) for role, c in head.columns.items() if role != "source"}
        except QuantityError as error:
            bad.append((number, str(error.found)))
            continue
        numbers.append(number)
        for role, value in row.items():
            values[role].append(value)
        if source is not None:
            source.append(_name(cells[head.columns["source"].place]))
    arrays = {role: np.array(column, dtype=float) for role, column in values.items()}
    return Rows(
        t=arrays["time"],
        p=_power(arrays),
        source=source,
        line=np.array(numbers, dtype=np.int64),
        bad=bad,
        decimal_commas=commas,
    )


def _field_count(line: str, cells: list[str], head: Head) -> str:
    for other, name in SEPARATORS.items():
        if other != head.separator and line.count(other) == head.fields - 1:
            return f"fields are kept apart by {name}, in the head by {SEPARATORS[head.separator]}"
    return f"{len(cells)} field{'' if len(cells) == 1 else 's'} where the head has {head.fields}"


def _number(cell: str, column: Column, head: Head) -> float:
    text = cell.strip().strip('"').strip()
    if text == "":
        raise QuantityError(f"{column.head!r} is empty", "a number")
    if column.unit is None:
        try:
            return datetime.fromisoformat(text).timestamp() if _has_zone(text) else _wall_clock(text)
        except ValueError:
            raise QuantityError(f"{text[:30]!r} is not a date with a time of day", "2026-01-31T08:00:00") from None
    if head.separator != "," and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        raise QuantityError(f"{column.head!r} is {text[:20]!r}, not a plain number", "a number") from None
    if not np.isfinite(value):
        raise QuantityError(f"{column.head!r} is {text!r}", "a finite number")
    return value * column.unit.scale + column.unit.offset


def _has_zone(text: str) -> bool:
    return text.endswith("Z") or "+" in text or text.count("-") > 2


def _wall_clock(text: str) -> float:
    """Return seconds of a time without a zone, every day taken as 24 hours long."""
    return (datetime.fromisoformat(text) - datetime(1970, 1, 1)).total_seconds()

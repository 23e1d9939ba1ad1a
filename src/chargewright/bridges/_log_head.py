"""The head of a load log: which column is which, in which unit, and how the fields of a row are kept apart."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from chargewright.base.errors import LogError, QuantityError
from chargewright.base.units import PlainUnit, plain_unit

ROLES = {"time": "s", "power": "W", "current": "A", "voltage": "V", "source": ""}
"""What a column may be, and its SI unit."""
_NAMES = {
    "time": r"(elapsed |test )?time|t|timestamp|date|date ?time",
    "power": r"(load |system )?power|p|load|p[ _].*",
    "current": r"(load |system )?current|i|i[ _].*",
    "voltage": r"(load |system |bus )?voltage|v|u|[vu][ _].*",
    "source": r"source",
}
_WITH_UNIT = re.compile(r"(.*?)\s*(?:\[([^\[\]]+)\]|\(([^()]+)\)|\s/\s*(\S+)|_([A-Za-zµμ]+))")
SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column that is used."""

    role: str
    place: int
    head: str
    unit: PlainUnit | None
    """None for the names of sources, and for times of day."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """How a log is laid out."""

    separator: str
    fields: int
    columns: dict[str, Column]
    clock: bool
    """Whether times are dates with times of day (ISO 8601)."""


def read_head(line: str, first_row: str, where: str, columns: Mapping[str, str], units: Mapping[str, str]) -> Head:
    """Return the layout of a log from its head and its first row.

    columns : role to the head of its column, where that is not to be guessed from its name
    units   : role to unit, for heads without one
    Raises LogError.
    """
    for role in (*columns, *units):
        if role not in ROLES:
            raise LogError(f"{where}: no column is used as {role!r}; columns can be {', '.join(ROLES)}")
    separator = _separator(line, first_row, where)
    heads = [h.strip().strip('"').strip() for h in line.split(separator)]
    if all(_is_number(h) for h in heads):
        raise LogError(
            f"{where}: the first line holds numbers. It has to name the columns with their units, "
            "like 'time [s],power [W]'"
        )
    doubled = sorted({h for h in heads if heads.count(h) > 1 and h})
    if doubled:
        raise LogError(f"{where}: two columns are called {doubled[0]!r}; give each its own name")
    cells = first_row.split(separator)
    found: dict[str, Column] = {}
    clock = False
    for role in ROLES:
        place = _place(role, heads, where, columns)
        if place is None:
            continue
        cell = cells[place].strip().strip('"') if place < len(cells) else ""
        if role == "source":
            found[role] = Column(role=role, place=place, head=heads[place], unit=None)
        elif role == "time" and re.match(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d", cell):
            clock = True
            found[role] = Column(role=role, place=place, head=heads[place], unit=None)
        else:
            unit = _unit(role, heads[place], where, units)
            found[role] = Column(role=role, place=place, head=heads[place], unit=unit)
    return Head(separator=separator, fields=len(heads), columns=_needed(found, heads, where), clock=clock)


def _separator(line: str, row: str, where: str) -> str:
    fitting = [s for s in SEPARATORS if s in line and line.count(s) == row.count(s)]
    if fitting:
        # A head like "power [W]; total, all rails" has both: the one with more fields, and a semicolon before a comma.
        return max(fitting, key=lambda s: (line.count(s), s != ","))
    inside = [s for s in SEPARATORS if s in line]
    if not inside:
        raise LogError(f"{where}: the head {line[:60]!r} names one column; time and power are needed, a comma between")
    counts = ", ".join(f"{line.count(s)} {SEPARATORS[s]} in the head, {row.count(s)} in the row" for s in inside)
    raise LogError(f"{where}: head and first row do not have the same number of fields: {counts}")


def _place(role: str, heads: list[str], where: str, columns: Mapping[str, str]) -> int | None:
    if role in columns:
        wanted = columns[role].strip()
        if wanted in heads:
            return heads.index(wanted)
        bare = [_split(h)[0] for h in heads]
        if wanted in bare:
            return bare.index(wanted)
        raise LogError(f"{where}: no column is called {wanted!r}; there are {', '.join(repr(h) for h in heads)}")
    fitting = [k for k, h in enumerate(heads) if re.fullmatch(_NAMES[role], _split(h)[0].strip().lower())]
    if len(fitting) > 1 and role != "source":
        names = " and ".join(repr(heads[k]) for k in fitting)
        raise LogError(f"{where}: {names} could each be the {role}; say which one with a column mapping for {role!r}")
    return fitting[0] if fitting else None


def _split(head: str) -> tuple[str, str]:
    """Return name and unit of a head: "Power [W]", "Power (W)", "Power / W", "p_load_W"."""
    match = _WITH_UNIT.fullmatch(head)
    if match is None:
        return head, ""
    return match[1], next(g for g in match.groups()[1:] if g is not None).strip()


def _unit(role: str, head: str, where: str, units: Mapping[str, str]) -> PlainUnit:
    spelling = units.get(role) or _split(head)[1]
    if not spelling:
        raise LogError(
            f"{where}: the column {head!r} has no unit. Write it into the head, like '{head} [{ROLES[role]}]', "
            f"or give the unit of {role!r} (--unit {role}={ROLES[role]})"
        )
    try:
        return plain_unit(spelling, ROLES[role])
    except QuantityError as error:
        raise LogError(f"{where}: the column {head!r}: {error}") from None


def _needed(found: dict[str, Column], heads: list[str], where: str) -> dict[str, Column]:
    there = ", ".join(repr(h) for h in heads)
    if "time" not in found:
        raise LogError(f"{where}: no column of times among {there}; name it, or map it as 'time'")
    if "power" in found:
        return {k: v for k, v in found.items() if k in ("time", "power", "source")}
    if not {"current", "voltage"} <= set(found):
        raise LogError(
            f"{where}: neither a column of power nor columns of current and voltage among {there}; name them, or map "
            "them as 'power', 'current', 'voltage'"
        )
    return found


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[+-]?[\d.,]+([eE][+-]?\d+)?", text) is not None

"""What a kind of part is, and a catalogue of parts that is rows and columns at once."""

from collections.abc import Iterable, Iterator
from dataclasses import MISSING, dataclass, fields
from functools import cache
from typing import Any, Generic, Literal, TypeVar, cast, get_args, get_origin, get_type_hints

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import PartsError
from chargewright.base.near import nearest
from chargewright.base.units import PlainUnit, plain_unit
from chargewright.spec.fields import KEY, Info

R = TypeVar("R")

MAX_SHOWN = 12
"""Problems of one file that a message shows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartKind(Generic[R]):
    """One kind of part: its record states the columns of its table (`spec.fields.quantity` and `text`)."""

    key: str
    title: str
    record: type[R]
    """Frozen dataclass with `name` and `origin`; a field with a default may be left out of a table, or left empty."""
    table: str
    """File name of the built-in table."""

    @property
    def columns(self) -> tuple["Column", ...]:
        """The columns of a table, in the order of the record."""
        return _columns(cast(Any, self.record))


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a table, as the field of the record states it."""

    name: str
    info: Info
    default: Any
    """What an empty cell means; MISSING if the cell must be filled."""
    choices: tuple[str, ...]
    """The only texts accepted; empty for numbers and free text."""
    plain: PlainUnit | None
    """The unit in which we write the column, that of the field's example; None for text."""

    @property
    def head(self) -> str:
        """The column's head as we write it: "r_on_25 [mohm]"."""
        return f"{self.name} [{self.plain.spelling}]" if self.plain else self.name

    @property
    def required(self) -> bool:
        """Whether every part has to have it."""
        return self.default is MISSING


@cache
def _columns(record: type[Any]) -> tuple[Column, ...]:
    hints = get_type_hints(record)
    found = []
    for field in fields(record):
        if field.name == "origin":
            continue
        info: Info = field.metadata[KEY]
        choices = get_args(hints[field.name]) if get_origin(hints[field.name]) is Literal else ()
        plain = plain_unit(info.example.partition(" ")[2] or "1", info.unit) if info.unit else None
        found.append(Column(name=field.name, info=info, default=field.default, choices=choices, plain=plain))
    return tuple(found)


@dataclass(frozen=True, slots=True, eq=False)
class Catalogue(Generic[R]):
    """Parts of one kind, as records and as columns over all of them. Made by `catalogue` or by reading a table."""

    part: PartKind[R]
    records: tuple[R, ...]
    columns: dict[str, npt.NDArray[Any]]
    """Column name to a read-only array with one value per part."""

    def __len__(self) -> int:
        return len(self.records)

    def __iter__(self) -> Iterator[R]:
        return iter(self.records)

    def column(self, name: str) -> npt.NDArray[Any]:
        """Return one column in SI, over all parts; read-only. "origin" says where each row comes from."""
        if name not in self.columns:
            close = nearest(name, self.columns)
            hint = f"did you mean {close!r}?" if close else f"known: {', '.join(self.columns)}"
            raise PartsError(f"{self.part.title} parts have no column {name!r}; {hint}")
        return self.columns[name]

    def record(self, index: int) -> R:
        """Return one part."""
        return self.records[index]

    def named(self, name: str) -> R:
        """Return the part of that name; raises PartsError that gives the nearest."""
        names = [str(n) for n in self.column("name")]
        if name not in names:
            close = nearest(name, names)
            raise PartsError(
                f"no {self.part.title} is called {name!r}" + (f"; did you mean {close!r}?" if close else "")
            )
        return self.records[names.index(name)]

    def where(self, mask: npt.ArrayLike) -> "Catalogue[R]":
        """Return the parts for which a mask over all parts is true, in the same order."""
        chosen = np.asarray(mask)
        if chosen.dtype != np.bool_ or chosen.shape != (len(self),):
            raise PartsError(f"a choice among {len(self)} {self.part.title} parts needs one yes or no for each of them")
        picked = {name: _frozen(values[chosen]) for name, values in self.columns.items()}
        return Catalogue(self.part, tuple(self.records[i] for i in np.flatnonzero(chosen)), picked)

    def merged(self, other: "Catalogue[R]") -> "Catalogue[R]":
        """Return these parts followed by the other's; raises PartsError if a name stands in both."""
        origins = dict(zip(self.column("name"), self.column("origin"), strict=True))
        twice = [
            f"{origin}  name = {str(name)!r}\n    stands in {origins[name]} too; give yours another name"
            for name, origin in zip(other.column("name"), other.column("origin"), strict=True)
            if name in origins
        ]
        if twice:
            raise PartsError(shown_problems(twice))
        return catalogue(self.part, self.records + other.records)


def catalogue(part: PartKind[R], records: Iterable[R]) -> Catalogue[R]:
    """Return the catalogue of some records."""
    rows = tuple(records)
    kinds = {c.name: (np.float64 if c.plain else np.str_) for c in part.columns} | {"origin": np.str_}
    columns = {
        name: _frozen(np.array([getattr(row, name) for row in rows], dtype=cast(Any, kind)))
        for name, kind in kinds.items()
    }
    return Catalogue(part, rows, columns)


def shown_problems(problems: list[str]) -> str:
    """Return the problems of one file as one message, the first dozen in full."""
    more = len(problems) - MAX_SHOWN
    rest = [f"... and {more} more problem{'s' if more > 1 else ''} of the same file"] if more > 0 else []
    return "\n".join(problems[:MAX_SHOWN] + rest)


def _frozen(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
    values.setflags(write=False)
    return values

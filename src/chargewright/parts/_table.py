"""Part kinds, their tables as CSV text, and a catalogue that is rows and columns at once."""

from dataclasses import dataclass
from typing import Generic, TypeVar

R = TypeVar("R")


@dataclass(frozen=True, slots=True, kw_only=True)
class PartKind(Generic[R]):
    """One kind of part: its record states the columns of its table (`spec.fields.quantity` and `text`)."""

    key: str
    title: str
    record: type[R]
    """Frozen dataclass; a field with a default may be left out of a table, or its cell left empty."""
    table: str
    """File name of the built-in table."""

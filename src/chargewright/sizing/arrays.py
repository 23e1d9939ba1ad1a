"""Records of arrays over one set of rows: take some of the rows, or put several records one after another."""

from collections.abc import Sequence
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

import numpy as np

R = TypeVar("R")


def taken(record: R, rows: Any) -> R:
    """Return a record with some rows of every array in it, nested records and tuples of them included."""
    found: R = _mapped([record], lambda arrays: arrays[0][rows])
    return found


def joined(records: Sequence[R]) -> R:
    """Return one record with the rows of all; what is no array is taken from the first."""
    found: R = _mapped(records, np.concatenate)
    return found


def _mapped(records: Sequence[Any], change: Any) -> Any:
    first = records[0]
    if isinstance(first, np.ndarray):
        return change(records)
    if isinstance(first, tuple):
        return tuple(_mapped(column, change) for column in zip(*records, strict=True))
    if is_dataclass(first) and not isinstance(first, type):
        names = [f.name for f in fields(first)]
        return replace(first, **{n: _mapped([getattr(r, n) for r in records], change) for n in names})
    return first

"""Some of the points of a record whose arrays have one row for each."""

from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any

import numpy as np


def taken(x: Any, which: Any) -> Any:
    """Return a record with only the chosen points; numbers that hold for all points stay as they are."""
    if isinstance(x, np.ndarray):
        return x[which] if x.ndim == 2 and len(x) > 1 else x
    kind: Any = type(x)
    names = _field_names(kind)
    return kind(**{name: taken(getattr(x, name), which) for name in names}) if names else x


@cache
def _field_names(kind: Any) -> tuple[str, ...]:
    """Return the fields of a kind of record; none for a plain number."""
    if is_dataclass(kind):
        return tuple(f.name for f in fields(kind))
    return tuple(getattr(kind, "_fields", ()))

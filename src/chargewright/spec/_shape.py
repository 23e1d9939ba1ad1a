"""The shape of a design file, read from its records: which keys a group has and what may stand under each.

Loader, schema, starter file and docs walk over these shapes, so that a new field of a record is known to all of them.
"""

from dataclasses import MISSING, dataclass, fields, is_dataclass, replace
from functools import cache
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from chargewright.base.units import Toleranced
from chargewright.spec.fields import KEY, Info, Rated

Form = Literal["number", "whole", "band", "rated", "flag", "choice", "text", "group"]

_FORMS: dict[Any, Form] = {float: "number", int: "whole", Toleranced: "band", Rated: "rated", bool: "flag", str: "text"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """One key of a group."""

    key: str
    info: Info
    form: Form
    many: bool
    """Whether a list of such is meant."""
    default: Any
    """The value where the key is left out; MISSING if it has to be given."""
    choices: tuple[str, ...] = ()
    records: tuple[type, ...] = ()
    """For a group: its record, or several records told apart by the key `kind`."""

    @property
    def must_be_given(self) -> bool:
        """Whether the key has to stand in the file; `kind` always has to, so that it is never guessed."""
        return self.default is MISSING or self.key == "kind"


@cache
def shapes_of(record: type) -> tuple[Shape, ...]:
    """Return the keys of a record in the order in which it declares them."""
    hints = get_type_hints(record)
    return tuple(_shape(f.name, hints[f.name], f.metadata[KEY], f.default) for f in fields(record))


def shapes_under(record: type, default: Any) -> tuple[Shape, ...]:
    """Return the keys of a group whose own default is `default`: what is left out of the group keeps that value.

    The cable of one kind of source has another resistance than that of another; giving its inductance changes only
    the inductance.
    """
    if not isinstance(default, record):
        return shapes_of(record)
    return tuple(replace(shape, default=getattr(default, shape.key)) for shape in shapes_of(record))


@cache
def kinds_of(records: tuple[type, ...]) -> dict[str, type]:
    """Return the records of a group by their `kind`; empty if there is one record and no `kind` to tell it by."""
    if len(records) < 2:
        return {}
    return {shape.choices[0]: record for record in records for shape in shapes_of(record) if shape.key == "kind"}


def _shape(key: str, hint: Any, info: Info, default: Any) -> Shape:
    options = tuple(h for h in _options(hint) if h is not type(None))
    many = get_origin(options[0]) is tuple
    if many:
        options = _options(get_args(options[0])[0])
    if is_dataclass(options[0]) and options[0] not in (Toleranced, Rated):
        return Shape(key=key, info=info, form="group", many=many, default=default, records=options)
    if get_origin(options[0]) is Literal:
        return Shape(key=key, info=info, form="choice", many=many, default=default, choices=get_args(options[0]))
    return Shape(key=key, info=info, form=_FORMS[options[0]], many=many, default=default)


def _options(hint: Any) -> tuple[Any, ...]:
    return get_args(hint) if get_origin(hint) in (Union, UnionType) else (hint,)

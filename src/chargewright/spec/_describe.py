"""What schema, starter file and guide say about a key, made from its record: range, default and example as text."""

import json
from dataclasses import MISSING
from typing import Any

from chargewright.base.units import Toleranced, show, spell, spell_toleranced, unit_name
from chargewright.spec._shape import Shape
from chargewright.spec._tree import Scalar
from chargewright.spec._values import Unfit, value_of
from chargewright.spec._words import as_yaml
from chargewright.spec.fields import Rated


def range_of(shape: Shape) -> str:
    """Return the accepted range or choices: "2 V … 5 V", "1 … 16", "cells, converter"; nothing for other texts."""
    info = shape.info
    if shape.form == "choice":
        return ", ".join(shape.choices) if len(shape.choices) > 1 else ""
    if shape.form == "rated":
        return f"{show(info.low, 'A')} … {show(info.high, 'A')}, or up to {show(info.high_rate, 'rate')}"
    if shape.form not in ("number", "whole", "band"):
        return ""
    if shape.form == "whole" or (info.unit == "1" and info.high > 2.0):
        return f"{info.low:g} … {info.high:g}" if info.low < info.high else f"{info.low:g}"
    return f"{show(info.low, info.unit)} … {show(info.high, info.unit)}"


def quantity_of(shape: Shape) -> str:
    """Return what kind of value a key takes: "voltage", "whole number", "text", "true or false"."""
    words = {"whole": "whole number", "flag": "true or false", "choice": "one of a list", "text": "text"}
    if shape.form in words:
        return words[shape.form]
    if shape.form == "rated":
        return "current, or multiple of the capacity per hour"
    return unit_name(shape.info.unit) + (", with its band" if shape.form == "band" else "")


def default_of(shape: Shape) -> str:
    """Return the default as a file would write it; nothing where the key must be given or stands for nothing."""
    if shape.default is MISSING or shape.default in (None, (), "") or shape.form == "group":
        return ""
    return written(shape, shape.default)


def written(shape: Shape, value: Any) -> str:
    """Return a value as a file would write it; in the words of the example where that has this value."""
    if shape.many:
        return json.dumps(list(value), ensure_ascii=False)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return as_yaml(value)
    if shape.info.example and _reads(shape, shape.info.example) == value:
        return shape.info.example
    if isinstance(value, Rated):
        return spell(value.value, "rate" if value.per_capacity else "A")
    if isinstance(value, Toleranced):
        return spell_toleranced(value, shape.info.unit)
    return str(value) if shape.form == "whole" else spell(value, shape.info.unit)


def example_text(shape: Shape) -> str:
    """Return an example as a file would write it."""
    if shape.form == "flag":
        return "true"
    if shape.form == "choice":
        return as_yaml(shape.choices[0])
    if shape.many or shape.form != "text":
        return shape.info.example
    return as_yaml(shape.info.example) if shape.info.example else ""


def _reads(shape: Shape, text: str) -> Any:
    try:
        return value_of(shape, Scalar(0, 0, 0, text, True, False))
    except Unfit:
        return None

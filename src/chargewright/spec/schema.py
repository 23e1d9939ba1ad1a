"""The form of a design file as a JSON Schema (2020-12), made from the records, so that editors complete and check it.

The schema is a little wider than the loader: it knows spellings and ranges of plain numbers, but not the ranges of
quantities and nothing that spans several keys.
"""

from typing import Any

from chargewright.base.units import band_pattern, quantity_pattern, spellings_of
from chargewright.spec._describe import default_of, quantity_of, range_of
from chargewright.spec._shape import Shape, kinds_of, shapes_under
from chargewright.spec.design import SCHEMA_VERSION, Design


def design_json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a design file."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"Chargewright design file, form {SCHEMA_VERSION}",
        "description": "One product: what feeds it, what stores for it, what it feeds. Values carry their units.",
        **_object(Design),
    }


def _object(record: type, kind: str = "", default: Any = None) -> dict[str, Any]:
    shapes = shapes_under(record, default)
    return {
        "type": "object",
        "properties": {s.key: {"const": kind} if kind and s.key == "kind" else _key(s) for s in shapes},
        "required": [s.key for s in shapes if s.must_be_given],
        "additionalProperties": False,
    }


def _key(shape: Shape) -> dict[str, Any]:
    value = _one(shape)
    if shape.many:
        value = {"type": "array", "items": value, "maxItems": shape.info.max_items}
        if shape.must_be_given:
            value["minItems"] = 1
    described = {"title": shape.key.replace("_", " "), "description": _description(shape), **value}
    if shape.info.example and not shape.many:
        described["examples"] = [_plain(shape, shape.info.example)]
    if default := default_of(shape):
        described["default"] = list(shape.default) if shape.many else _plain(shape, default)
    return described


def _description(shape: Shape) -> str:
    unit = shape.info.unit
    spellings = ["A", "mA", "C"] if unit == "A|rate" else list(spellings_of(unit)[:8]) if unit not in ("", "1") else []
    parts = [
        f"{shape.info.why[0].upper()}{shape.info.why[1:]}.",
        f"{quantity_of(shape).capitalize()}." if unit else "",
        f"Units: {', '.join(spellings).replace('degC', '°C')}." if spellings else "",
        f"Range: {range_of(shape)}." if unit else "",
        f"Default: {default_of(shape)}." if default_of(shape) else "",
    ]
    return " ".join(part for part in parts if part)


def _one(shape: Shape) -> dict[str, Any]:
    info = shape.info
    if shape.form == "group":
        kinds = kinds_of(shape.records)
        if kinds:
            return {"oneOf": [_object(record, kind) for kind, record in kinds.items()]}
        return _object(shape.records[0], default=shape.default)
    if shape.form == "whole":
        return {"type": "integer", "minimum": info.low, "maximum": info.high}
    if shape.form == "flag":
        return {"type": "boolean"}
    if shape.form == "choice":
        return {"enum": list(shape.choices)}
    if shape.form == "text":
        return {"type": "string", "minLength": 1, "maxLength": info.max_length}
    if shape.form == "rated":
        return {"anyOf": [{"type": "string", "pattern": quantity_pattern(unit)} for unit in ("A", "rate")]}
    pattern = quantity_pattern(info.unit) if shape.form == "number" else band_pattern(info.unit)
    text = {"type": "string", "pattern": pattern}
    number = {"type": "number", "minimum": info.low, "maximum": info.high}
    return {"anyOf": [number, text]} if info.unit == "1" else text


def _plain(shape: Shape, text: str) -> Any:
    """Return an example or default as JSON has it: numbers without unit and yes/no are no texts there."""
    if shape.form == "flag":
        return text == "true"
    if shape.form == "whole":
        return int(text)
    if shape.info.unit == "1":
        try:
            return float(text)
        except ValueError:
            return text
    return text.strip('"')

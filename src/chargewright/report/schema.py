"""The JSON Schema (2020-12) of the study record, made from the columns of the same tables that fill it."""

import json
from typing import Any

from chargewright.report import record
from chargewright.report.record import ALWAYS, CURVES, SOMETIMES
from chargewright.report.tables import ROW, Column, TableForm

_TEXTS = {"type": "array", "items": {"type": "string"}}


def study_json_schema() -> dict[str, Any]:
    """Return the schema of `study.json`."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Chargewright study",
        "description": (
            "The result of a power-path study. All numbers are in SI units; a key ends in its unit; one without a unit "
            "is a ratio, a count or a text. A key that ends in `_SI` is in the unit that stands in the same row under "
            "`unit`. `null` stands where there is no number or where it is not finite: no limit, never, not solvable."
        ),
        **_object(
            {
                "format": {"const": record.FORMAT},
                "version": {"const": record.VERSION, "description": "raised by a change that could break a reader"},
                "made_by": {"type": "string"},
                "design": _object(
                    {
                        "file": {"type": "string", "description": "name of the design file, without its folder"},
                        "name": {"type": "string"},
                        "notes": {"type": "string"},
                        "weights": {
                            "type": "object",
                            "description": "what matters for the verdict; only the ratios count",
                            "additionalProperties": {"type": "number", "minimum": 0},
                        },
                    }
                ),
                "verdict": _object(
                    {
                        "winner": {"type": ["string", "null"], "description": "key of the best path; null if none can"},
                        "sentence": {"type": "string"},
                        "because": _TEXTS,
                        "tie": {"type": "boolean", "description": "whether the first two are too close to call"},
                        "ruled_out": {
                            "type": "object",
                            "description": "path to the reasons for which it cannot do the job",
                            "additionalProperties": _TEXTS,
                        },
                    }
                ),
                "decision_map": {"anyOf": [{"type": "null"}, _map_schema()]},
                "tables": {
                    **_object({form.key: _rows(form) for form in (*ALWAYS, *SOMETIMES)}),
                    "required": [form.key for form in ALWAYS],
                },
                "curves": {
                    **_object({form.key: _lists(form) for form in CURVES}),
                    "description": "of the winner; one list for each quantity, all of one length",
                    "required": [],
                },
                "assumptions": _TEXTS,
                "not_modelled": _TEXTS,
                "cautions": {**_TEXTS, "minItems": 1},
                "standards": {
                    "type": "array",
                    "items": _object({"name": {"type": "string"}, "subject": {"type": "string"}}),
                },
            }
        ),
    }


def schema_text() -> str:
    """Return the schema as the file in the documentation has it."""
    return json.dumps(study_json_schema(), indent=2, ensure_ascii=False) + "\n"


def _rows(form: TableForm) -> dict[str, Any]:
    return {"type": "array", "description": form.title, "items": _object({c.head: _kind(c) for c in form.columns})}


def _lists(form: TableForm) -> dict[str, Any]:
    lists = {c.head: {"type": "array", "items": _kind(c)} for c in form.columns}
    return {**_object(lists), "description": form.title}


_TYPES = {"number": ["number", "null"], "count": ["integer", "null"], "flag": ["boolean", "null"], "text": "string"}


def _kind(of: Column) -> dict[str, Any]:
    return {"type": _TYPES[of.kind], "description": _described(of)}


def _described(of: Column) -> str:
    if of.unit == ROW:
        return f"{of.title} [in `unit`]"
    return f"{of.title} [{of.unit}]" if of.unit else of.title


def _map_schema() -> dict[str, Any]:
    numbers = {"type": "array", "items": {"type": "number"}}
    return _object(
        {
            "power_W": numbers,
            "share_on_source": numbers,
            "winner": {
                "type": "array",
                "description": "by power, then by share: key of the winning path, null where none can",
                "items": {"type": "array", "items": {"type": ["string", "null"]}},
            },
            "lead": {
                "type": "array",
                "description": "lead of the winner over the second, in score, in the same order",
                "items": {"type": "array", "items": {"type": ["number", "null"]}},
            },
        }
    )


def _object(properties: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }

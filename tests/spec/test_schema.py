"""The JSON Schema accepts what the loader accepts, refuses plain slips, and describes every key."""

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from chargewright.base.units import Toleranced
from chargewright.spec.design import Design
from chargewright.spec.fields import KEY
from chargewright.spec.load import parse_design
from chargewright.spec.pack import PackSpec
from chargewright.spec.schema import design_json_schema
from chargewright.spec.starter import starter_text

GOOD = (Path(__file__).parents[1] / "data" / "broken_designs" / "good.design").read_text("utf-8")
SCHEMA = design_json_schema()
VALIDATOR = Draft202012Validator(SCHEMA)


def plain(text: str) -> dict[str, Any]:
    """Read a design file as an editor does: with the types that YAML itself gives."""
    data: dict[str, Any] = YAML(typ="safe", pure=True).load(text)
    return data


def test_the_schema_is_a_valid_schema_and_plain_json():
    Draft202012Validator.check_schema(SCHEMA)
    assert json.loads(json.dumps(SCHEMA)) == SCHEMA


@pytest.mark.parametrize("text", [GOOD, starter_text()])
def test_files_that_load_fit_the_schema(text: str):
    parse_design(text, "a")
    assert not list(VALIDATOR.iter_errors(plain(text)))


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("pack", "capacity"), 5),
        (("pack", "capacity"), "5"),
        (("pack", "capacity"), "5 V"),
        (("pack", "capacity"), "5,0 Ah"),
        (("pack", "capacity"), "5 MAh"),
        (("pack", "capacity"), "5 Ah ±5 %"),
        (("pack", "series"), 0),
        (("pack", "series"), 2.5),
        (("pack", "series"), "2"),
        (("pack", "sensed_at"), "cell"),
        (("pack", "seris"), 2),
        (("rules", "duty_max"), 98),
        (("rules", "duty_max"), "98 V"),
        (("charge", "current"), 2),
        (("charge", "current"), "2 V"),
        (("parts", "only_mine"), "false"),
        (("name",), ""),
        (("name",), 5),
        (("sources",), []),
        (("sources", 0, "kind"), "usb-c"),
        (("sources", 0, "kind"), None),
        (("sources", 0, "power"), "65 W"),
        (("weights",), None),
        (("system", "peak"), {"power": "5 W"}),
        (("candidates",), "direct"),
        (("candidates",), ["a"] * 33),
    ],
)
def test_slips_do_not_fit_the_schema(path: tuple[Any, ...], value: Any):
    data = plain(GOOD)
    place: Any = data
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    assert list(VALIDATOR.iter_errors(data))


@pytest.mark.parametrize("key", ["name", "sources", "pack", "system"])
def test_what_must_be_given_is_required(key: str):
    data = plain(GOOD)
    del data[key]
    assert list(VALIDATOR.iter_errors(data))


def test_kinds_are_told_apart_by_their_constant():
    kinds = [source["properties"]["kind"]["const"] for source in SCHEMA["properties"]["sources"]["items"]["oneOf"]]
    assert kinds == ["fixed", "usb-pd", "type-c"]


def test_no_group_takes_unknown_keys():
    def walk(node: Any) -> None:
        if isinstance(node, dict):
            if node.get("type") == "object":
                assert node["additionalProperties"] is False
            for inner in node.values():
                walk(inner)
        elif isinstance(node, list):
            for inner in node:
                walk(inner)

    walk(SCHEMA)


def test_a_key_is_described_with_reason_unit_range_example_and_default():
    key = SCHEMA["properties"]["pack"]["properties"]["interconnect"]
    why = PackSpec.__dataclass_fields__["interconnect"].metadata[KEY].why
    assert key["title"] == "interconnect"
    assert why[1:] in key["description"]
    assert "mohm" in key["description"]
    assert "Range: 0 Ω … 1 Ω." in key["description"]
    assert key["examples"] == ["5 mohm"]
    assert key["default"] == "5 mohm ±20 %"
    assert PackSpec.__dataclass_fields__["interconnect"].default == Toleranced(5e-3, 4e-3, 6e-3)


def test_every_default_and_example_of_the_schema_fits_its_own_key_and_loads():
    def keys(node: dict[str, Any], path: tuple[Any, ...]) -> list[tuple[tuple[Any, ...], dict[str, Any]]]:
        found = []
        for key, inner in node.get("properties", {}).items():
            found.append(((*path, key), inner))
            found += keys(inner, (*path, key))
        return found

    good, checked = plain(GOOD), 0
    for path, key in keys(SCHEMA, ()):
        for value in [*key.get("examples", []), *([key["default"]] if "default" in key else [])]:
            assert Draft202012Validator(key).is_valid(value), (path, value)
            data = copy.deepcopy(good)
            place: Any = data
            for step in path[:-1]:
                place = place.setdefault(step, {})
            place[path[-1]] = value
            if path[:2] not in {("system", "load"), ("system", "boot")}:  # would contradict the rails of the file
                assert isinstance(parse_design(json.dumps(data), "a"), Design), path
            checked += 1
    assert checked > 80

"""The starter file loads as it stands, shows every key with its true default, and any of its lines can be used."""

import re
from dataclasses import MISSING, fields, is_dataclass

import pytest

from chargewright.spec.consistency import contradictions_of
from chargewright.spec.design import Design
from chargewright.spec.load import parse_design
from chargewright.spec.pack import PackSpec
from chargewright.spec.source import FixedSourceSpec, TypeCSourceSpec, UsbPdSourceSpec
from chargewright.spec.starter import starter_text
from chargewright.spec.system import PeakSpec, RailSpec

STARTER = starter_text()


def counted(text: str, first: str, *, times: int = 1) -> str:
    """Return the starter with a commented-out block made to count: the line that starts so, and what belongs to it."""
    lines = text.splitlines()
    at = next(i for i, line in enumerate(lines) if line.lstrip().startswith(first))
    indent = len(lines[at]) - len(lines[at].lstrip())
    for i in range(at, len(lines)):
        line = lines[i]
        if i > at and not line.startswith(" " * indent + "#  ") and not line.startswith(" " * 46 + "#"):
            break
        if line[indent : indent + 1] == "#":
            lines[i] = line[:indent] + line[indent + 1 :]
    return "\n".join(lines) + "\n"


def test_the_starter_loads():
    design = parse_design(STARTER, "starter")
    assert design.name == "Slate tablet"
    assert not contradictions_of(design)


@pytest.mark.parametrize("name", ["Radio", "12", "a: b", "yes # no", "Ω-Meter", '"quoted"'])
def test_the_starter_takes_any_name(name: str):
    assert parse_design(starter_text(name), "starter").name == name


def test_no_line_is_wider_than_a_screen():
    assert max(map(len, STARTER.splitlines())) <= 120


def test_every_key_of_every_record_stands_in_the_starter():
    def keys(record: type) -> set[str]:
        return {f.name for f in fields(record)}

    for record in (Design, PackSpec, FixedSourceSpec, UsbPdSourceSpec, TypeCSourceSpec, RailSpec, PeakSpec):
        for key in keys(record):
            assert re.search(rf"(?m)^[ #-]*{key}:", STARTER), key


@pytest.mark.parametrize("group", ["charge", "ambient", "rules", "weights", "parts", "controller", "cable", "droop"])
def test_a_default_made_to_count_changes_nothing(group: str):
    # What the starter shows as default is the default, to the last digit.
    assert parse_design(counted(STARTER, f"#{group}:"), "starter") == parse_design(STARTER, "starter")


ALONE = re.findall(r"(?m)^ {0,4}#([a-z_]+):", STARTER)


@pytest.mark.parametrize("key", [k for k in ALONE if k not in ("usage", "rails")])
def test_each_line_can_be_made_to_count_alone(key: str):
    parse_design(counted(STARTER, f"#{key}:"), "starter")


def test_rails_can_take_the_place_of_the_load():
    design = parse_design(counted(STARTER, "#rails:").replace("\n  load:", "\n  #load:"), "starter")
    assert design.system.rails[0].name == "core"


def test_usage_can_be_made_to_count():
    design = parse_design(counted(STARTER, "#usage:"), "starter")
    assert design.usage[0].duration == 4 * 3600.0


@pytest.mark.parametrize(("kind", "record"), [("usb-pd", UsbPdSourceSpec), ("type-c", TypeCSourceSpec)])
def test_sources_of_other_kinds_can_be_made_to_count(kind: str, record: type):
    design = parse_design(counted(STARTER, f"#- kind: {kind}"), "starter")
    source = design.sources[1]
    assert isinstance(source, record)
    # Everything that has a default stands there with it.
    assert is_dataclass(source)
    for f in fields(source):
        if f.default is not MISSING and f.name != "objects":
            assert getattr(source, f.name) == f.default, f.name


def test_everything_but_the_rails_can_count_at_once():
    text = STARTER
    for key in [k for k in ALONE if k != "rails"] + ["- kind: usb-pd", "- kind: type-c"]:
        text = counted(text, f"#{key}" if key.startswith("-") else f"#{key}:")
    design = parse_design(text, "starter")
    assert len(design.sources) == 3
    assert design.usage
    assert design.pack.v_cell_max == 4.2

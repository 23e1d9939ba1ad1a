"""Editing a file changes the value and its line, and nothing else."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargewright.base.errors import ChargewrightError, SpecError
from chargewright.spec.edit import set_values
from chargewright.spec.load import parse_design
from chargewright.spec.starter import starter_text

GOOD = (Path(__file__).parents[1] / "data" / "broken_designs" / "good.design").read_text("utf-8")
SMALL = """\
# my tablet
name: Slate   # a name
sources:
  - {name: port, kind: type-c}

  - name: adapter
    kind: fixed
    voltage: 20 V ±5 %      # measured
    current: 3.25 A
pack:
  cell: nmc-energy
  series: 2
# what it draws
system:
  load: 12 W
  # standby is not known yet
"""


def changed_lines(before: str, after: str) -> list[tuple[str, str]]:
    old, new = before.splitlines(keepends=True), after.splitlines(keepends=True)
    assert len(old) == len(new)
    return [(a, b) for a, b in zip(old, new, strict=True) if a != b]


def test_one_value_changes_one_line_and_its_remark_keeps_its_column():
    after = set_values(SMALL, {"sources[1].voltage": "19.5 V ±0.5 V"})
    assert changed_lines(SMALL, after) == [
        ("    voltage: 20 V ±5 %      # measured\n", "    voltage: 19.5 V ±0.5 V  # measured\n")
    ]
    assert parse_design(after, "a").sources[1].voltage.low == 19.0  # type: ignore[union-attr]


def test_a_value_too_long_for_the_column_pushes_the_remark():
    after = set_values(SMALL, {"name": "a considerably longer name"})
    assert changed_lines(SMALL, after) == [("name: Slate   # a name\n", "name: a considerably longer name  # a name\n")]


@pytest.mark.parametrize(
    ("key", "value", "line"),
    [
        ("pack.series", "3", "  series: 3\n"),
        ("name", "12", 'name: "12"    # a name\n'),
        ("name", "a: b", 'name: "a: b"  # a name\n'),
        ("name", "x # y", 'name: "x # y"  # a name\n'),
        ("name", "- x", 'name: "- x"   # a name\n'),
        ("name", "null", 'name: "null"  # a name\n'),
        ("name", "2024-01-05", 'name: "2024-01-05"  # a name\n'),
        ("sources[0].name", "a, b", '  - {name: "a, b", kind: type-c}\n'),
        ("sources[0].name", "dock", "  - {name: dock, kind: type-c}\n"),
    ],
)
def test_values_are_put_in_quotes_where_they_need_them(key: str, value: str, line: str):
    after = set_values(SMALL, {key: value})
    assert [new for _, new in changed_lines(SMALL, after)] == [line]
    design = parse_design(after, "a")
    assert value in {design.name, design.sources[0].name, str(design.pack.series)}


def test_a_missing_key_is_added_at_the_end_of_its_group():
    after = set_values(SMALL, {"pack.capacity": "4 Ah"})
    assert after == SMALL.replace("  series: 2\n", "  series: 2\n  capacity: 4 Ah\n")


def test_a_missing_group_is_added_with_its_key():
    after = set_values(SMALL, {"rules.bus_min": "6 V", "rules.bus_max": "20 V"})
    assert after == SMALL + "rules:\n  bus_min: 6 V\n  bus_max: 20 V\n"


def test_remarks_indented_below_a_group_stay_with_it():
    after = set_values(SMALL, {"notes": "x"})
    assert after.endswith("  # standby is not known yet\nnotes: x\n")


def test_missing_keys_are_added_inside_braces():
    after = set_values(SMALL, {"sources[0].cable.resistance": "0.1 ohm", "sources[0].efficiency": "80 %"})
    line = "  - {name: port, kind: type-c, cable: {resistance: 0.1 ohm}, efficiency: 80 %}\n"
    assert line in after
    assert parse_design(after, "a").sources[0].cable.resistance == 0.1
    assert "weights: {energy: 1}" in set_values(SMALL + "weights: {}\n", {"weights.energy": "1"})


def test_a_key_without_value_gets_one():
    text = SMALL.replace("load: 12 W", "load:   # to be measured")
    assert "  load: 8 W  # to be measured\n" in set_values(text, {"system.load": "8 W"})
    assert set_values("name:", {"name": "x"}) == "name: x"


def test_lists_of_texts_are_replaced_as_a_whole():
    after = set_values(GOOD, {"candidates": '["parallel"]', "parts.f_sw": '["1 MHz"]'})
    assert parse_design(after, "a").candidates == ("parallel",)
    block = GOOD.replace("[direct, narrow-buck]", "\n  - direct\n  - narrow-buck  # why not")
    assert parse_design(set_values(block, {"candidates": '["parallel"]'}), "a").candidates == ("parallel",)


def test_texts_of_several_lines_are_replaced_as_a_whole():
    text = "notes: |\n  first\n  second\n\n" + SMALL
    after = set_values(text, {"notes": "one"})
    assert after == "notes: one\n\n" + SMALL


def test_other_line_ends_and_a_byte_order_mark_stay():
    text = "\ufeff" + SMALL.replace("\n", "\r\n")
    after = set_values(text, {"pack.series": "3", "pack.parallel": "2"})
    assert after == text.replace("series: 2\r\n", "series: 3\r\n  parallel: 2\r\n")


def test_a_file_without_a_last_line_end_can_grow():
    text = SMALL.rsplit("\n", 2)[0]
    assert parse_design(set_values(text, {"system.standby": "10 mW"}), "a").system.standby == pytest.approx(0.01)


def test_the_starter_takes_edits_everywhere_and_still_loads():
    edits = {
        "sources[0].cable.resistance": "90 mohm",
        "system.peak.power": "20 W",
        "system.peak.duration": "5 ms",
        "charge.current": "1 A",
        "rules.temp_j_max": "120 °C",
        "ambient.cold": "-10 °C",
        "parts.f_sw": '["1 MHz"]',
        "notes": "edited",
    }
    before = starter_text()
    after = set_values(before, edits)
    design = parse_design(after, "a")
    assert design.ambient.cold == pytest.approx(263.15, abs=1e-9)
    assert design.system.peak is not None
    kept = [line for line in after.splitlines() if line in before.splitlines()]
    assert len(kept) >= len(before.splitlines())  # nothing was lost, nothing was moved out of order
    # What is still commented out belongs where it stood: made to count, it is read under the same group.
    assert parse_design(after.replace("  #standby:", "  standby:"), "a").system.standby == 0.02


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("pack.seris", "Did you mean 'series'?"),
        ("pakc.series", "Did you mean 'pack'?"),
        ("pack", "pack is a group of keys"),
        ("pack.series.x", "does not lead to one value"),
        ("sources", "is a list: sources[0]"),
        ("sources.name", "is a list: sources[0]"),
        ("sources[7].name", "the file has no item 7 of sources"),
        ("usage[0].mode", "the file has no item 0 of usage"),
        ("name[0]", "does not lead to one value"),
        ("sources[1].power", "'power' is not a key"),
        ("", "is not a key"),
        ("pack..series", "is not a key"),
        ("pack.series; rm", "is not a key"),
    ],
)
def test_keys_that_cannot_be_set_are_told(key: str, words: str):
    with pytest.raises(ChargewrightError) as caught:
        set_values(SMALL, {key: "1"})
    assert words in str(caught.value)


def test_a_list_has_to_be_given_as_one():
    with pytest.raises(ChargewrightError, match="is a list; give it as"):
        set_values(SMALL, {"candidates": "direct"})


def test_a_text_that_is_no_design_file_is_told():
    with pytest.raises(SpecError):
        set_values("- a\n", {"name": "x"})
    with pytest.raises(SpecError, match="refers to a value elsewhere"):
        set_values("name: *x\n", {"name": "x"})


TAKEN = {"none", "port", "adapter"}


@settings(max_examples=40)
@given(st.text(max_size=60).filter(lambda n: n.strip().isprintable() and n.strip() and n.strip() not in TAKEN))
def test_any_printable_name_survives_an_edit(name: str):
    for text, key in ((SMALL, "name"), (SMALL, "sources[0].name"), (SMALL, "sources[1].name")):
        design = parse_design(set_values(text, {key: name}), "a")
        assert name.strip() in {design.name, *(s.name for s in design.sources)}


@given(st.sampled_from(["19 V", "20 V ±5 %", "4.2 W # x", "a: b", "[1, 2]", "{a: b}", "", "~", "'", '"', "*x", "5\n6"]))
def test_a_wrong_value_is_the_loaders_to_refuse_and_harms_nothing_else(value: str):
    for key in ("pack.capacity", "sources[0].efficiency", "system.load"):
        after = set_values(SMALL, {key: value})
        with pytest.raises(SpecError) as caught:
            parse_design(after, "a")
        assert [p.key for p in caught.value.problems] == [key]

"""Every broken file gets a message with its line, its key and the words that help, and the message fits one screen."""

from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from chargewright.base.errors import SpecError
from chargewright.spec.load import parse_design

DATA = Path(__file__).parents[1] / "data" / "broken_designs"
GOOD = (DATA / "good.design").read_text("utf-8")
CASES: list[dict[str, Any]] = YAML(typ="safe").load((DATA / "cases.yaml").read_text("utf-8"))


def broken(case: dict[str, Any]) -> tuple[str, int]:
    """Return the broken text and the line that the message has to name."""
    new = case["new"]
    if "long" in case:
        letter, times = case["long"]
        new = new.replace("LONG", str(letter) * times)
    assert GOOD.count(case["old"]) == 1
    text = GOOD.replace(case["old"], new)
    marked = [i for i, line in enumerate(text.splitlines(), 1) if "# here" in line]
    assert len(marked) + ("line" in case) == 1
    return text, case["line"] if "line" in case else marked[0]


def test_the_good_file_loads():
    # Otherwise every message below could be about something else.
    assert parse_design(GOOD, "good.design").name == "Slate tablet"


def test_there_are_enough_broken_files():
    assert len(CASES) >= 70


@pytest.mark.parametrize("case", CASES, ids=[c["case"].replace(" ", "-") for c in CASES])
def test_the_message_helps_with(case: dict[str, Any]):
    text, line = broken(case)
    with pytest.raises(SpecError) as caught:
        parse_design(text, "radio.design")
    said = str(caught.value)
    place = f"radio.design:{line}" if line else "radio.design"
    head = next((h for h in said.splitlines() if h == place or h.startswith(f"{place}  ")), None)
    assert head is not None, said
    assert case["key"] in head, said
    block = " ".join(said[said.index(head) :].split())
    for words in case["says"]:
        assert words in block, said


@pytest.mark.parametrize("case", CASES, ids=[c["case"].replace(" ", "-") for c in CASES])
def test_the_message_fits_one_screen_with(case: dict[str, Any]):
    with pytest.raises(SpecError) as caught:
        parse_design(broken(case)[0], "radio.design")
    lines = str(caught.value).splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 120


def test_one_wrong_place_gives_one_problem():
    # Nothing that follows from a reported problem is reported again. These three contradict two other keys each.
    several = {"a missing group", "a rail's window upside down", "rails that no bus suits"}
    for case in CASES:
        with pytest.raises(SpecError) as caught:
            parse_design(broken(case)[0], "radio.design")
        if case["case"] not in several:
            assert len(caught.value.problems) == 1, (case["case"], str(caught.value))


def test_all_problems_come_at_once_in_file_order_and_the_rest_is_counted():
    text = GOOD
    for case in CASES:
        one_line = "\n" not in case["old"] + case["new"] and not case["key"].startswith(("usage", "system.modes"))
        if one_line and case["key"] and text.count(case["old"]) == 1 and "mark" not in case["case"]:
            text = text.replace(case["old"], case["new"])
    with pytest.raises(SpecError) as caught:
        parse_design(text, "radio.design")
    lines = [p.line for p in caught.value.problems]
    assert len(lines) > 15
    assert lines == sorted(lines)
    said = str(caught.value).splitlines()
    assert len(said) <= 40
    shown = sum(line.startswith("radio.design") for line in said)
    assert said[-1] == f"... and {len(lines) - shown} more problems of the same file"


def test_no_message_speaks_of_python():
    for case in CASES:
        with pytest.raises(SpecError) as caught:
            parse_design(broken(case)[0], "radio.design")
        for word in ("Traceback", "NoneType", "KeyError", "dataclass", "ruamel", "<class"):
            assert word not in str(caught.value)

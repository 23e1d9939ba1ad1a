"""Every broken file gets a message with its line, its key and the words that help, and the message fits one screen."""

from functools import cache
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


@cache
def refusal(number: int) -> SpecError:
    """Return the error that the loader raises for a case."""
    with pytest.raises(SpecError) as caught:
        parse_design(broken(CASES[number])[0], "radio.design")
    return caught.value


each_case = pytest.mark.parametrize("number", range(len(CASES)), ids=[c["case"].replace(" ", "-") for c in CASES])


def test_the_good_file_loads():
    # Otherwise every message below could be about something else.
    assert parse_design(GOOD, "good.design").name == "Slate tablet"


def test_there_are_enough_broken_files():
    assert len(CASES) >= 70


@each_case
def test_the_message_helps_with(number: int):
    case, line = CASES[number], broken(CASES[number])[1]
    said = str(refusal(number))
    place = f"radio.design:{line}" if line else "radio.design"
    head = next((h for h in said.splitlines() if h == place or h.startswith(f"{place}  ")), None)
    assert head is not None, said
    assert case["key"] in head, said
    block = " ".join(said[said.index(head) :].split())
    for words in case["says"]:
        assert words in block, said


@each_case
def test_the_message_fits_one_screen_and_does_not_speak_of_python_with(number: int):
    said = str(refusal(number))
    assert len(said.splitlines()) <= 40
    assert max(map(len, said.splitlines())) <= 120
    for word in ("Traceback", "NoneType", "KeyError", "dataclass", "ruamel", "<class"):
        assert word not in said


@each_case
def test_one_wrong_place_gives_one_problem_with(number: int):
    # Nothing that follows from a reported problem is reported again. These three contradict two other keys each.
    if CASES[number]["case"] not in {"a missing group", "a rail's window upside down", "rails that no bus suits"}:
        assert len(refusal(number).problems) == 1


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

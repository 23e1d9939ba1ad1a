"""Errors: one tree, and a design file's problems in one readable text."""

import pytest

from chargewright.base import errors
from chargewright.base.errors import ChargewrightError, Problem, QuantityError, SpecError


def problem(line: int, message: str = "wrong", *, key: str = "pack.series", found: str = "", cure: str = "") -> Problem:
    return Problem(line=line, key=key, found=found, message=message, cure=cure)


def test_every_error_is_one_that_the_front_doors_catch():
    kinds = [e for e in vars(errors).values() if isinstance(e, type) and issubclass(e, Exception)]
    assert len(kinds) >= 7
    assert all(issubclass(kind, ChargewrightError) for kind in kinds)


def test_a_problem_is_told_with_place_key_value_message_and_cure():
    # The form is that of the message in the guide to the design file.
    shown = problem(14, "4200 V is too much.", key="pack.v_cell_max", found='"4200 V"', cure='Did you mean "4200 mV"?')
    assert str(SpecError("radio.design", [shown])) == (
        'radio.design:14  pack.v_cell_max = "4200 V"\n    4200 V is too much.\n    Did you mean "4200 mV"?'
    )


def test_a_problem_without_line_key_or_cure_leaves_no_gaps():
    assert str(SpecError("radio.design", [problem(0, "The file is empty.", key="")])) == (
        "radio.design\n    The file is empty."
    )


def test_problems_come_in_file_order_and_equal_lines_stay_in_theirs():
    error = SpecError("a", [problem(9, "z"), problem(2, "x"), problem(9, "a")])
    assert [p.message for p in error.problems] == ["x", "z", "a"]


@pytest.mark.parametrize(("count", "shown", "more"), [(12, 12, ""), (13, 12, "1 more problem of"), (99, 12, "87 more")])
def test_many_problems_are_shown_up_to_one_screen_and_counted(count: int, shown: int, more: str):
    error = SpecError("a", [problem(i, cure="mend it") for i in range(1, count + 1)])
    lines = str(error).splitlines()
    assert len(error.problems) == count
    assert sum(line.startswith("a:") for line in lines) == shown
    assert more in lines[-1]
    assert len(lines) <= 40


def test_long_texts_are_wrapped_and_still_fit_one_screen():
    error = SpecError("a" * 200, [problem(i, "word " * 60, found="x" * 70, cure="word " * 60) for i in range(1, 13)])
    lines = str(error).splitlines()
    assert len(lines) <= 40
    assert max(len(line) for line in lines if not line.startswith("aaa")) <= 120
    assert "more problems" in lines[-1]


def test_one_endless_problem_is_still_shown():
    assert len(str(SpecError("a", [problem(1, "word " * 2000)])).splitlines()) > 38


def test_a_quantity_error_reads_as_a_sentence():
    assert str(QuantityError("'5 V' is a voltage", "a current (A)")) == "'5 V' is a voltage; accepted: a current (A)"

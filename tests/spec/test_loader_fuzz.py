"""Whatever bytes a file holds, loading gives a design or one readable SpecError, in bounded time."""

import time
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from chargewright.base.errors import SpecError
from chargewright.spec.design import Design
from chargewright.spec.load import load_design, parse_design

GOOD = (Path(__file__).parents[1] / "data" / "broken_designs" / "good.design").read_text("utf-8")
LINES = GOOD.splitlines()

ODD = ["~", "<<", "*a", "&a", "!!int", "|", "2024-01-05", "1e999", ".nan", "-", "?", ":", "''", '"', "{}", "[]", "0x1F"]
words = st.sampled_from(
    [*sorted({word for line in LINES for word in line.replace(":", " ").split()}), "20 V ±5 %", "\t", "\u00a0", *ODD]
)
keys = st.sampled_from([line.strip(" -").split(":")[0] for line in LINES]) | words
yaml_like = st.recursive(
    words | st.text(max_size=20) | st.integers().map(str) | st.floats().map(str),
    lambda inner: (
        st.lists(inner, max_size=4).map(lambda items: "[" + ", ".join(items) + "]")
        | st.lists(st.tuples(keys, inner), max_size=4).map(
            lambda pairs: "{" + ", ".join(f"{k}: {v}" for k, v in pairs) + "}"
        )
    ),
    max_leaves=12,
)


def accepted_or_refused(text: str) -> None:
    try:
        design = parse_design(text, "radio.design")
    except SpecError as error:
        readable(error)
    else:
        assert isinstance(design, Design)


def readable(error: SpecError) -> None:
    lines = str(error).splitlines()
    assert error.problems
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 120, lines
    assert all(c.isprintable() for line in lines for c in line), lines


@given(st.binary(max_size=400))
@example(b"\xff\xfe")
@example(b"\x00" * 40)
def test_random_bytes_never_crash_the_loader(tmp_path_factory: pytest.TempPathFactory, data: bytes):
    path = tmp_path_factory.getbasetemp() / "fuzz.design"
    path.write_bytes(data)
    with suppress(SpecError):
        load_design(path)


@given(st.text(max_size=300))
@example("\ud800: 1")
@example("a: \u0085 b")
@example('a: "\\UFFFFFFFF"')
@example('a: "\\uD800"')
@example("? - a\n: - b")
@example("!<tag:x> a: b")
def test_random_text_never_crashes_the_loader(text: str):
    accepted_or_refused(text)


@given(st.lists(st.tuples(keys, yaml_like), max_size=8))
def test_random_structures_never_crash_the_loader(pairs: list[tuple[str, str]]):
    accepted_or_refused("\n".join(f"{key}: {value}" for key, value in pairs))


@given(st.integers(0, len(LINES) - 1), yaml_like)
def test_a_random_value_in_a_good_file_never_crashes_the_loader(at: int, value: str):
    head = LINES[at].split(":")[0]
    accepted_or_refused("\n".join([*LINES[:at], f"{head}: {value}", *LINES[at + 1 :]]))


@given(
    st.lists(
        st.tuples(
            st.integers(0, len(GOOD)), st.integers(0, 12), st.text("\t\n :-'\"[]{}#&*!|>%@`,?0aV±\\", max_size=4)
        ),
        min_size=1,
        max_size=4,
    )
)
def test_a_good_file_with_random_damage_never_crashes_the_loader(damages: list[tuple[int, int, str]]):
    text = GOOD
    for at, cut, put in damages:
        text = text[:at] + put + text[at + cut :]
    accepted_or_refused(text)


@given(st.lists(st.sampled_from(LINES), max_size=60))
def test_shuffled_lines_never_crash_the_loader(lines: list[str]):
    accepted_or_refused("\n".join(lines))


FULL = 256 * 1024 - 10  # just within the greatest size
HEAVY = {
    "one long word": "a" * FULL,
    "open brackets": "[" * FULL,
    "open braces": "{" * FULL,
    "nested dashes": "- " * (FULL // 2),
    "line ends": "\n" * FULL,
    "blanks": " " * FULL,
    "comments": "#\n" * (FULL // 2),
    "exclamation marks": "!" * FULL,
    "a text of many lines": "a: b\n" + "  c\n" * (FULL // 4),
    "quotes of many lines": "a: '" + "x\n" * (FULL // 2) + "'",
    "escapes": 'a: "' + "\\x41" * (FULL // 4) + '"',
    "a block of many lines": "notes: |\n" + "  x\n" * (FULL // 4),
    "a folded block": "notes: >\n" + "  x\n\n" * (FULL // 5),
    "commas": "a: [" + "b," * (FULL // 2) + "]",
    "unknown keys": "".join(f"seriess{i}: 1\n" for i in range(2490)),
    "keys given twice": "name: x\n" * 2490,
    "wrong items": "candidates:\n" + "- 1\n" * 4900,
    "wrong quantities": "parts:\n  f_sw: [" + ", ".join(["'1,2,3 V +'"] * 4900) + "]",
    "documents": "---\n" * (FULL // 4),
    "digits": "pack: {series: " + "1" * (FULL - 40) + "}",
}


@pytest.mark.parametrize("text", HEAVY.values(), ids=[name.replace(" ", "-") for name in HEAVY])
def test_no_text_of_the_largest_size_takes_long(text: str):
    started = time.perf_counter()
    accepted_or_refused(text)
    # Measured: below 2 s each, 1 to 7 µs a character in the parser; several times that for a shared machine.
    assert time.perf_counter() - started < 10.0

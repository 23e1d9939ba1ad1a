"""The controller file: what ships, and what is said about a file that is wrong."""

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargewright.base.errors import PartsError
from chargewright.setpoints.load import load_controller, read_controller, shipped_controllers
from chargewright.setpoints.quantise import decode

GOOD = """\
format: 1
name: bench charger
origin: invented
address: 0x2C
fields:
  charge_voltage:
    register: 0x10
    width: 10
    step: 16 mV
    minimum: 3 V
    maximum: 16 V
"""


def complaint(text: str) -> str:
    with pytest.raises(PartsError) as caught:
        read_controller(text, "mine.yaml")
    return str(caught.value)


def test_a_small_file_is_enough():
    controller = read_controller(GOOD, "mine.yaml")
    assert controller.address == 0x2C
    assert [field.quantity.key for field in controller.fields] == ["charge_voltage"]
    # Nothing is promised that the file does not say.
    assert controller.pec is False
    assert controller.keep_other_bits is True


@pytest.mark.parametrize("name", shipped_controllers())
def test_a_shipped_description_says_where_it_is_from_and_means_what_its_codes_say(name: str):
    controller = load_controller(name)
    assert controller.origin.startswith(("invented", "open specification"))
    for field in controller.fields:
        if field.reset is not None:
            decode(field, field.reset)


def test_only_the_two_descriptions_ship():
    assert shipped_controllers() == ("generic", "generic-tall", "smart-battery-charger")


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("step: 16 mV", "step: 16", "mine.yaml:9  fields.charge_voltage.step = 16", "no unit"),
        ("step: 16 mV", "step: 16 mA", "mine.yaml:9  fields.charge_voltage.step", "is a current"),
        ("step: 16 mV", "step: 0 V", "mine.yaml:9  fields.charge_voltage.step", "above zero"),
        ("step: 16 mV\n", "\n", "mine.yaml:6  fields.charge_voltage.step", "missing"),
        ("width: 10", "width: 9", "mine.yaml:11  fields.charge_voltage.maximum", "9 bits carry 0 to 511"),
        ("width: 10", "widht: 10", "mine.yaml:8  fields.charge_voltage.widht", "Did you mean 'width'?"),
        ("charge_voltage", "charge_votlage", "mine.yaml:6  fields.charge_votlage", "Did you mean 'charge_voltage'?"),
        ("address: 0x2C", "address: 0x92", "mine.yaml:4  address = 146", "from 8 to 119"),
        ("format: 1", "format: 2", "mine.yaml:1  format = 2", "from 1 to 1"),
        ("maximum: 16 V", "maximum: 16 V\n    reset: 1024", "mine.yaml:12", "does not fit 10 bits"),
        ("maximum: 16 V", "maximum: 16 V\n    gain: 5 %", "mine.yaml:12", "'±0.5 %'"),
        ("maximum: 16 V", "maximum: 16 V\n    gain: ±80 %", "mine.yaml:12", "-50 %"),
        ("maximum: 16 V", "maximum: 16 V\n    offset_error: ±1 %", "mine.yaml:12", "not in %"),
        (
            "maximum: 16 V",
            "maximum: 16 V\n    special:\n      500: {value: unlimited, means: off}",
            "mine.yaml:12",
            "also an ordinary value",
        ),
        (
            "maximum: 16 V",
            "maximum: 16 V\n  charge_current: {register: 0x10, low_bit: 9, width: 4, "
            "step: 1 A, minimum: 0 A, maximum: 8 A}",
            "mine.yaml:5  fields",
            "share bits of register 0x10",
        ),
    ],
)
def test_a_wrong_file_is_told_with_line_and_key(old: str, new: str, line: str, says: str):
    message = complaint(GOOD.replace(old, new))
    assert line in message
    assert says in message


def test_all_problems_are_told_at_once_in_file_order():
    message = complaint(GOOD.replace("address: 0x2C", "address: high").replace("16 mV", "16 mW"))
    assert message.index("mine.yaml:4") < message.index("mine.yaml:9")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name: &a x\norigin: *a\n", "anchors"),
        ("name: !!python/object/apply:os.getcwd []\n", "tags"),
        ("name: [\n", "cannot be read"),
        ("name: a\nname: b\n", "duplicate key"),
        ("- 1\n", "starts with keys"),
        ("", "starts with keys"),
        ("name: " + "[" * 20 + "]" * 20, "nested"),
        ("name: " + "x" * 70_000, "64 KiB"),
    ],
)
def test_nothing_but_small_plain_data_is_read(text: str, says: str):
    assert says in complaint(text)


def test_a_file_of_the_user_is_found_beside_the_design(tmp_path: Path):
    (tmp_path / "mine.yaml").write_text(GOOD, encoding="utf-8")
    assert load_controller("mine.yaml", tmp_path).name == "bench charger"
    with pytest.raises(PartsError, match="cannot be read"):
        load_controller("other.yaml", tmp_path)


def test_an_unknown_name_gives_the_nearest():
    with pytest.raises(PartsError, match="did you mean 'smart-battery-charger'"):
        load_controller("smart-batery-charger")


fragments = st.sampled_from(
    [
        "",
        "~",
        "[]",
        "{}",
        "yes",
        "0x10",
        "-1",
        "1.5",
        "2020-01-01",
        "16 mV",
        "±5 %",
        "unlimited",
        "'",
        "a: b",
        "\t",
        "1e999 V",
    ]
)


@settings(max_examples=150)
@given(st.integers(0, 40), fragments, st.booleans())
def test_whatever_stands_in_a_line_only_a_told_problem_comes_out(line: int, fragment: str, drop: bool):
    lines = (
        GOOD + "    special:\n      0: {value: unlimited, means: off}\n    gain: ±1 %\n    reset: 7\n"
    ).splitlines()
    line %= len(lines)
    key = lines[line].partition(":")[0]
    lines[line : line + 1] = [] if drop else [f"{key}: {fragment}"]
    with suppress(PartsError):
        read_controller("\n".join(lines), "mine.yaml")


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str):
    with suppress(PartsError):
        read_controller(text, "mine.yaml")

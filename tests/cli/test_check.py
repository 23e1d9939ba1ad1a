"""Checking files: good ones pass, broken ones are told with their place, whatever is broken."""

from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

BROKEN = Path(__file__).parents[1] / "data" / "broken_designs"
GOOD = (BROKEN / "good.design").read_text("utf-8")
CASES: list[dict[str, Any]] = YAML(typ="safe").load((BROKEN / "cases.yaml").read_text("utf-8"))


def broken(case: dict[str, Any]) -> str:
    new = case["new"]
    if "long" in case:
        letter, times = case["long"]
        new = new.replace("LONG", str(letter) * times)
    return GOOD.replace(case["old"], new)


def test_the_examples_are_in_order(run, examples):
    for file in sorted(examples.glob("*.yaml")):
        said = run("check", file)
        assert said.code == 0, said.err
        assert "in order" in said.out
        assert said.err == ""


def test_a_good_file_is_told_by_its_name(run, twelve):
    assert "Twelve lines: 1 source(s), 2 cells in series" in run("check", twelve).out


def test_there_are_enough_broken_files():
    assert len(CASES) >= 60


@pytest.mark.parametrize("command", ["check", "study"])
def test_every_broken_file_is_refused_with_its_place_and_nothing_else(command, run, tmp_path):
    # The loader's own corpus; what each message has to say is tested there. `study` refuses the same way, at once.
    for case in CASES if command == "check" else CASES[::5]:
        file = tmp_path / "radio.yaml"
        file.write_text(broken(case), "utf-8")
        said = run(command, file)
        assert said.code == 2, case["case"]
        assert said.out == "", case["case"]
        assert str(file) in said.err, case["case"]
        assert "Traceback" not in said.err, case["case"]
        assert [p.name for p in tmp_path.iterdir()] == ["radio.yaml"], case["case"]


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("empty.yaml", b"", "empty"),
        ("zip.yaml", b"PK\x03\x04\x00\x00\xff\xfe", "UTF-8"),
        ("utf16.yaml", "name: x".encode("utf-16"), "UTF-16"),
        ("list.yaml", b"- a\n- b\n", ""),
        ("word.yaml", b"hello\n", ""),
        ("large.yaml", b"# " + b"x" * 2_000_000, "KiB"),
        ("tabs.yaml", b"name:\t\tx\n\tsources: []\n", ""),
    ],
)
def test_files_that_are_no_designs(name, content, words, run, tmp_path):
    file = tmp_path / name
    file.write_bytes(content)
    said = run("check", file)
    assert said.code == 2
    assert name in said.err
    assert words in said.err
    assert "Traceback" not in said.err
    assert said.out == ""


def test_a_folder_or_a_missing_file_is_told_in_words(run, tmp_path, twelve):
    assert "folder" in run("check", tmp_path).err
    missing = run("check", tmp_path / "twelv.yaml")
    assert missing.code == 2
    assert "no such file" in missing.err
    assert "twelve.yaml" in missing.err  # the nearest name there is


def test_a_check_never_writes(run, tmp_path, twelve):
    run("check", twelve)
    assert [p.name for p in tmp_path.iterdir()] == ["twelve.yaml"]


def test_a_contract_that_the_source_does_not_offer_is_told_with_line_value_and_what_it_offers(run, tmp_path):
    file = tmp_path / "weak.yaml"
    file.write_text(
        "name: Weak\nsources:\n  - {name: charger, kind: usb-pd, power: 27 W}\npack: {cell: nmc-energy, series: 2}\n"
        "system: {load: 5 W}\nusage:\n  - {mode: work, source: charger, duration: 2 h}\n"
        "  - {mode: work, source: charger, contract: 12 V, duration: 3 h}\n"
        "  - {mode: work, source: none, contract: 9 V, duration: 3 h}\n",
        encoding="utf-8",
    )
    said = run("check", file)
    assert said.code == 2
    told = said.err
    assert f'{file}:9  usage[2].contract = "9 V"' in told
    assert 'the source of this stretch is "none"' in told
    file.write_text(file.read_text(encoding="utf-8").replace("none, contract: 9 V", "none"), encoding="utf-8")
    for command in (["check"], ["usage", "--path", "narrow-buck-boost"], ["study"]):
        said = run(command[0], file, *command[1:])
        assert said.code == 2
        told = said.err
        assert f'{file}:8  usage[1].contract = "12 V"' in told
        assert (
            '"charger" has no contract "12 V"; it offers "9 V 3 A", "5 V 3 A", "5 V 3 A without contract".'
            in " ".join(told.split())
        )
        assert "Name one of these" in told

"""Loading: what a good file becomes, and files that are no design files at all."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from chargewright.base.errors import SpecError
from chargewright.base.units import Toleranced
from chargewright.spec.design import Design
from chargewright.spec.fields import Rated
from chargewright.spec.load import load_design, parse_design
from chargewright.spec.source import CableSpec, FixedSourceSpec, TypeCSourceSpec, UsbPdSourceSpec

GOOD = (Path(__file__).parents[1] / "data" / "broken_designs" / "good.design").read_text("utf-8")
TWELVE = """\
name: Twelve lines
sources:
  - name: adapter
    kind: fixed
    voltage: 20 V ±5 %
    current: 3.25 A
pack:
  cell: nmc-energy
  series: 2
  capacity: 5 Ah
system:
  load: 12 W
"""


def refused(text: str) -> str:
    with pytest.raises(SpecError) as caught:
        parse_design(text, "radio.design")
    return str(caught.value)


def test_twelve_lines_are_enough():
    design = parse_design(TWELVE, "twelve.design")
    assert len(TWELVE.splitlines()) == 12
    source = design.sources[0]
    assert isinstance(source, FixedSourceSpec)
    assert source.voltage == Toleranced(20.0, 19.0, 21.0)
    assert design.pack.capacity == 5 * 3600.0
    assert design.system.load == 12.0


def test_every_form_of_value_arrives_in_si():
    design = parse_design(GOOD, "good.design")
    assert [type(s) for s in design.sources] == [FixedSourceSpec, UsbPdSourceSpec, TypeCSourceSpec]
    fixed, charger, port = design.sources
    assert isinstance(fixed, FixedSourceSpec)
    assert isinstance(charger, UsbPdSourceSpec)
    assert isinstance(port, TypeCSourceSpec)
    assert fixed.cable == CableSpec(resistance=0.06)  # what the group leaves out has its default
    assert fixed.overload_limit == Toleranced((1.15 + 1.5) / 2, 1.15, 1.5)
    assert charger.objects == ("9 V 3 A", "20 V 3.25 A")
    assert charger.programmable is True
    assert port.advertisement == "1.5 A"
    assert design.charge.current == Rated(0.5 / 3600.0, True)
    assert design.charge.timer == 36000.0
    assert design.ambient.cold == 273.15
    assert design.rules.duty_max == pytest.approx(0.98, rel=1e-15)
    assert design.usage[1].mode == "off"
    assert design.system.peak is not None
    assert design.system.peak.duration == pytest.approx(0.010, rel=1e-15)
    assert design.candidates == ("direct", "narrow-buck")
    assert type(design.pack.series) is int
    assert type(design.name) is str


def test_what_is_left_out_has_the_default_of_its_record():
    design = parse_design(TWELVE, "twelve.design")
    again = Design(name=design.name, sources=design.sources, pack=design.pack, system=design.system)
    assert design == again


def test_a_current_may_be_given_in_ampere_or_per_capacity():
    design = parse_design(TWELVE + "charge:\n  current: 2500 mA\n  precharge: 250 mA\n  termination: 0.02 C\n", "a")
    assert design.charge.current == Rated(2.5, False)
    assert design.charge.termination.amps(5 * 3600.0) == pytest.approx(0.1, rel=1e-12)


@pytest.mark.parametrize("value", ["12 W", "'12 W'", '"12 W"', "12W", "12.0 W", "1.2e1 W", "12000 mW", "|-\n    12 W"])
def test_a_quantity_may_be_written_in_many_ways(value: str):
    assert parse_design(TWELVE.replace("12 W", value), "a").system.load == pytest.approx(12.0, rel=1e-15)


def test_notes_may_have_several_lines():
    design = parse_design("notes: |\n  first\n  second\n" + TWELVE, "a")
    assert design.notes == "first\nsecond"


def test_json_is_read_as_well():
    # Every JSON text is a YAML text.
    text = (
        '{"name": "j", "sources": [{"name": "a", "kind": "type-c"}], "pack": {"cell": "lfp", "series": 2},'
        ' "system": {"load": "2 W"}}'
    )
    assert parse_design(text, "j.json").pack.cell == "lfp"


@pytest.mark.parametrize("text", ["\ufeff" + TWELVE, "---\n" + TWELVE, TWELVE + "...\n", TWELVE.replace("\n", "\r\n")])
def test_byte_order_mark_document_marks_and_other_line_ends_do_no_harm(text: str, tmp_path: Path):
    path = tmp_path / "a.design"
    path.write_bytes(text.encode("utf-8"))
    assert load_design(path).name == "Twelve lines"


def test_lines_are_counted_rightly_after_other_line_ends_and_a_byte_order_mark():
    for text in (TWELVE.replace("\n", "\r\n"), "\ufeff" + TWELVE):
        assert "radio.design:12  system.load" in refused(text.replace("12 W", "12 V"))


# Files that are none.


def file_refused(path: Path) -> str:
    with pytest.raises(SpecError) as caught:
        load_design(path)
    return str(caught.value)


def test_a_missing_file_names_the_nearest(tmp_path: Path):
    (tmp_path / "radio.design").write_text(TWELVE)
    said = file_refused(tmp_path / "radoi.design")
    assert "There is no such file" in said
    assert 'Did you mean "radio.design"?' in said
    assert "no such file" in file_refused(tmp_path / "deep" / "er" / "radio.design")


def test_a_folder_is_no_design_file(tmp_path: Path):
    assert "This is a folder" in file_refused(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_no_design_file_and_is_not_waited_for(tmp_path: Path):
    os.mkfifo(tmp_path / "pipe")
    assert "not an ordinary file" in file_refused(tmp_path / "pipe")


def test_a_file_that_cannot_be_opened_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    path = tmp_path / "a.design"
    path.write_text(TWELVE)

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)  # the tests may run as a user who may read everything
    assert "cannot be read: Permission denied" in file_refused(path)


def test_a_name_that_no_file_can_have_is_told():
    assert "\n    " in file_refused(Path("a\0b.design"))
    assert "\n    " in file_refused(Path("x" * 5000))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "The file is empty"),
        (b"\n\n  \n", "The file is empty"),
        (b"# only a comment\n", "The file is empty"),
        (b"\xef\xbb\xbf", "The file is empty"),
        (b"---\n", "a group of keys at the top"),
        (b"- name: x\n", "a group of keys at the top"),
        (b"just a text\n", "a group of keys at the top"),
        (b"12\n", "a group of keys at the top"),
        (b"name: Gr\xfc\xdfe\n", "The byte 0xFC in this line is not UTF-8"),
        ("name: x\n".encode("utf-16"), "UTF-16"),
        (b"\x7fELF\x02\x01\x01", "U+007F"),
        (b"name: x\n" + b"#" * (256 * 1024), "larger than 256 KiB"),
        (b"[" * 1000, "nested more than 12 deep"),
        (b"a: " + b"{a: " * 1000, "nested more than 12 deep"),
        (b"a: " + b"{a: " * 12 + b"1" + b"}" * 12, "nested more than 12 deep"),
        (b"a: " + b"{a: " * 9 + b"1" + b"}" * 9, '"a" is not a key of a design file'),
        (b"a:\n" + b"- x\n" * 6000, "more than 5000 keys and values"),
        (b"&a [*a, *a]\n", "refers to a value elsewhere"),
    ],
)
def test_no_design_file_is(data: bytes, words: str, tmp_path: Path):
    path = tmp_path / "a.design"
    path.write_bytes(data)
    said = file_refused(path)
    assert words in said
    assert len(said.splitlines()) <= 40


def test_a_byte_that_is_no_text_is_named_with_its_line(tmp_path: Path):
    path = tmp_path / "a.design"
    path.write_bytes(TWELVE.encode().replace(b"nmc-energy", b"nmc-\xe9nergy"))
    assert f"{path}:8\n" in file_refused(path)


def test_aliases_cannot_explode():
    # The classic: nine levels of nine references each would be 387 million items.
    bomb = "a: &a [x, x]\n" + "".join(
        f"{chr(98 + i)}: &{chr(98 + i)} [{', '.join(['*' + chr(97 + i)] * 9)}]\n" for i in range(9)
    )
    started = time.perf_counter()
    assert "references are not allowed" in refused(bomb)
    assert time.perf_counter() - started < 2.0


# Files that the design names.


def test_a_named_file_has_to_be_there(tmp_path: Path):
    path = tmp_path / "a.design"
    path.write_text(TWELVE + "parts:\n  switches: parts/switches.csv\n")
    said = file_refused(path)
    assert f"{path}:14" in said
    assert "There is no file 'parts/switches.csv'" in " ".join(said.split())
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / "switches.csv").write_text("x")
    assert load_design(path).parts.switches == "parts/switches.csv"


def test_a_generic_cell_is_no_file(tmp_path: Path):
    path = tmp_path / "a.design"
    path.write_text(TWELVE)
    assert load_design(path).pack.cell == "nmc-energy"
    path.write_text(TWELVE.replace("nmc-energy", "mine.csv"))
    assert "There is no file 'mine.csv'" in " ".join(file_refused(path).split())


def test_text_without_a_file_may_name_files_that_are_not_there():
    assert parse_design(TWELVE.replace("nmc-energy", "mine.csv"), "text").pack.cell == "mine.csv"


# Speed.


def test_loading_takes_a_fraction_of_a_tenth_of_a_second():
    times = []
    for _ in range(6):
        started = time.perf_counter()
        parse_design(GOOD, "good.design")
        times.append(time.perf_counter() - started)
    assert min(times) < 0.1  # measured 0.01 s; the best of several, since other work on the machine only adds


def test_loading_imports_the_yaml_reader_and_nothing_heavy():
    script = (
        f"import sys; from chargewright.spec.load import parse_design as p; p({TWELVE!r}, 'a'); print(*sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    loaded = {name.partition(".")[0] for name in done.stdout.split()}
    assert "ruamel" in loaded
    assert not loaded & {"scipy", "numba", "matplotlib", "jinja2", "typst", "pydantic", "typer"}
    rooms = {name.split(".")[1] for name in done.stdout.split() if name.startswith("chargewright.")}
    assert rooms == {"base", "spec"}

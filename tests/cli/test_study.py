"""`study` from end to end: what it prints and writes, what it refuses, and what stays whole when it is stopped."""

import csv
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import pytest

from chargewright.cli.progress import Line

FAST = ("--no-pdf", "--no-png")


def contents(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_a_study_prints_the_verdict_and_writes_the_report(run, twelve, tmp_path, monkeypatch):
    told: list[tuple[str, float]] = []
    monkeypatch.setattr(Line, "tell", lambda _line, step, share: told.append((step, share)))
    said = run("study", twelve, *FAST)
    assert said.code == 0
    words = " ".join(said.out.split())
    assert "is the only path that can do the job for Twelve lines" in words
    assert "Direct path with a buck charger" in words
    assert "Findings:" in words
    assert "Report: twelve-report" in words.replace(os.sep, "/")
    assert "qualified people" in words  # the caution is part of the output
    assert max(map(len, said.out.splitlines())) <= 100
    folder = tmp_path / "twelve-report"
    made = contents(folder)
    assert {"report.html", "study.json"} <= set(made)
    assert any(n.startswith("figures/") and n.endswith(".svg") for n in made)
    assert not any(n.endswith((".pdf", ".png")) for n in made)
    json.loads(made["study.json"])
    tables = [n for n in made if n.startswith("tables/")]
    assert tables
    for name in tables:
        rows = list(csv.reader(made[name].decode("utf-8").splitlines()))
        assert len({len(r) for r in rows}) == 1, name
    # Nothing but the report was left, not even a draft.
    assert sorted(p.name for p in tmp_path.iterdir()) == ["twelve-report", "twelve.yaml"]
    # Progress only ever rises, over study and report together.
    assert told[0][1] == 0.0
    assert told[-1] == ("report written", 1.0)
    shares = [share for _, share in told]
    assert shares == sorted(shares)


@pytest.mark.usefixtures("known")
def test_json_is_one_document_and_nothing_else(run, twelve, tmp_path):
    said = run("study", twelve, "--json")
    assert said.code == 0
    record = json.loads(said.out)
    assert said.out.count("\n") == 1
    assert "NaN" not in said.out
    assert record["design"]["name"] == "Twelve lines"
    assert [p.name for p in tmp_path.iterdir()] == ["twelve.yaml"]


@pytest.mark.usefixtures("known")
def test_json_is_the_record_that_the_report_holds_and_keeps_its_schema(run, twelve, tmp_path):
    printed = json.loads(run("study", twelve, "--json").out)
    run("study", twelve, *FAST, "--quiet")
    written = json.loads((tmp_path / "twelve-report" / "study.json").read_text("utf-8"))
    assert written == printed
    jsonschema.validate(printed, json.loads(run("schema", "study").out))


@pytest.mark.usefixtures("known")
def test_quiet_says_nothing(run, twelve):
    said = run("study", twelve, *FAST, "--quiet")
    assert (said.code, said.out, said.err) == (0, "", "")


@pytest.mark.usefixtures("known")
def test_the_folder_can_be_named_and_is_replaced_by_the_next_run(run, twelve, tmp_path):
    assert run("study", twelve, *FAST, "--quiet", "--out", "deep/er/report").code == 0
    folder = tmp_path / "deep" / "er" / "report"
    first = contents(folder)
    (folder / "report.html").write_text("spoiled")
    assert run("study", twelve, *FAST, "--quiet", "--out", folder).code == 0
    assert contents(folder) == first  # the same study gives the same bytes


def test_a_design_that_nothing_can_serve_ends_with_one_and_the_reasons(run, twelve, tmp_path):
    # PB09: 5 V can start no two-cell pack through a buck. CP06: the reason holds both voltages.
    twelve.write_text(twelve.read_text("utf-8").replace("20 V ±5 %", "5 V ±5 %"), "utf-8")
    said = run("study", twelve, *FAST)
    assert said.code == 1
    words = " ".join(said.out.split())
    assert "No path can do the job for Twelve lines" in words
    assert "8.571 V" in words
    assert "4.75 V" in words
    assert (tmp_path / "twelve-report" / "report.html").is_file()
    again = run("study", twelve, "--json")
    assert again.code == 1
    json.loads(again.out)


BAD_TABLE = "name,series\n1,2\n"
LATE = {
    "unknown path": ("candidates: [direct]", "candidates: [dirct]", "direct"),
    "missing cell table": ("cell: nmc-energy", "cell: cells/mine.csv", "mine.csv"),
    "unreadable cell table": ("cell: nmc-energy", "cell: bad.csv", "bad.csv"),
    "unknown cell": ("cell: nmc-energy", "cell: nmc-enrgy", "nmc-energy"),
    "missing parts": ("candidates: [direct]", "parts: {switches: nowhere.csv}", "nowhere.csv"),
    "unreadable parts": ("candidates: [direct]", "parts: {switches: bad.csv}", "bad.csv"),
    "parts without any": ("candidates: [direct]", "parts: {only_mine: true}", "only_mine"),
    "wrong frequency": ("candidates: [direct]", 'parts: {f_sw: ["fast"]}', "fast"),
    "unitless frequency": ("candidates: [direct]", 'parts: {f_sw: ["600"]}', "600"),
    "missing controller": ("candidates: [direct]", "controller: mine.yaml", "mine.yaml"),
    "unknown controller": ("candidates: [direct]", "controller: genric", "generic"),
    "broken controller": ("candidates: [direct]", "controller: broken.yaml", "broken.yaml"),
    "unparsable object": (
        "    kind: fixed\n    voltage: 20 V ±5 %\n    current: 3.25 A",
        '    kind: usb-pd\n    power: 65 W\n    objects: ["9 V and more"]',
        "9 V and more",
    ),
    "termination above the charge": (
        "candidates: [direct]",
        "charge: {current: 0.1 C, termination: 0.2 C}",
        "termination",
    ),
    "cell window upside down": ("capacity: 5 Ah", "capacity: 5 Ah\n  v_cell_min: 4.2 V\n  v_cell_max: 4 V", "v_cell_m"),
    "adapter better than physics": (
        "current: 3.25 A",
        "current: 3.25 A\n    efficiency: 99.9 %\n    no_load: 5 W",
        "adapter",
    ),
}


@pytest.mark.parametrize("what", LATE)
def test_what_the_form_allows_but_the_study_cannot_use_is_told_before_anything_is_written(what, run, twelve, tmp_path):
    old, new, words = LATE[what]
    text = twelve.read_text("utf-8")
    assert old in text
    twelve.write_text(text.replace(old, new), "utf-8")
    (tmp_path / "bad.csv").write_text(BAD_TABLE)
    (tmp_path / "broken.yaml").write_text("name: x\nfields: [oops\n")
    before = sorted(p.name for p in tmp_path.iterdir())
    said = run("study", twelve, *FAST)
    assert said.code == 2, said.out
    assert said.out == ""
    assert words in said.err
    assert "Traceback" not in said.err
    assert sorted(p.name for p in tmp_path.iterdir()) == before


def refused_folder(kind: str, tmp_path: Path) -> Path:
    out = tmp_path / "out"
    if kind == "a file":
        out.write_text("mine")
    elif kind == "not ours":
        out.mkdir()
        (out / "thesis.txt").write_text("mine")
    elif kind == "below a file":
        out.write_text("mine")
        out = out / "report"
    elif kind == "read-only":
        if os.name == "posix" and os.geteuid() == 0:
            return Path("/proc/report")  # root may write anywhere but here
        out.mkdir()
        out.chmod(0o555)
        out = out / "report"
    return out


@pytest.mark.usefixtures("known")
@pytest.mark.parametrize("kind", ["a file", "not ours", "below a file", "read-only"])
def test_a_folder_that_cannot_take_the_report_is_told_and_left_alone(kind, run, twelve, tmp_path):
    out = refused_folder(kind, tmp_path)
    mine = contents(tmp_path)
    said = run("study", twelve, *FAST, "--quiet", "--out", out)
    assert said.code == 2
    assert said.out == ""
    assert str(out) in said.err
    assert "Traceback" not in said.err
    assert contents(tmp_path) == mine


@pytest.mark.usefixtures("known")
def test_files_put_into_an_earlier_report_are_not_thrown_away(run, twelve, tmp_path):
    run("study", twelve, *FAST, "--quiet")
    note = tmp_path / "twelve-report" / "my notes.txt"
    note.write_text("mine")
    said = run("study", twelve, *FAST, "--quiet")
    assert said.code == 2
    assert "my notes.txt" in said.err
    assert note.read_text() == "mine"


@pytest.mark.parametrize(
    ("trouble", "code", "words"),
    [(KeyboardInterrupt(), 130, ""), (OSError(28, "No space left on device"), 2, "No space left on device")],
)
@pytest.mark.parametrize("when", ["parts, states", "figures"])
@pytest.mark.usefixtures("known")
def test_whatever_stops_a_run_leaves_the_earlier_report_whole(
    when, trouble, code, words, run, twelve, tmp_path, monkeypatch
):
    run("study", twelve, *FAST, "--quiet")
    earlier = contents(tmp_path)

    def stop(self: Line, step: str, share: float) -> None:
        if when in step:
            raise trouble

    monkeypatch.setattr(Line, "tell", stop)
    said = run("study", twelve, *FAST)
    assert said.code == code
    assert words in said.err
    assert "Traceback" not in said.err
    assert said.out == ""
    assert contents(tmp_path) == earlier


@pytest.mark.skipif(os.name != "posix", reason="signals are sent as POSIX knows them")
@pytest.mark.usefixtures("known")
def test_an_interrupt_from_the_keyboard_ends_the_program_quietly(run, twelve, tmp_path):
    run("study", twelve, *FAST, "--quiet")
    earlier = contents(tmp_path)
    command = [sys.executable, "-m", "chargewright", "study", str(twelve)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=tmp_path) as process:
        assert process.stderr is not None
        assert process.stderr.readline()  # the first line of progress: it is at work
        time.sleep(0.2)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=120)
    assert process.returncode == 130
    assert "Traceback" not in err
    assert out == ""
    assert contents(tmp_path) == earlier


@pytest.mark.parametrize(
    "encoding", ["ascii", *(pytest.param(e, marks=pytest.mark.slow) for e in ("cp1252", "utf-8", "latin-1"))]
)
def test_a_poor_console_gets_question_marks_and_no_traceback(encoding, program, twelve, tmp_path):
    done = program("study", twelve, *FAST, "--out", tmp_path / "out", PYTHONIOENCODING=encoding)
    assert done.returncode == 0
    assert "Traceback" not in done.stderr
    assert "Direct path with a buck charger" in done.stdout
    said = program("check", tmp_path / "fehlt-Ω.yaml", PYTHONIOENCODING=encoding)
    assert said.returncode == 2
    assert "Traceback" not in said.stderr

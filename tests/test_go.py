"""The set-up script: what it says when the machine lacks something, and that it does no work twice. No network."""

import ast
import importlib.util
import os
import subprocess
import sys
from collections import namedtuple
from pathlib import Path
from types import ModuleType

import pytest

SCRIPT = Path(__file__).resolve().parent.parent / "go.py"
Version = namedtuple("Version", "major minor")


@pytest.fixture
def go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Load the script as it would run in a fresh checkout: no `.venv`, other pins."""
    spec = importlib.util.spec_from_file_location("go", SCRIPT)
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    (tmp_path / "requirements").mkdir()
    for name in ("pyproject.toml", "requirements/uv.txt", "requirements/run.txt", "requirements/dev.txt"):
        (tmp_path / name).write_text(f"pins of {name}\n")
    monkeypatch.setattr(module, "ROOT", tmp_path)
    monkeypatch.setattr(module, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(module, "LOG", tmp_path / ".venv" / "set-up.log")
    return module


@pytest.fixture
def asked(go: ModuleType, monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """Stand in for every program that the script would run: each succeeds, and its command is noted."""
    commands: list[list[str]] = []

    def call(command: list[object], **_: object) -> int:
        commands.append([str(word) for word in command])
        return 0

    def make_venv() -> None:
        go.python().parent.mkdir(parents=True, exist_ok=True)
        go.python().touch()

    monkeypatch.setattr(go, "call", call)
    monkeypatch.setattr(go, "make_venv", make_venv)
    return commands


@pytest.mark.parametrize("version", [(3, 6), (3, 10), (3, 15)])
def test_an_unsuitable_python_is_named_in_one_line(go, capsys, monkeypatch, version):
    monkeypatch.setattr(go.sys, "version_info", Version(*version))
    monkeypatch.setattr(go, "output", lambda _: "")
    assert go.main(["test"]) == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert f"this is Python 3.{version[1]}, Chargewright needs Python 3.11 to 3.14" in said


def test_a_suitable_python_on_the_same_machine_is_offered(go, capsys, monkeypatch):
    monkeypatch.setattr(go.sys, "version_info", Version(3, 9))
    monkeypatch.setattr(go, "output", lambda command: "\n" if command[0] == "python3.12" else "")
    assert go.main(["study"]) == 1
    assert "run `python3.12 go.py` instead" in capsys.readouterr().err


def test_an_old_python_can_read_the_script_far_enough_to_refuse():
    ast.parse(SCRIPT.read_text(encoding="utf-8"), feature_version=(3, 6))


@pytest.mark.parametrize("missing", ["venv", "ensurepip"])
def test_a_python_without_virtual_environments_is_told_how_to_get_them(go, capsys, monkeypatch, missing):
    there = importlib.util.find_spec
    monkeypatch.setattr(go.importlib.util, "find_spec", lambda name: None if name == missing else there(name))
    assert go.main(["study"]) == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "apt install python3-venv" in said
    assert not go.VENV.exists()


@pytest.mark.parametrize(
    ("error", "cure"),
    [
        ("ERROR: No matching distribution found for numpy", "Is this machine online?"),
        ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES", "What came is not what was pinned"),
    ],
)
def test_a_failed_download_says_why_and_what_to_do(go, asked, capsys, monkeypatch, error, cure):
    def fail(command: list[object], **_: object) -> int:
        with go.LOG.open("a") as log:
            log.write(f"WARNING: Retrying\n{error}\n")
        return 1

    monkeypatch.setattr(go, "call", fail)
    assert go.main(["study"]) == 1
    said = capsys.readouterr().err
    assert f"could not fetch the libraries: {error}\n    {cure}" in said


def test_pip_takes_over_where_uv_cannot_be_had(go, asked, monkeypatch):
    noted = go.call
    monkeypatch.setattr(go, "call", lambda command, **how: noted(command, **how) or int("uv.txt" in str(command[-1])))
    go.set_up("run")
    installed = [command for command in asked if command[-1].endswith("run.txt")]
    assert [command[1:4] for command in installed] == [["-m", "pip", "install"]]
    assert "--require-hashes" in installed[0]


def test_pip_takes_over_where_uv_fails(go, asked, monkeypatch):
    noted = go.call
    monkeypatch.setattr(go, "call", lambda command, **how: noted(command, **how) or int("uv" in command))
    go.set_up("run")
    installed = [command[2] for command in asked if command[-1].endswith("run.txt")]
    assert installed == ["uv", "pip"]


def test_every_library_is_installed_against_its_hash(go, asked):
    go.set_up("dev")
    with_pins = [command for command in asked if "-r" in command]
    assert len(with_pins) == 2  # uv itself, then the libraries
    assert all("--require-hashes" in command for command in with_pins)


def test_set_up_ends_with_compiling_ahead(go, asked, capsys):
    go.set_up("run")
    assert asked[-1][1:] == ["-m", "chargewright", "prepare"]
    said = capsys.readouterr()
    assert "Compiling the numerical kernels" in said.out
    assert said.err == ""


def test_kernels_that_cannot_be_compiled_ahead_are_told_loudly_and_stop_nothing(go, asked, capsys, monkeypatch):
    noted = go.call
    monkeypatch.setattr(go, "call", lambda command, **how: noted(command, **how) or int(command[-1] == "prepare"))
    go.set_up("run")
    assert "the kernels could not be compiled ahead: no reason given" in capsys.readouterr().err
    asked.clear()
    go.set_up("run")
    assert asked == []


def test_a_second_run_installs_nothing(go, asked):
    go.set_up("dev")
    assert asked
    asked.clear()
    go.set_up("dev")
    go.set_up("run")  # the development set holds the other
    assert asked == []


@pytest.mark.parametrize("changed", ["pyproject.toml", "requirements/uv.txt", "requirements/run.txt"])
def test_a_changed_pin_sets_up_again(go, asked, changed):
    go.set_up("run")
    asked.clear()
    (go.ROOT / changed).write_text("other pins\n")
    go.set_up("run")
    assert asked


def test_an_interrupted_set_up_says_so_and_starts_again(go, asked, capsys, monkeypatch):
    def interrupted(command: list[object], **_: object) -> int:
        raise KeyboardInterrupt

    with monkeypatch.context() as during:
        during.setattr(go, "call", interrupted)
        assert go.main(["study"]) == 130
    assert "stopped" in capsys.readouterr().err
    go.set_up("run")
    assert asked


@pytest.mark.parametrize(("left", "made_anew"), [("unfinished", True), ("of other pins", False)])
def test_only_a_venv_that_was_broken_off_or_does_not_fit_is_made_anew(go, capsys, monkeypatch, left, made_anew):
    go.python().parent.mkdir(parents=True)
    go.python().touch()
    go.stamp().write_text(left)
    monkeypatch.setattr(go, "output", lambda _: f"{sys.version_info[0]} {sys.version_info[1]} True")
    monkeypatch.setattr(go, "call", lambda *_, **__: 0)
    kept = go.VENV / "kept"
    kept.touch()
    go.set_up("run")
    assert kept.exists() is not made_anew


@pytest.mark.parametrize(
    ("arguments", "passed_on"),
    [
        ([], ["study", "EXAMPLE"]),
        (["--quick"], ["study", "EXAMPLE", "--quick"]),
        (["my.yaml", "--quick"], ["study", "my.yaml", "--quick"]),
    ],
)
def test_study_takes_the_example_unless_a_design_is_named(go, asked, arguments, passed_on):
    assert go.main(["study", *arguments]) == 0
    example = str(go.EXAMPLE)
    assert asked[-1][1:] == ["-m", "chargewright", *(example if word == "EXAMPLE" else word for word in passed_on)]


def test_the_exit_code_of_the_study_is_passed_on(go, asked, monkeypatch):
    noted = go.call
    monkeypatch.setattr(go, "call", lambda command, **how: noted(command, **how) or 3 * ("chargewright" in command))
    assert go.main(["study"]) == 3


def test_a_failed_check_fails_the_run_but_the_tests_still_run(go, asked, capsys, monkeypatch):
    noted = go.call
    monkeypatch.setattr(go, "call", lambda command, **how: noted(command, **how) or int("mypy" in command))
    assert go.main(["test"]) == 1
    assert asked[-1][1:] == ["-m", "pytest", "-n", "2", "-rfEs"]
    assert "failed before the tests: mypy" in capsys.readouterr().err


def test_the_exit_code_of_pytest_is_passed_on(go, asked, monkeypatch):
    noted = go.call
    monkeypatch.setattr(go, "call", lambda command, **how: noted(command, **how) or 5 * ("pytest" in command))
    assert go.main(["test"]) == 5


def test_an_unknown_command_shows_how_to_call_it():
    done = subprocess.run([sys.executable, SCRIPT, "tests"], capture_output=True, text=True)
    assert done.returncode == 2
    assert "python3 go.py study" in done.stdout


@pytest.mark.skipif(os.name == "nt", reason="signals are numbered on POSIX systems only")
def test_a_program_ended_by_a_signal_gives_128_and_its_number(go):
    assert go.call([sys.executable, "-c", "import os; os.kill(os.getpid(), 15)"]) == 128 + 15

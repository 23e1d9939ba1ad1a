"""Kernels compiled ahead: every one of them, in the types that the commands use, and what is told where one fails."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from chargewright.base.compiled import is_kept, numba_module
from chargewright.cli.main import main
from chargewright.studies import prepare as module
from chargewright.studies.kernels import Kernel, shelf
from chargewright.studies.prepare import prepare

pytestmark = pytest.mark.skipif(numba_module() is None, reason="numba has no wheel for this machine")
EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "tablet.yaml"

COMMANDS = """
import sys
from chargewright.cli.main import main
design = sys.argv[1]
for words in (["study", design, "--json"], ["charge", design, "--path", "narrow-buck", "--json"],
              ["usage", design, "--path", "narrow-buck", "--days", "30", "--json"]):
    assert main(words) in (0, 1)
"""


def test_every_kernel_is_there_afterwards_and_is_not_compiled_twice():
    told: list[float] = []
    first = prepare(lambda _, share: told.append(share))
    assert {p.key for p in first} == set(shelf.keys())
    assert not [p.trouble for p in first if p.trouble]
    assert all(is_kept(kernel.function) for _, kernel in shelf.all())
    assert told == sorted(told)
    assert [p.seconds for p in prepare()] == [0.0] * len(first)


def test_the_commands_find_every_kernel_in_the_types_they_need(tmp_path):
    # A copy of the cache, since other tests may compile something of their own meanwhile.
    prepare()
    shutil.copytree(os.environ["NUMBA_CACHE_DIR"], tmp_path / "kept", copy_function=shutil.copy2)
    wanted = {k.function.__name__ for _, k in shelf.all()}
    there = {p.name for p in (tmp_path / "kept").rglob("*.nbc") if p.name.split("-")[0].rpartition(".")[2] in wanted}
    assert len(there) >= len(wanted)
    for path in (tmp_path / "kept").rglob("*"):
        if path.suffix == ".nbc" and path.name not in there:
            path.unlink()
    environment = dict(os.environ, NUMBA_CACHE_DIR=str(tmp_path / "kept"))
    done = subprocess.run(
        [sys.executable, "-c", COMMANDS, str(EXAMPLE)], env=environment, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr
    assert {p.name for p in (tmp_path / "kept").rglob("*.nbc")} == there


def test_a_kernel_that_fails_is_told_and_the_others_go_on(monkeypatch, capsys):
    def unknown() -> object:
        raise AssertionError

    every = [*shelf.all(), ("no-such", Kernel(title="something else", function=unknown, tiny=unknown, cost=1.0))]
    monkeypatch.setattr(module.shelf, "all", lambda: every)
    found = {p.key: p for p in prepare()}
    assert "'no-such' is not known" in found["no-such"].trouble
    assert len(found) == len(every)
    assert main(["prepare"]) == 1
    assert f"1 of {len(every)} kernels could not be compiled ahead" in capsys.readouterr().out


def test_without_numba_there_is_nothing_to_compile(monkeypatch, capsys):
    monkeypatch.setattr(module, "numba_module", lambda: None)
    monkeypatch.setattr("chargewright.base.compiled.numba_module", lambda: None)
    assert prepare() == []
    assert main(["prepare"]) == 0
    assert "the plain form of each kernel serves" in capsys.readouterr().out


def test_every_kernel_file_of_the_package_is_on_the_shelf_or_part_of_one_that_is():
    # A kernel that nobody names here would be compiled while somebody waits.
    source = Path(__file__).resolve().parents[2] / "src" / "chargewright"
    calls = re.compile(r"(?<!\w)compiled(?:_bare|_loop|_form)?\((?:_?kernel\.)?(\w+)\)")
    asked = {
        name
        for path in source.rglob("*.py")
        if path.parts[-2:] != ("base", "compiled.py")
        for name in calls.findall(path.read_text(encoding="utf-8"))
    }
    assert asked == {kernel.function.__name__ for _, kernel in shelf.all()}

"""Help and usage: quick, complete, and no traceback for a slip of the finger."""

import os
import re
import subprocess
import sys

import pytest

COMMANDS = ("study", "check", "starter", "schema")
SLOW_TO_IMPORT = {"jinja2", "matplotlib", "numba", "scipy", "typst"}


def test_help_names_every_command_and_the_caution(program):
    done = program("--help")
    assert done.returncode == 0
    for command in COMMANDS:
        assert re.search(rf"^ +{command} ", done.stdout, flags=re.MULTILINE)
    words = " ".join(done.stdout.split())
    assert "Lithium packs and power stages hurt people" in words
    assert "qualified review" in words
    assert done.stderr == ""


def test_help_costs_little_time():
    # The aim is 0.2 s on a quiet machine. Processor time, not clock time, of the program and what it starts, and a
    # generous limit, so that a busy machine does not fail it.
    script = (
        "import os, subprocess, sys; subprocess.run([sys.executable, '-m', 'chargewright', '--help'], check=True, "
        "stdout=subprocess.DEVNULL); t = os.times(); print(t.children_user + t.children_system)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=120, check=True)
    if os.name == "posix":  # elsewhere the times of children are not kept
        assert float(done.stdout) < 1.5


def test_checking_a_file_loads_nothing_slow(twelve):
    command = [sys.executable, "-X", "importtime", "-m", "chargewright", "check", str(twelve)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0
    names = set(re.findall(r"^import time:\s+\d+ \|\s+\d+ \|\s+([\w]+)", done.stderr, flags=re.MULTILINE))
    assert "chargewright" in names
    assert not names & SLOW_TO_IMPORT


@pytest.mark.parametrize(
    ("command", "words"),
    [
        ("study", ("DESIGN", "--out", "--no-pdf", "--no-png", "--json", "--quiet")),
        ("check", ("DESIGN", "without studying")),
        ("starter", ("FILE", "--name", "--force")),
        ("schema", ("design", "study")),
    ],
)
def test_every_command_explains_its_options(command, words, run):
    said = run(command, "--help")
    assert said.code == 0
    for word in words:
        assert word in said.out
    assert said.err == ""


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("studdy",), "study"),
        (("study",), "DESIGN"),
        (("study", "a.yaml", "--oout", "x"), "--oout"),
        (("schema", "pack"), "pack"),
        (("check", "a.yaml", "b.yaml"), "b.yaml"),
    ],
)
def test_a_slip_of_the_finger_is_told_and_helped(arguments, words, run):
    said = run(*arguments)
    assert said.code == 2
    assert words in said.err
    assert "chargewright --help" in said.err
    assert "Traceback" not in said.err
    assert said.out == ""


def test_nothing_asked_for_shows_the_help(program):
    done = program()
    assert done.returncode == 2
    assert "Usage: chargewright" in done.stdout + done.stderr

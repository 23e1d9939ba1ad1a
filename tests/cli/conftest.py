"""The command line as a user meets it: run in this process, or as a program of its own where that matters."""

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from chargewright.cli.main import main
from chargewright.dossier import door
from chargewright.dossier.record import Dossier

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
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
candidates: [direct]
"""
"""The least design, on one path so that it is studied quickly."""


@dataclass(frozen=True, slots=True)
class Said:
    """What a command returned and printed."""

    code: int
    out: str
    err: str


Run = Callable[..., Said]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Return a function that runs a command in an empty folder of its own and returns what it said."""
    monkeypatch.chdir(tmp_path)

    def command(*arguments: str | Path) -> Said:
        capsys.readouterr()
        code = main([str(a) for a in arguments])
        said = capsys.readouterr()
        return Said(code, said.out, said.err)

    return command


@pytest.fixture
def twelve(tmp_path: Path) -> Path:
    """Return the least design as a file."""
    file = tmp_path / "twelve.yaml"
    file.write_text(TWELVE, "utf-8")
    return file


@pytest.fixture(scope="session")
def studied(tmp_path_factory: pytest.TempPathFactory) -> Dossier:
    """Return the dossier of the least design, worked out once."""
    file = tmp_path_factory.mktemp("studied") / "twelve.yaml"
    file.write_text(TWELVE, "utf-8")
    return door.study(file)


@pytest.fixture
def known(monkeypatch: pytest.MonkeyPatch, studied: Dossier) -> None:
    """Let `study` take the dossier that is known already, where a test is about what happens after it."""

    def make(design: Path, progress: Callable[[str, float], None]) -> Dossier:
        progress("parts, states", 0.1)
        return studied

    monkeypatch.setattr(door, "study", make)


@pytest.fixture
def program() -> Callable[..., subprocess.CompletedProcess[str]]:
    """Return a function that runs the command line as a program of its own."""

    def start(*arguments: str | Path, **environment: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "chargewright", *map(str, arguments)]
        given = os.environ | {"PYTHONIOENCODING": "utf-8"} | environment
        return subprocess.run(
            command, capture_output=True, text=True, encoding="utf-8", errors="replace", env=given, timeout=300
        )

    return start


@pytest.fixture
def examples() -> Path:
    """Return the folder of the shipped examples."""
    return EXAMPLES

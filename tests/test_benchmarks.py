"""Every benchmark still runs: once, small, and nobody looks at its times."""

import subprocess
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).resolve().parent.parent / "benchmarks"
SHARED = {"machine.py"}
"""What the benchmarks share and is none itself."""
SCRIPTS = sorted(p.name for p in FOLDER.glob("*.py") if p.name not in SHARED and not p.name.startswith("_"))


@pytest.mark.parametrize("script", SCRIPTS)
def test_it_runs(script: str):
    command = [sys.executable, FOLDER / script, "--small"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()


def test_there_are_benchmarks():
    assert "loss_points.py" in SCRIPTS

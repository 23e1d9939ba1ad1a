"""A missing program is skipped loudly on a user's machine and is a failure in CI."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest


def run_without_ngspice(folder: Path, ci: str) -> subprocess.CompletedProcess[str]:
    """Run one test that needs ngspice, under this project's conftest, on a machine that seems to have no programs."""
    shutil.copy(Path(__file__).parent / "conftest.py", folder)
    (folder / "test_one.py").write_text("def test_one(ngspice):\n    pass\n")
    environment = os.environ | {"PATH": str(folder), "CI": ci}
    command = [sys.executable, "-m", "pytest", "-rfEs", "-p", "no:cacheprovider", folder]
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, timeout=60)


@pytest.mark.parametrize(("ci", "code", "count"), [("", 0, "1 skipped"), ("true", 1, "1 error")])
def test_a_missing_program(tmp_path: Path, ci: str, code: int, count: str):
    done = run_without_ngspice(tmp_path, ci)
    assert done.returncode == code
    assert count in done.stdout.splitlines()[-1]
    assert "ngspice is not installed: `apt install ngspice`" in done.stdout

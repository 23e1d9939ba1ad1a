"""What all tests share: one thread per worker, repeatable hypothesis runs, programs that may be missing."""

import os
import shutil
from collections.abc import Callable, Generator

# The linear-algebra libraries read these when numpy is first imported. Two workers with a pool of threads each would
# spend several times as long on small matrices.
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import pytest
from hypothesis import HealthCheck, settings

IN_CI = os.environ.get("CI", "").lower() not in ("", "0", "false")

# No deadline: a first call may compile a kernel, and a shared machine stalls now and then. In CI the examples are
# always the same ones, so that a change is judged by what it changed.
settings.register_profile("everyday", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("ci" if IN_CI else "everyday")

PACKAGES = {  # program: package of it in Debian and Ubuntu, in Homebrew
    "ngspice": ("ngspice", "ngspice"),
    "pdftotext": ("poppler-utils", "poppler"),
    "pdftoppm": ("poppler-utils", "poppler"),
    "pdfinfo": ("poppler-utils", "poppler"),
}


@pytest.fixture
def need_program() -> Callable[[str], str]:
    """Return a function that gives a system program's path, or skips the test and says how to get the program."""

    def path_of(program: str) -> str:
        found = shutil.which(program)
        if found is None:
            debian, homebrew = PACKAGES[program]
            pytest.skip(f"{program} is not installed: `apt install {debian}` as root, or `brew install {homebrew}`")
        return found

    return path_of


@pytest.fixture
def ngspice(need_program: Callable[[str], str]) -> str:
    """Return the path of the general circuit simulator that serves as an independent reference."""
    return need_program("ngspice")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Turn a skip into a failure in CI, where every program is installed: a green run has run everything."""
    report = yield
    if IN_CI and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped, which CI does not allow: {report.longrepr}"
    return report

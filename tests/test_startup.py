"""Starting the command line stays quick: what is slow to import waits until something needs it."""

import re
import subprocess
import sys

import pytest

SLOW_TO_IMPORT = ("jinja2", "matplotlib", "numba", "pyarrow", "scipy", "typst")


def loaded_by(*command: str) -> set[str]:
    """Return the top-level names of all modules that a Python command imports."""
    done = subprocess.run([sys.executable, "-X", "importtime", *command], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, re.sub(r"import time:.*\n", "", done.stderr)
    # A line of the interpreter's own record: "import time:  self [us] | cumulative |   package.module".
    names = re.findall(r"^import time:\s+\d+ \|\s+\d+ \|\s+([\w.]+)$", done.stderr, flags=re.MULTILINE)
    return {name.partition(".")[0] for name in names}


@pytest.fixture(scope="module")
def loaded_for_help() -> set[str]:
    return loaded_by("-m", "chargewright", "--help")


@pytest.mark.parametrize("module", SLOW_TO_IMPORT)
def test_help_does_not_load(module: str, loaded_for_help: set[str]):
    assert module not in loaded_for_help


def test_the_record_of_imports_would_show_a_slow_module():
    # The check on the checks above: they can fail.
    assert {"chargewright", "jinja2"} <= loaded_by("-c", "import chargewright, jinja2")

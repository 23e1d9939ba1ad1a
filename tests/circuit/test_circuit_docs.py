"""The page about switched circuits tells what the code does; the event loop runs without a compiler."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "circuit.md").read_text(encoding="utf-8")


def test_the_page_s_python_prints_what_the_page_shows(capsys: pytest.CaptureFixture[str]) -> None:
    code, shown = (
        re.search(rf"^```{language}\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)
        for language in ("python", "text")
    )
    assert code
    assert shown
    exec(compile(code[1], "docs/circuit.md", "exec"), {})
    assert capsys.readouterr().out == shown[1]


SMALL = """
from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import Coil, Resistor, Source
from chargewright.circuit.run import run
parts = (Source(name="s", a="a", b="0", v=1.0), Resistor(name="r", a="a", b="b", r=1.0),
         Coil(name="coil", a="b", b="0", l=1e-6))
print(run(Circuit(elements=parts, period=1e-6), cycles=1, compiled=True).end.x[0])
"""


def test_the_event_loop_gives_the_known_answer_with_the_compiler_switched_off() -> None:
    # Definition: a coil behind a resistor reaches 1 − 1/e of its final current after one time constant.
    done = subprocess.run(
        [sys.executable, "-c", SMALL],
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
    )
    assert done.returncode == 0, done.stderr
    assert float(done.stdout) == pytest.approx(0.6321205588285577, rel=1e-14)

"""How many switching cycles a second the switched circuit runs, against a general circuit simulator on the same one.

    python benchmarks/switched_circuit.py            a minute or two
    python benchmarks/switched_circuit.py --small    seconds; the numbers mean nothing then

Open loop: a buck into a resistor (reference circuit o01). Closed loop: a charger of two loops (o07). The simulator gets
the references' own decks at the longest steps that their scan found good for 0.5 % or better (the period over 50 with
reltol 1e-3; over 20 with 1e-4), and for the closed loop also the deck that the product writes, at steps that are good
for 0.05 % (the period over 12.3 with reltol 1e-3); the product is exact to rounding. Processor time of both, because
other work may share the machine; compiling is left out, and so is the simulator's start, by the difference of two runs.
"""

import argparse
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from machine import about

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "circuit"))

from chargewright.circuit.circuit import Circuit  # noqa: E402
from chargewright.circuit.deck import deck  # noqa: E402
from chargewright.circuit.elements import i_of, v_node  # noqa: E402
from chargewright.circuit.run import engine_of  # noqa: E402
from conftest import DATA, charger, reference  # noqa: E402 - the reference circuits live with their tests


def ours(circuit: Circuit, cycles: int) -> float:
    """Return our cycles a second of processor time, from the start-up transient on."""
    engine = engine_of(circuit, compiled=True)
    engine.advance(engine.beginning(), cycles)
    best = 0.0
    for _ in range(3):
        begin = time.process_time()
        engine.advance(engine.beginning(), cycles)
        best = max(best, cycles / (time.process_time() - begin))
    return best


def theirs(ngspice: str, write: Callable[[int], str], cycles: int) -> float:
    """Return the simulator's cycles a second of processor time."""
    spent = [processor_time(ngspice, write(n)) for n in (2, cycles)]
    return (cycles - 2) / max(spent[1] - spent[0], 1e-3)


def processor_time(ngspice: str, text: str) -> float:
    """Return the processor time of one deck [s]."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "deck.cir").write_text(text)
        done = subprocess.run([ngspice, "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, check=False)
        if "aborted" in done.stdout + done.stderr or not (Path(folder) / "out.raw").exists():
            raise SystemExit(f"the simulator wrote no result:\n{done.stdout[-2000:]}{done.stderr[-2000:]}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def shortened(case: str, step: float, tolerance: str, circuit: Circuit, cycles: int) -> str:
    """Return a reference's own deck for fewer periods, at a step that is a share of the period."""
    text = (DATA / case / "deck.cir").read_text()
    line = f"tran 20n {cycles * circuit.period:.9g} 0 {step * circuit.period:.9g} uic"
    text = re.sub(r"^tran .*$", line, text, flags=re.MULTILINE)
    return re.sub(r"reltol=\S+", f"reltol={tolerance}", text)


def written(circuit: Circuit, cycles: int) -> str:
    """Return the deck that the product writes, with what the reference records."""
    seen = (v_node("out"), v_node("pack"), v_node("in"), i_of("coil"), i_of("r_pack"), v_node("control"))
    return deck(circuit, cycles=cycles, record=seen, step=circuit.period / 12.3, tolerance=1e-3)


def main() -> None:
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--small", action="store_true", help="run once, small: shows only that it runs")
    small = parser.parse_args().small
    print(about())
    ngspice = shutil.which("ngspice")
    open_loop, closed_loop = reference("o01_buck_rload"), charger("o07_cccv")
    cases: list[tuple[str, Circuit, Callable[[int], str], int, int]] = [
        ("open loop", open_loop, partial(shortened, "o01_buck_rload", 1 / 50, "1e-3", open_loop), 60_000, 1_000),
        ("closed loop", closed_loop, partial(shortened, "o07_cccv", 1 / 20, "1e-4", closed_loop), 12_000, 1_600),
        ("closed loop, own deck", closed_loop, partial(written, closed_loop), 12_000, 1_600),
    ]
    for name, circuit, write, many, few in cases:
        fast = ours(circuit, 400 if small else many)
        print(f"{name:22s} {fast:9.0f} cycles/s of processor time")
        if ngspice is None:
            print(" " * 23 + "no ngspice here to compare with")
            continue
        count = 20 if small else few
        slow = sorted(theirs(ngspice, write, count) for _ in range(1 if small else 3))[-1]
        print(" " * 23 + f"{slow:9.0f} by ngspice: {fast / slow:.0f} times as many")


if __name__ == "__main__":
    main()

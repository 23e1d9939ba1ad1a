"""How much faster the averaged circuit runs one transient than the switched one, and how far apart they are.

    python benchmarks/averaged_circuit.py            half a minute, and some more where the kernels are not compiled
    python benchmarks/averaged_circuit.py --small    seconds; the numbers mean nothing then

A charger of three loops under a load step (reference circuit o08), 6 ms of it. Both start from their tables' making, as
a study that tries one value after another does. Processor time, because other work may share the machine.
"""

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from machine import about

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "circuit"))

from chargewright.circuit.averaged import averaged_samples, run_averaged  # noqa: E402
from chargewright.circuit.elements import i_of  # noqa: E402
from chargewright.circuit.measures import window  # noqa: E402
from chargewright.circuit.run import run  # noqa: E402
from conftest import charger  # noqa: E402 - the reference circuits live with their tests


def spent(work: Callable[[], object], times: int) -> float:
    """Return the median processor time of one go [s]."""
    found = []
    for _ in range(times):
        begin = time.process_time()
        work()
        found.append(time.process_time() - begin)
    return sorted(found)[len(found) // 2]


def main() -> None:
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--small", action="store_true", help="run once, small: shows only that it runs")
    small = parser.parse_args().small
    print(about())
    circuit = charger("o08_bus_load_step")
    cycles = 40 if small else 4_800
    t_end = cycles * circuit.period
    times = 1 if small else 5
    forms = [False] if small else [False, True]
    for compiled in forms:
        if compiled:
            run(circuit, cycles=2, compiled=True)
            run_averaged(circuit, t_end=circuit.period, compiled=True)
        averaged = spent(lambda c=compiled: run_averaged(circuit, t_end=t_end, compiled=c), times)
        switched = spent(lambda c=compiled: run(circuit, cycles=cycles, compiled=c), times if compiled else 1)
        form = "compiled" if compiled else "plain"
        print(f"{form:9s} averaged {averaged:7.3f} s, switched {switched:7.3f} s: {switched / averaged:5.1f} times")
    first = 0 if small else 1_520
    theirs = window(run(circuit, cycles=cycles)).per_cycle(i_of("r_pack"))[first:]
    at = averaged_samples(run_averaged(circuit, t_end=t_end), (np.arange(first, cycles) + 0.5) * circuit.period)
    error = np.sqrt(np.mean((at.of(i_of("r_pack")) - theirs) ** 2)) / np.ptp(theirs)
    print(f"pack current: {100 * error:.2f} % of span apart (rms of period means)")


if __name__ == "__main__":
    main()

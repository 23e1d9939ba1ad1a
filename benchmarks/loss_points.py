"""How many full converter loss points a second a sweep computes, compiled on all cores against plain numpy.

    python benchmarks/loss_points.py            about a minute
    python benchmarks/loss_points.py --small    a second; the numbers mean nothing then

Both forms run the same lines (`network.stage.stage_point`): all 19 losses and 15 waveform quantities of each point, at
fixed temperatures. The runs alternate, so that what else the machine does meets both.
"""

import argparse
import subprocess
import sys
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from machine import about, cores, median, other_load, peak_memory, repeated

from chargewright.network.stage import CoilAt, Setting, StageLosses, StageWaveform, SwitchAt
from chargewright.network.sweep import StageDesign, design_rows, sweep, sweep_numpy

Floats = npt.NDArray[np.float64]
DESIGNS = 40
GIBIBYTE = 2**30


def designs() -> Floats:
    """Return stages of many switches and inductors, a third each of buck, boost and four switches."""
    rng = np.random.default_rng(1)
    r_on = 10.0 ** rng.uniform(-2.6, -1.5, (4, DESIGNS))
    switches = [SwitchAt(r, 8e-11 / r, 2e-11 / r, 2.2, 3.0, 2.5e-12 / r, 1e-10 / r, 15e-9, 0.8) for r in r_on]
    coil = CoilAt(10.0 ** rng.uniform(-5.8, -4.8, DESIGNS), 8.0, 2.5, 15e-3, 1.5, 1e6, 1.0, 1.35, 2.3, 1e-7, 2e-4)
    legs = np.arange(DESIGNS) % 3 - 1.0
    setting = Setting(legs, rng.uniform(3e5, 1.2e6, DESIGNS), 25e-9, 5.0, 1e-3, 0.92, 0.5, 1.0, 0.3, 3e-3, 2e-3)
    return design_rows(StageDesign(switches[0], switches[1], switches[2], switches[3], coil, setting))


def conditions(n: int) -> tuple[Floats, Floats, Floats, npt.NDArray[np.int64]]:
    """Return voltages, currents and designs that reach every region, from no load to overload."""
    rng = np.random.default_rng(2)
    current = 10.0 ** rng.uniform(-3.0, 1.0, n)
    return rng.uniform(5.0, 25.0, n), rng.uniform(5.0, 25.0, n), current, rng.integers(0, DESIGNS, n)


def compiled_and_plain(n: int) -> tuple[Callable[[], tuple[Floats, Floats]], Callable[[], tuple[Floats, Floats]]]:
    """Return both forms of one sweep, ready to run."""
    rows, (v_in, v_out, i_l, index) = designs(), conditions(n)

    def fast() -> tuple[Floats, Floats]:
        return sweep(v_in, v_out, i_l, rows, index, compile_from=0)

    def plain() -> tuple[Floats, Floats]:
        losses = np.empty((n, len(StageLosses._fields)))
        waves = np.empty((n, len(StageWaveform._fields)))
        sweep_numpy(v_in, v_out, i_l, index, rows, losses, waves)
        return losses, waves

    return fast, plain


def compare(n: int, repeats: int) -> None:
    """Print rates, their ratio and how well both forms agree."""
    fast, plain = compiled_and_plain(n)
    losses, others = fast()[0], plain()[0]
    apart = np.max(np.abs(losses - others) / (np.abs(others) + 1e-12))
    pairs = [(repeated(fast, 1)[0], repeated(plain, 1)[0]) for _ in range(repeats)]
    watches = {"compiled": [p[0] for p in pairs], "plain numpy": [p[1] for p in pairs]}
    print(about())
    load = other_load([watch for pair in pairs for watch in pair])
    print(f"{n} points, {repeats} repeats, medians; meanwhile other processes used {load}")
    print("form           points/s     points/(core·s) of processor time   wall time")
    rate = {}
    for form, runs in watches.items():
        wall, own = median(runs, "wall"), median(runs, "own")
        rate[form] = (n / wall, n / own)
        print(f"{form:14s} {n / wall / 1e6:6.2f} M     {n / own / 1e6:6.2f} M {wall:36.3f} s")
    by_wall, by_core = (rate["compiled"][k] / rate["plain numpy"][k] for k in (0, 1))
    print(f"compiled over plain: {by_wall:.1f} times by wall time, {by_core:.1f} times per core")
    print(f"{cores()} idle cores would give {cores() * rate['compiled'][1] / 1e6:.1f} M points/s if they shared evenly")
    print(f"largest difference of any loss between the forms: {apart:.1e} of it")


def memory(n: int) -> None:
    """Print the peak memory of one sweep in a process of its own."""
    done = subprocess.run([sys.executable, __file__, "--one", str(n)], capture_output=True, text=True, check=True)
    peak = int(done.stdout)
    verdict = "below" if peak < GIBIBYTE else "ABOVE"
    print(f"peak memory of a sweep of {n} points: {peak / GIBIBYTE:.2f} GiB ({verdict} 1 GiB)")


def main() -> None:
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true", help="run once, small: shows only that it runs")
    parser.add_argument("--one", type=int, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one:
        compiled_and_plain(asked.one)[0]()
        print(peak_memory())
        return
    compare(2_000 if asked.small else 400_000, 1 if asked.small else 9)
    memory(2_000 if asked.small else 1_000_000)


if __name__ == "__main__":
    main()

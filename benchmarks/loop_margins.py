"""How long margins over an envelope of operating points take, whole arrays against python-control point by point.

    python benchmarks/loop_margins.py            some ten seconds
    python benchmarks/loop_margins.py --small    a second; the numbers mean nothing then

The loop is a charger's current loop: buck, source with cable, damped input capacitors, pack with one R-C pair, delay,
type 2 amplifier, in both conduction modes. python-control, where it is installed, gets the same loop gain as samples.
"""

import argparse

import numpy as np
from machine import about, cores, median, other_load, repeated

from chargewright.loops.compensator import Transconductance
from chargewright.loops.current_mode import VoltageMode
from chargewright.loops.impedance import Branch, Port
from chargewright.loops.loop import Loop, LoopGain, Plant
from chargewright.loops.margins import frequencies, margins
from chargewright.loops.stage import BUCK, StagePoints


def envelope(n: int) -> LoopGain:
    """Return the charge-current loop at n random operating points."""
    rng = np.random.default_rng(3)

    def spread(low: float, high: float) -> np.ndarray:
        return rng.uniform(low, high, (n, 1))

    stage = StagePoints(
        topology=BUCK,
        v_in=spread(12.0, 21.0),
        v_out=spread(6.0, 8.4),
        i_coil=spread(0.1, 4.0),
        inductance=spread(1.6e-6, 2.6e-6),
        period=1.25e-6,
        r_coil=spread(0.010, 0.016),
        r_in_high=0.014,
        r_in_low=0.010,
    )
    source = Port(c=spread(8e-6, 14e-6), esr=3e-3, branch=Branch(r=0.08, l=1e-6), c_damp=47e-6, r_damp=0.13)
    pack = Branch(r=spread(0.04, 0.09), r_1=0.025, c_1=0.04)
    output = Port(c=spread(20e-6, 35e-6), esr=2e-3, branch=pack, r_sense=5e-3)
    amplifier = Transconductance(gm=1e-4, r_z=2.2e3, c_z=10e-9, c_p=220e-12)
    plant = Plant(points=stage, input=source, output=output, modulator=VoltageMode(t_delay=0.8e-6))
    return LoopGain(plant, Loop(sensed="output-current", scale=0.1, amplifier=amplifier))


def compare(n: int, repeats: int, theirs: int) -> None:
    """Print rates and their ratio."""
    gain = envelope(n)
    f = frequencies(300.0, 4e5, 12)
    runs = repeated(lambda: margins(gain, n, f, workers=cores()), repeats)
    found = margins(gain, n, f)
    print(about())
    print(f"{n} points, {len(f)} frequencies; meanwhile other processes used {other_load(runs)}")
    wall = median(runs, "wall")
    print(f"whole arrays   {wall:6.2f} s wall, {median(runs, 'own'):6.2f} s of processor; {n / wall:9.0f} loops/s")
    print(f"discontinuous {np.mean(gain.discontinuous):.0%}, stable {np.mean(found.stable):.0%}")
    try:
        import control
    except ImportError:
        print("python-control is not installed: no yardstick")
        return

    def point_by_point() -> None:
        fine = frequencies(300.0, 4e5, 100)
        for k in range(theirs):
            t = gain(fine, slice(k, k + 1))[0]
            control.stability_margins(control.frd(t, 2.0 * np.pi * fine, smooth=True))

    slow = median(repeated(point_by_point, 1), "wall")
    print(f"point by point {slow:6.2f} s wall for {theirs} of them; {theirs / slow:9.0f} loops/s")
    print(f"ratio {n / wall / (theirs / slow):.0f}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--small", action="store_true", help="run once, small")
    small = parser.parse_args().small
    compare(500 if small else 100_000, 1 if small else 5, 3 if small else 200)

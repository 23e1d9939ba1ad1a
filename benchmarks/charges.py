"""How many CC-CV charges a batch does while a general battery simulator does one, and how long a Monte Carlo takes.

    python benchmarks/charges.py            about a minute
    python benchmarks/charges.py --small    seconds; the numbers mean nothing then

The reference is PyBaMM's equivalent circuit on the same equations: its `solve` alone, with the model already built, at
its default tolerances and at tight ones. Runs alternate, so that what else the machine does meets both. Without PyBaMM
(`pip install -r requirements/physics.txt`) that half is left out, and the script says so.
"""

import argparse
import os
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from machine import about, cores, median, other_load, repeated

from chargewright.base.compiled import is_kept
from chargewright.base.units import exact
from chargewright.parts.cell import Cell, ChargeZone, RcPair, frozen, with_top
from chargewright.parts.pack import Pack, build_pack
from chargewright.sim._charge_batch_kernel import charge_many
from chargewright.sim.charge import run_charge
from chargewright.sim.charge_batch import charge_batch
from chargewright.sim.charge_setup import BRISK, FINE, QUICK, charge_settings
from chargewright.spec.fields import rate
from chargewright.spec.pack import ChargeSpec, PackSpec

AMP_HOURS, V_MAX, R_1, C_1 = 4.0, 4.2, 0.018, 1800.0
SOC = np.linspace(0.0, 1.0, 21)
OCV = [
    2.9,
    3.27,
    3.4,
    3.46,
    3.5,
    3.54,
    3.57,
    3.6,
    3.63,
    3.66,
    3.7,
    3.74,
    3.79,
    3.84,
    3.89,
    3.94,
    3.99,
    4.04,
    4.08,
    4.13,
    4.2,
]
R_0 = [42, 36, 32, 30, 29, 28, 28, 27, 27, 27, 26, 26, 26, 26, 26, 27, 27, 28, 29, 31, 34]  # mΩ
HEAT_CAPACITY, COOLING = 60.0, 0.12
ROOM, SOC_START = 298.15, 0.05


def one_pair_pack() -> Pack:
    """Return the invented one-pair cell of the kept reference run `o15_charge_ecm`, charged at any temperature."""
    pack = build_pack(PackSpec(cell="nmc-energy", series=1, interconnect=exact(0.0), protection=exact(0.0)), Path())
    soc_ocv, ocv = with_top(frozen(SOC), frozen(OCV), along_slope=True)
    r_0 = frozen(1e-3 * np.array(R_0, dtype=float)[:, None])
    one = np.ones((len(SOC), 1))
    pair = RcPair(r_charge=frozen(R_1 * one), r_discharge=frozen(R_1 * one), tau=frozen(R_1 * C_1 * one))
    zones = (ChargeZone(temp_low=200.0, temp_high=400.0, rate=10.0 / 3600.0, v_max=5.0),)
    cell: Cell = replace(
        pack.cell, key="one-pair", capacity=AMP_HOURS * 3600.0, charge_span=AMP_HOURS * 3600.0, v_min=2.9, v_max=V_MAX,
        soc_ocv=soc_ocv, ocv=ocv, docv_dt=frozen(np.zeros(len(ocv))), soc=frozen(SOC), temp=frozen([ROOM]),
        r0_charge=r_0, r0_discharge=r_0, pairs=(pair,), heat_capacity=HEAT_CAPACITY, thermal_resistance=1.0 / COOLING,
        limits=replace(pack.cell.limits, zones=zones, v_precharge=0.5, v_upper=V_MAX + 0.05),
    )  # fmt: skip
    return replace(pack, cell=cell, v_cell_max=V_MAX, v_cell_min=2.9)


def simulation(pybamm: Any, c_rate: float, tolerance: float | None) -> Any:
    """Return PyBaMM's equivalent circuit with the same tables, built and ready to solve."""
    given = pybamm.equivalent_circuit.Thevenin().default_parameter_values
    soc, ocv, r_0 = SOC, np.array(OCV), 1e-3 * np.array(R_0, dtype=float)
    given.update(
        {
            "Initial SoC": SOC_START,
            "Initial temperature [K]": ROOM,
            "Ambient temperature [K]": ROOM,
            "Cell capacity [A.h]": AMP_HOURS,
            "Nominal cell capacity [A.h]": AMP_HOURS,
            "Current function [A]": 1.0,
            "Upper voltage cut-off [V]": V_MAX + 0.2,
            "Lower voltage cut-off [V]": 2.0,
            "Cell thermal mass [J/K]": HEAT_CAPACITY,
            "Cell-jig heat transfer coefficient [W/K]": COOLING,
            "Jig thermal mass [J/K]": 1e9,
            "Jig-air heat transfer coefficient [W/K]": 10.0,
            "Open-circuit voltage [V]": lambda x: pybamm.Interpolant(soc, ocv, x, interpolator="linear"),
            "R0 [Ohm]": lambda _t, _i, x: pybamm.Interpolant(soc, r_0, x, interpolator="linear"),
            "R1 [Ohm]": lambda _t, _i, _x: pybamm.Scalar(R_1),
            "C1 [F]": lambda _t, _i, _x: pybamm.Scalar(C_1),
            "Entropic change [V/K]": lambda _v, _t: pybamm.Scalar(0.0),
            "RCR lookup limit [A]": 1e4,
        }
    )
    steps = (f"Charge at {c_rate * AMP_HOURS:.9g} A until {V_MAX} V", f"Hold at {V_MAX} V until {0.05 * AMP_HOURS} A")
    solver = pybamm.IDAKLUSolver() if tolerance is None else pybamm.IDAKLUSolver(rtol=tolerance, atol=tolerance / 100)
    made = pybamm.Simulation(
        pybamm.equivalent_circuit.Thevenin(),
        experiment=pybamm.Experiment([steps], period="60 seconds"),
        parameter_values=given,
        solver=solver,
    )
    made.build_for_experiment()
    return made


def against_the_simulator(n: int, repeats: int) -> None:
    """Print how many charges of a batch fit into one solve, with the error of each against fine steps."""
    os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"  # else it asks at its first import
    try:
        import pybamm
    except ImportError:
        print("PyBaMM is NOT installed: the comparison is left out (pip install -r requirements/physics.txt)")
        return
    pybamm.set_logging_level("ERROR")
    pack = one_pair_pack()
    settings = {r: charge_settings(ChargeSpec(current=rate(r)), pack) for r in (0.5, 1.0)}
    finest = replace(FINE, soc_step=5e-4, v_step=1e-3, current_step=2e-3, temp_step=0.02)
    t_exact = {
        r: run_charge(pack, s, soc_start=SOC_START, temp_ambient=ROOM, accuracy=finest).t_end
        for r, s in settings.items()
    }
    currents = np.tile([0.5 * AMP_HOURS, 1.0 * AMP_HOURS], n // 2)
    for name, tolerance in (("default tolerances", None), ("tolerance 1e-7", 1e-7)):
        made = {r: simulation(pybamm, r, tolerance) for r in settings}
        for accuracy_name, accuracy in (("BRISK", BRISK), ("QUICK", QUICK)):

            def batch(accuracy: Any = accuracy) -> Any:
                return charge_batch(
                    pack, settings[1.0], soc_start=SOC_START, temp_ambient=ROOM, i_charge=currents, accuracy=accuracy
                )

            found = batch()
            solves, batches = [], []
            for _ in range(repeats):
                solves += [repeated(each_solve.solve, 1)[0] for each_solve in made.values()]
                batches += repeated(batch, 1)
            ours = max(abs(float(found.t_end[k]) / t_exact[r] - 1.0) for k, r in enumerate(settings))
            ended = [float(made[r].solution["Time [s]"].entries[-1]) for r in made]
            theirs = max(abs(t / t_exact[r] - 1.0) for t, r in zip(ended, settings, strict=True))
            one, each = median(solves, "wall"), median(batches, "wall") / n
            own = median(solves, "own") / (median(batches, "own") / n / cores())
            print(
                f"{name:18s} {1e3 * one:6.2f} ms a solve (error {theirs:.0e}); {accuracy_name} "
                f"{1e6 * each:5.1f} µs a charge (error {ours:.0e}): {one / each:5.0f} charges a solve by wall time, "
                f"{own:5.0f} if the {cores()} cores were idle; others used {other_load(solves + batches)}"
            )


def monte_carlo(n: int) -> None:
    """Print how long a Monte Carlo of a charge takes, the first time in a process and again."""
    pack = build_pack(PackSpec(cell="nmc-energy", series=2), Path())
    settings = charge_settings(ChargeSpec(), pack)
    rng = np.random.default_rng(3)
    asked = {
        "soc_start": rng.uniform(0.0, 0.3, n),
        "temp_ambient": rng.normal(298.15, 4.0, n),
        "i_charge": settings.i_charge * rng.normal(1.0, 0.01, n),
        "v_set": settings.v_set * (1.0 + 0.005 * rng.uniform(-1.0, 1.0, n)),
        "capacity": rng.normal(1.0, 0.02, n),
        "resistance": rng.normal(1.0, 0.08, n),
        "i_available": rng.uniform(1.5, 4.0, n),
    }
    start = time.perf_counter()
    charge_batch(pack, settings, **{name: values[:1] for name, values in asked.items()})
    print(f"first batch in this process, compiling or fetching the kernel: {time.perf_counter() - start:.1f} s")
    (watch,) = repeated(lambda: charge_batch(pack, settings, **asked), 1)
    print(f"Monte Carlo of {n} charges of a 2S pack: {watch.wall:.2f} s; others used {other_load([watch])}")


def main() -> None:
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true", help="run once, small: shows only that it runs")
    small = parser.parse_args().small
    print(about())
    print("the kernel was kept from an earlier run" if is_kept(charge_many) else "the kernel has to be compiled")
    monte_carlo(20 if small else 10_000)
    against_the_simulator(10 if small else 2_000, 1 if small else 15)


if __name__ == "__main__":
    main()

"""Draw the pulse tests of published parameter sets, for the tests of the fit: python tools/draw_pulse_tests.py

Needs PyBaMM (tried with 26.10.1.1). Each test charges a cell from rest at 0 % in pulses of 5 % at C/2 (the first ones
shorter), with an hour of rest after each. Written are thinned logs in the columns of the battery data format.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
from draw_cells_pulses import RADIAL_POINTS, mesh
from draw_cells_sets import ORIGINS, Array, load_pybamm, parameters, window

FOLDER = Path(__file__).resolve().parents[1] / "tests" / "data" / "pulse_tests"
RATE, REST = 0.5, 3600.0
STEPS = (0.025, 0.025, *(0.05,) * 18, 0.025)
HEADS = ("Test Time / s", "Current / A", "Voltage / V")


def main() -> None:
    """Write one log a set: Newman model of Chen2020, single-particle model of Prada2013 as in reference run o17."""
    pybamm = load_pybamm()
    chen = parameters(ORIGINS["nmc_energy"])
    win, (x, y) = window(chen), window(chen).at(0.0)
    for name, stoich in zip(("negative", "positive"), (x, y), strict=True):
        c_max = chen[f"Maximum concentration in {name} electrode [mol.m-3]"]
        chen[f"Initial concentration in {name} electrode [mol.m-3]"] = stoich * c_max
    draw("chen2020", pybamm.lithium_ion.DFN(), chen, win.capacity)

    prada = pybamm.ParameterValues("Prada2013")
    limits = {"Upper voltage cut-off [V]": 3.6, "Lower voltage cut-off [V]": 2.5}
    limits |= {"Open-circuit voltage at 100% SOC [V]": 3.6, "Open-circuit voltage at 0% SOC [V]": 2.5}
    prada.update(limits)
    capacity = window(prada).capacity
    draw("prada2013", pybamm.lithium_ion.SPM(), prada.set_initial_state(0.0, inplace=False), capacity)


def draw(name: str, model: Any, values: Any, capacity: float) -> None:
    """Simulate one pulse test and write its log."""
    pybamm = load_pybamm()
    v_max = values["Upper voltage cut-off [V]"]
    values.update({"Upper voltage cut-off [V]": v_max + 0.4, "Lower voltage cut-off [V]": 0.1})
    rated = float(values["Nominal cell capacity [A.h]"])
    rest = pybamm.step.rest(duration=REST, period=10.0)
    steps: list[Any] = [pybamm.step.rest(duration=600.0, period=60.0)]
    for share in STEPS:
        seconds = share * capacity / (RATE * rated) * 3600.0
        steps += [pybamm.step.current(-RATE * rated, duration=seconds, period=1.0), rest]
    solution = pybamm.Simulation(
        model,
        experiment=pybamm.Experiment(steps),
        parameter_values=values,
        var_pts=mesh(model, RADIAL_POINTS),
        solver=pybamm.IDAKLUSolver(rtol=1e-6, atol=1e-8),
    ).solve()
    rows: list[tuple[float, float, float]] = []
    for step in (step for cycle in solution.cycles for step in cycle.steps):
        t, i, v = (step[k].entries for k in ("Time [s]", "Current [A]", "Voltage [V]"))
        rows += [(t[k], -i[k], v[k]) for k in _thinned(t)]
    with (FOLDER / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(HEADS)
        table.writerows((f"{t:.10g}", f"{i + 0.0:.7g}", f"{v:.8g}") for t, i, v in rows)
    print(f"{name}: {len(rows)} rows, {capacity:.5f} Ah")


def _thinned(t: Array) -> list[int]:
    """Return samples that grow apart from the start of a step; its first and last are kept."""
    since = t - t[0]
    wanted = np.concatenate([[0.0], np.geomspace(1.0, max(since[-1], 2.0), 45)])
    return sorted({*np.searchsorted(since, np.minimum(wanted, since[-1])).tolist(), len(t) - 1})


if __name__ == "__main__":
    main()

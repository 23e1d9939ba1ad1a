"""Reference charges and pulses for the tests: the Newman model on the published sets, not on our tables."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from draw_cells_pulses import RADIAL_POINTS, SHORT, PulseBench, mesh
from draw_cells_sets import ORIGINS, T_REF, Array, load_pybamm, parameters, window

SET_UP_POINTS = 20  # what PyBaMM takes across a particle unless told otherwise; check values CE10 to CE14 used it
TERMINATION_C = 0.05
CHARGES = [(key, rate, T_REF) for key in ("nmc_energy", "nmc_power", "lco") for rate in (0.5, 1.0)]
CHARGES.append(("nmc_energy", 0.5, 283.15))


def write_references(folder: Path) -> None:
    """Write the summary of every reference charge, two of them as curves, and the reference pulses."""
    summary = []
    for key, rate, temp in CHARGES:
        figures, curve = reference_charge(key, rate, temp)
        summary.append(figures)
        if key == "nmc_energy" and temp == T_REF:
            _write(folder / f"charge_{key}_{rate:g}C.csv", curve)
    _write(folder / "reference_charges.csv", summary)
    _write(folder / "reference_pulses.csv", reference_pulses())


def reference_charge(key: str, rate: float, temp: float) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Charge a set from rest at 0 % at constant current, then constant voltage to C/20; isothermal.

    Returns the figures and a thinned curve.  Currents and charges are those of the set's own cell.
    """
    pybamm = load_pybamm()
    values = parameters(ORIGINS[key])
    win, rated, v_max = (
        window(values),
        float(values["Nominal cell capacity [A.h]"]),
        values["Upper voltage cut-off [V]"],
    )
    (x, y), electrodes = win.at(0.0), ("negative", "positive")
    for name, stoich in zip(electrodes, (x, y), strict=True):
        c_max = values[f"Maximum concentration in {name} electrode [mol.m-3]"]
        values[f"Initial concentration in {name} electrode [mol.m-3]"] = stoich * c_max
    values.update({"Ambient temperature [K]": temp, "Initial temperature [K]": temp})
    values.update({"Upper voltage cut-off [V]": v_max + 0.1, "Lower voltage cut-off [V]": 0.1})
    steps = (
        f"Charge at {rate * rated:.9g} A until {v_max} V",
        f"Hold at {v_max} V until {TERMINATION_C * rated:.9g} A",
    )
    model = pybamm.lithium_ion.DFN({"thermal": "isothermal"})
    solution = pybamm.Simulation(
        model,
        experiment=pybamm.Experiment([steps], period="10 seconds"),
        parameter_values=values,
        var_pts=mesh(model, RADIAL_POINTS),
        solver=pybamm.IDAKLUSolver(rtol=1e-6, atol=1e-8),
    ).solve()
    t, v, i = (solution[name].entries for name in ("Time [s]", "Voltage [V]", "Current [A]"))
    i = -i
    q, e = _running(i, t) / 3600, _running(v * i, t) / 3600
    t_cc = float(solution.cycles[0].steps[0]["Time [s]"].entries[-1])
    q_cc, e_cc = float(np.interp(t_cc, t, q)), float(np.interp(t_cc, t, e))
    soc = q / win.capacity
    figures = {
        **{"cell": key, "parameter_set": ORIGINS[key].set_name, "rate_C": rate, "temp_C": round(temp - 273.15, 2)},
        **{"rated_Ah": rated, "capacity_Ah": round(win.capacity, 4), "i_cc_A": rate * rated, "v_max_V": v_max},
        **{
            "i_end_A": round(TERMINATION_C * rated, 6),
            "t_80_s": round(float(np.interp(0.8, soc, t)), 1),
            "t_cc_s": round(t_cc, 1),
        },
        **{"soc_cc_end": round(q_cc / win.capacity, 4), "t_end_s": round(float(t[-1]), 1), "q_cc_Ah": round(q_cc, 4)},
        **{"q_end_Ah": round(float(q[-1]), 4), "e_cc_Wh": round(e_cc, 3), "e_end_Wh": round(float(e[-1]), 3)},
        "soc_end": round(float(soc[-1]), 4),
    }
    keep = np.unique(np.concatenate([np.searchsorted(t, np.arange(0, t[-1], 60.0)), [len(t) - 1]]))
    names = ("t_s", "i_A", "v_V", "soc")
    curve = [dict(zip(names, (f"{c[k]:.7g}" for c in (t, i, v, soc)), strict=True)) for k in keep]
    return figures, curve


def _running(rate: Array, t: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum((rate[1:] + rate[:-1]) / 2 * np.diff(t))])


def reference_pulses() -> list[dict[str, Any]]:
    """Return pulse resistances of Chen2020 at 0.5 C and 25 °C: raw, and without the slope of the rest voltage."""
    rows = []
    for points in (SET_UP_POINTS, RADIAL_POINTS):
        bench = PulseBench(ORIGINS["nmc_energy"], *SHORT, radial_points=points)
        for soc in (0.2, 0.5, 0.8):
            for name, sign in (("charge", +1), ("discharge", -1)):
                eta, raw = bench.polarisation(soc, T_REF, sign)
                row: dict[str, Any] = {"radial_points": points, "soc": soc, "temp_C": 25, "direction": name}
                for label, when in (("1ms", 1e-3), ("1s", 1.0), ("10s", SHORT[0] - 1e-3)):
                    row[f"r_{label}_ohm"] = f"{np.interp(when, bench.t, raw):.6g}"
                row["r_10s_less_ocv_ohm"] = f"{np.interp(SHORT[0] - 1e-3, bench.t, eta):.6g}"
                rows.append(row)
    return rows


def _write(path: Path, rows: Iterable[dict[str, Any]]) -> None:
    rows = list(rows)
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, fieldnames=list(rows[0]), lineterminator="\n")
        table.writeheader()
        table.writerows(rows)

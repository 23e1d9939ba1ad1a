"""Draw the tables of the four generic cells from published parameter sets.

Needs PyBaMM (tried with 26.10.1.1) in an environment of its own; the product itself never imports it.

    python tools/draw_cells.py            draw every table, the reference charges, and check them
    python tools/draw_cells.py lco        draw the tables of one cell, and check them all
    python tools/draw_cells.py --check    check the tables that stand in the folder (numpy is enough)

For each cell `<key>` of `cells.json`, three tables go to `src/chargewright/parts/cells/data/`:

    <key>_ocv.csv    rest voltage and its temperature slope at 25 °C, on a fine grid
    <key>.csv        R0 of both directions and one RC pair, against state of charge and temperature
    <key>_slow.csv   a second, slower RC pair of each direction for charges and discharges that last minutes

Rest voltage: electrode state-of-health solver at the set's own cut-offs, 0 % = lower and 100 % = upper cut-off at rest.

Resistances: pulse tests simulated with the Newman model, isothermal, from equilibrium.  What the fit sees is the
polarisation, rest voltage at the charge actually held less terminal voltage; so a cell model that moves along the
rest-voltage table must not count the slope of that table a second time.

    short test : 10 s at 0.5 C, 60 s of rest   -> r0 of each direction, r1, tau1
    long test  : 300 s at 0.5 C, 1800 s of rest, centred on the state of charge -> r2 of each direction, with the
                 first pair kept and one tau2 for each temperature
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from draw_cells_check import faults
from draw_cells_pulses import LONG, SHORT, Fit, Leftover, PulseBench, fit_pair, fit_r2, fit_tau2, leftover
from draw_cells_reference import write_references
from draw_cells_sets import ORIGINS, Origin, arrhenius, entropic_slope, load_pybamm, parameters, rest_voltage, window

ROOT = Path(__file__).resolve().parents[1]
DATA = ROOT / "src" / "chargewright" / "parts" / "cells" / "data"
TEST_DATA = ROOT / "tests" / "data" / "cells"

TEMPS_C = (-10.0, 0.0, 10.0, 25.0, 45.0, 60.0)
SOC_GRID = np.unique(
    np.round(
        np.concatenate([np.arange(0.05, 0.951, 0.05), [0, 0.01, 0.02, 0.03, 0.075, 0.925, 0.97, 0.98, 0.99, 1]]), 4
    )
)
OCV_GRID = np.unique(
    np.round(
        np.concatenate([np.arange(0, 1.0001, 0.005), np.arange(0, 0.0501, 0.001), np.arange(0.95, 1.0001, 0.001)]), 4
    )
)

Rows = list[list[float]]


def drawn_resistances(origin: Origin, scale: float) -> tuple[Rows, Rows]:
    """Return the rows of both resistance tables from simulated pulse tests; resistances times `scale`."""
    short, long = PulseBench(origin, *SHORT), PulseBench(origin, *LONG)
    fast: Rows = []
    slow: Rows = []
    for temp_c in TEMPS_C:
        temp = temp_c + 273.15
        fits: dict[float, Fit] = {}
        left: dict[float, Leftover] = {}
        for soc in (float(z) for z in SOC_GRID if z >= origin.lowest):
            charge, discharge = (short.polarisation(short.centred(soc, sign), temp, sign)[0] for sign in (+1, -1))
            fits[soc] = fit = fit_pair(short.t, short.pulse, charge, discharge)
            left[soc] = leftover(long, soc, temp, fit)
        tau2 = fit_tau2(left[soc] for soc in left if 0.2 <= soc <= 0.8)
        for soc in (float(z) for z in SOC_GRID):
            fit, r2 = fits[max(soc, origin.lowest)], fit_r2(left[max(soc, origin.lowest)], tau2)
            fast.append([soc, temp_c, *(scale * r for r in (fit.r0_charge, fit.r0_discharge, fit.r1)), fit.tau1])
            slow.append([soc, temp_c, *(scale * r for r in r2), tau2])
        say(f"  {temp_c:g} degC done, worst fit {max(f.rms / f.r0_charge for f in fits.values()):.1%} of R0")
    return fast, slow


def invented_lfp_resistances() -> tuple[Rows, Rows]:
    """Return rows of the typical magnitude of a power LFP cell of 2.3 Ah, about 10 mΩ at 10 s, half full and 25 °C."""
    fast: Rows = []
    slow: Rows = []
    for temp_c in TEMPS_C:
        ely, kin, dif = (arrhenius(e, temp_c + 273.15) for e in (17e3, 35e3, 30.3e3))
        for soc in (float(z) for z in SOC_GRID):
            ends = 1 + 1.5 * np.exp(-soc / 0.06) + 0.4 * np.exp(-(1 - soc) / 0.04)
            r0 = 5e-3 / ely + 3e-3 * ends / kin
            r2 = 4e-3 * ends / dif
            fast.append([soc, temp_c, r0, r0, 5e-3 * ends / dif, 15.0])
            slow.append([soc, temp_c, r2, r2, 200.0])
    return fast, slow


def draw(key: str) -> None:
    """Draw the three tables of one cell."""
    origin, cell = ORIGINS[key], cell_facts()[key.replace("_", "-")]
    values = parameters(origin)
    win, rated = window(values), float(values["Nominal cell capacity [A.h]"])
    per_plate = rated / cell["rated_capacity_Ah"]["value"]
    for name, drawn in (
        ("capacity_Ah", win.capacity / per_plate),
        ("v_min_V", float(values["Lower voltage cut-off [V]"])),
        ("v_max_V", float(values["Upper voltage cut-off [V]"])),
    ):
        if abs(cell[name]["value"] - drawn) > 5e-4:
            raise SystemExit(f"cells.json, {key}, {name}: {cell[name]['value']} stands there, {drawn:.5g} is drawn")

    ocv, slope = rest_voltage(values, OCV_GRID), entropic_slope(origin.entropy, OCV_GRID)
    write(f"{key}_ocv", origin, OCV_COLUMNS, zip(OCV_GRID, ocv, slope, strict=True))
    fast, slow = invented_lfp_resistances() if key == "lfp" else drawn_resistances(origin, per_plate)

    def with_ocv(row: list[float]) -> list[float]:
        soc, temp_c, *rest = row
        k = float(np.interp(soc, OCV_GRID, slope))
        return [soc, temp_c, float(np.interp(soc, OCV_GRID, ocv)) + k * (temp_c - 25.0), *rest, k]

    write(key, origin, FAST_COLUMNS, map(with_ocv, fast))
    write(f"{key}_slow", origin, SLOW_COLUMNS, slow)


OCV_COLUMNS = {"soc": ".4f", "ocv_V": ".5f", "docv_dT_V_per_K": ".3e"}
FAST_COLUMNS = {
    **{"soc": ".4f", "temp_C": ".0f", "ocv_V": ".5f", "r0_charge_ohm": ".5g", "r0_discharge_ohm": ".5g"},
    **{"r1_ohm": ".5g", "tau1_s": ".4g", "docv_dT_V_per_K": ".3e"},
}
SLOW_COLUMNS = {**{"soc": ".4f", "temp_C": ".0f", "r2_charge_ohm": ".5g", "r2_discharge_ohm": ".5g", "tau2_s": ".4g"}}


def write(stem: str, origin: Origin, columns: dict[str, str], rows: Iterable[Iterable[float]]) -> None:
    header = [
        f"# Generic cell, drawn with PyBaMM {load_pybamm().__version__} on {datetime.now(UTC):%Y-%m-%d}. See README.md."
    ]
    header += [f"# {line}" for line in origin.notes]
    lines = [",".join(format(v + 0.0, f) for v, f in zip(row, columns.values(), strict=True)) for row in rows]
    path = DATA / f"{stem}.csv"
    path.write_text("\n".join([*header, ",".join(columns), *lines]) + "\n", encoding="utf-8")
    say(f"wrote {path.relative_to(ROOT)}, {len(lines)} rows")


def cell_facts() -> Any:
    return json.loads((DATA / "cells.json").read_text(encoding="utf-8"))["cells"]


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def main(arguments: list[str]) -> int:
    if "--check" not in arguments:
        for key in arguments or ORIGINS:
            say(key)
            draw(key)
        if not arguments:
            write_references(TEST_DATA)
    found = faults(DATA)
    say("\n".join(found) or "the tables are sound")
    return 1 if found else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))

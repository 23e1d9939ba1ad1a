"""Check the tables of the generic cells against outside values and plain sense; numpy is enough."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from draw_cells_sets import Array

SOC_POINTS = (0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1)
# Rest voltages of check values CE01, CE03, CE04, CE06: recomputed from the same sets by an independent script.
OCV_CHECKS = {
    "nmc_energy": (2.5, 3.109, 3.296, 3.485, 3.581, 3.667, 3.751, 3.841, 3.948, 4.042, 4.097, 4.124, 4.2),
    "nmc_power": (2.8, 3.462, 3.511, 3.585, 3.639, 3.671, 3.716, 3.797, 3.88, 3.971, 4.077, 4.136, 4.2),
    "lco": (3.0, 3.542, 3.64, 3.695, 3.733, 3.762, 3.793, 3.836, 3.909, 3.994, 4.088, 4.138, 4.2),
    "lfp": (2.0, 2.785, 2.978, 3.168, 3.206, 3.252, 3.266, 3.269, 3.274, 3.31, 3.314, 3.316, 3.6),
}
OCV_TOLERANCE = 3e-3  # V, as the check values state
# Check value CE14: 10 s pulse resistance of Chen2020 at 0.5 C, 25 °C; 3 % as stated there.
PULSE_CHECKS = {0.2: 35.75e-3, 0.5: 33.46e-3, 0.8: 35.35e-3}
PULSE_TOLERANCE = 0.03
# From one point of the grid to the next, a resistance seen from outside changes by less than this factor.  How a fit
# divides 10 s between R0 and the pair is less smooth, and means little where the pair is a tenth of the whole.
STEP = 1.3


def read_table(path: Path) -> dict[str, Array]:
    with path.open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}


def faults(data: Path) -> list[str]:
    """Return one line for everything wrong with the tables in the folder `data`."""
    return [f"{key}: {fault}" for key in OCV_CHECKS for fault in _faults_of(key, data)]


def _faults_of(key: str, data: Path) -> Iterator[str]:
    ocv, fast, slow = (read_table(data / f"{key}{part}.csv") for part in ("_ocv", "", "_slow"))
    off = np.interp(SOC_POINTS, ocv["soc"], ocv["ocv_V"]) - OCV_CHECKS[key]
    if np.max(np.abs(off)) > OCV_TOLERANCE:
        yield f"rest voltage is off by up to {np.max(np.abs(off)) * 1e3:.1f} mV"
    if np.min(np.diff(ocv["ocv_V"])) <= 0:
        yield "rest voltage does not rise everywhere"
    if np.max(np.abs(ocv["docv_dT_V_per_K"])) > 1e-3:
        yield "rest voltage moves by more than 1 mV/K"
    for temp in np.unique(fast["temp_C"]):
        at = {name: column[fast["temp_C"] == temp] for name, column in fast.items()}
        if np.min(np.diff(at["soc"])) <= 0 or at["soc"][0] != 0 or at["soc"][-1] != 1:
            yield f"{temp:g} degC: states of charge do not run from 0 to 1"
        if np.min(np.diff(at["ocv_V"])) <= 0:
            yield f"{temp:g} degC: rest voltage does not rise everywhere"
        pair = at["r1_ohm"] * (1 - np.exp(-10 / at["tau1_s"]))
        for direction in ("charge", "discharge"):
            r0 = at[f"r0_{direction}_ohm"]
            for name, ohms in (("R0", r0), ("10 s resistance", r0 + pair)):
                jump = float(np.max(np.exp(np.abs(np.diff(np.log(ohms))))))
                if not jump <= STEP:
                    yield f"{temp:g} degC: {name} of {direction} jumps by a factor of {jump:.2f}"
    for table in (fast, slow):
        for name in table:
            if name.endswith(("_ohm", "_s")) and not np.min(table[name]) > 0:
                yield f"{name} is not positive everywhere"
    for soc in SOC_POINTS[1:-1]:
        r0 = fast["r0_charge_ohm"][np.isclose(fast["soc"], soc)]
        if np.max(np.diff(r0)) >= 0:
            yield f"at {soc:g}: R0 does not fall with temperature"
    if key == "nmc_energy":
        for soc, expected in PULSE_CHECKS.items():
            found = pulse_resistance(fast, soc, 25.0)
            if abs(found / expected - 1) > PULSE_TOLERANCE:
                yield f"10 s resistance at {soc:g} is {found * 1e3:.2f} mohm, {expected * 1e3:.2f} expected"


def pulse_resistance(table: dict[str, Any], soc: float, temp_c: float, seconds: float = 10.0) -> float:
    """Return R0 + R1 (1 - exp(-t/tau)) of a charge pulse from a row of the table [Ω]."""
    (i,) = np.flatnonzero(np.isclose(table["soc"], soc) & (table["temp_C"] == temp_c))
    return float(table["r0_charge_ohm"][i] + table["r1_ohm"][i] * (1 - np.exp(-seconds / table["tau1_s"][i])))

"""Thin out the pulse test of a small cell that the package `ampworks` carries: python tools/draw_small_cell_pulses.py

Needs ampworks 0.1.0 (BSD 3-Clause). Keeps up to 45 rows of each step, closer together where the step begins.
"""

from __future__ import annotations

import csv
from importlib.util import find_spec
from pathlib import Path

import numpy as np

FOLDER = Path(__file__).resolve().parents[1] / "tests" / "data" / "pulse_tests"


def main() -> None:
    """Write the thinned log in the columns of the battery data format."""
    spec = find_spec("ampworks")
    if spec is None or spec.origin is None:
        raise SystemExit("ampworks is not installed")
    source = Path(spec.origin).parent / "datasets" / "resources" / "hppc" / "hppc_discharge.csv"
    rows = np.genfromtxt(source, delimiter=",", names=True)
    t, i, v, step = (np.asarray(rows[name], dtype=float) for name in ("Seconds", "Amps", "Volts", "Step"))
    edges = np.concatenate([[0], np.flatnonzero(np.diff(step)) + 1, [len(t)]])
    kept: list[int] = []
    for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        since = t[a:b] - t[a]
        wanted = np.concatenate([[0.0], np.geomspace(0.1, max(since[-1], 0.2), 44)])
        kept += sorted({*(a + np.searchsorted(since, np.minimum(wanted, since[-1]))).tolist(), b - 1})
    with (FOLDER / "small_cell_hppc.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(("Test Time / s", "Current / A", "Voltage / V"))
        table.writerows((f"{t[k]:.8g}", f"{i[k] + 0.0:.7g}", f"{v[k]:.7g}") for k in kept)


if __name__ == "__main__":
    main()

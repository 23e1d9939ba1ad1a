"""Battery Data Format out: a predicted charge or a pack in use, to be laid over a measured one.

Three columns are required (`Test Time / s`, `Voltage / V`, `Current / A`), the others are labels of the same format
(package `batterydf` 0.1.0, Battery Data Alliance). Here as everywhere, current into the pack is positive. Times rise
strictly: of rows that share an instant the last one stays, which is what holds from there on.
"""

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import LogError
from chargewright.base.files import save_text_atomically
from chargewright.base.units import ZERO_CELSIUS, show
from chargewright.parts.cell import Array
from chargewright.sim.charge import ChargeRun
from chargewright.studies.usage.record import UsageRun

REQUIRED = ("Test Time / s", "Voltage / V", "Current / A")
OPTIONAL = (
    "Unix Time / s",
    "Cycle Count / 1",
    "Step Count / 1",
    "Step Index / 1",
    "Ambient Temperature / degC",
    "Charging Capacity / Ah",
    "Discharging Capacity / Ah",
    "Step Capacity / Ah",
    "Net Capacity / Ah",
    "Cumulative Capacity / Ah",
    "Charging Energy / Wh",
    "Discharging Energy / Wh",
    "Step Energy / Wh",
    "Net Energy / Wh",
    "Cumulative Energy / Wh",
    "Power / W",
    "Internal Resistance / ohm",
    "Surface Temperature T1 / degC",
)
"""Labels that may follow the required ones; of five surface temperatures the first."""
_HOUR = 3600.0


def bdf_text(
    t: npt.ArrayLike, v: npt.ArrayLike, i: npt.ArrayLike, more: Mapping[str, npt.ArrayLike] | None = None
) -> str:
    """Return rows in the Battery Data Format.

    t, v, i : time [s], voltage [V], current [A]; positive charges
    more    : label of an optional column to its values, in the unit of the label
    Raises LogError for columns of unequal length, values that are no numbers, labels that the format has not.
    """
    table = dict(zip(REQUIRED, (t, v, i), strict=True)) | dict(more or {})
    columns = {label: np.asarray(values, dtype=float).ravel() for label, values in table.items()}
    unknown = [label for label in columns if label not in REQUIRED + OPTIONAL]
    if unknown:
        raise LogError(f"{unknown[0]!r} is no column of the Battery Data Format; there are {', '.join(OPTIONAL)}")
    rows = {len(values) for values in columns.values()}
    if rows == {0} or len(rows) > 1:
        raise LogError("the columns of a Battery Data Format table need rows, and as many each")
    for label, values in columns.items():
        if not np.all(np.isfinite(values)):
            raise LogError(
                f"{label!r} holds values that are no numbers, first in row {int(np.argmin(np.isfinite(values))) + 1}"
            )
    time = columns[REQUIRED[0]]
    if np.any(np.diff(time) < 0.0):
        at = int(np.argmax(np.diff(time) < 0.0))
        raise LogError(f"time runs backwards after {show(float(time[at]), 's')}")
    kept = np.append(np.diff(time) > 0.0, True)
    lines = [",".join(columns)]
    lines += [",".join(f"{x:.10g}" for x in row) for row in np.column_stack(list(columns.values()))[kept].tolist()]
    return "\n".join(lines) + "\n"


def charge_bdf(run: ChargeRun) -> str:
    """Return a predicted charge at the pack's terminals in the Battery Data Format.

    `Step Index / 1` counts the limits in force as they follow each other, from 1.
    """
    trace = run.trace
    charge = np.concatenate([[0.0], np.cumsum(0.5 * (trace.i[1:] + trace.i[:-1]) * np.diff(trace.t))])
    power = trace.v_pack * trace.i
    energy = np.concatenate([[0.0], np.cumsum(0.5 * (power[1:] + power[:-1]) * np.diff(trace.t))])
    changes = np.concatenate([[1], 1 + np.cumsum(np.diff(trace.limit) != 0)])
    more: dict[str, npt.ArrayLike] = {
        "Step Index / 1": changes,
        "Charging Capacity / Ah": charge / _HOUR,
        "Charging Energy / Wh": energy / _HOUR,
        "Power / W": power,
        "Surface Temperature T1 / degC": trace.temp - ZERO_CELSIUS,
    }
    return bdf_text(trace.t, trace.v_pack, trace.i, more)


def usage_bdf(run: UsageRun) -> str:
    """Return the pack over a usage run in the Battery Data Format: the rows of its trace."""
    t = run.trace
    more: dict[str, npt.ArrayLike] = {
        "Power / W": t.v_pack * t.i_pack,
        "Surface Temperature T1 / degC": t.temp - ZERO_CELSIUS,
    }
    return bdf_text(t.t, t.v_pack, t.i_pack, more)


def read_bdf(path: Path) -> dict[str, Array]:
    """Return the columns of a Battery Data Format file by label. Raises LogError."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise LogError(f"{path}: {error}") from None
    heads = [h.strip() for h in lines[0].split(",")] if lines else []
    missing = [label for label in REQUIRED if label not in heads]
    if missing:
        raise LogError(f"{path.name}: no column {missing[0]!r}; the Battery Data Format needs {', '.join(REQUIRED)}")
    rows: list[list[float]] = []
    for number, line in enumerate(lines[1:], start=2):
        try:
            row = [float(x) for x in line.split(",")]
        except ValueError:
            raise LogError(f"{path.name}: line {number} holds something that is no number: {line[:60]!r}") from None
        if len(row) != len(heads):
            raise LogError(f"{path.name}: line {number} has {len(row)} values where the head has {len(heads)}")
        rows.append(row)
    table = np.array(rows, dtype=float).reshape(-1, len(heads))
    time = table[:, heads.index(REQUIRED[0])]
    if len(time) < 2 or not np.all(np.diff(time) > 0.0):
        raise LogError(f"{path.name}: {REQUIRED[0]!r} has to rise from row to row, over two rows at least")
    return {label: table[:, k] for k, label in enumerate(heads)}


def write_bdf(path: Path, text: str) -> None:
    """Write a Battery Data Format text; an earlier file is replaced whole or not at all."""
    save_text_atomically(path, text)

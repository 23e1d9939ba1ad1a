"""Cell tables as arrays over state of charge and temperature, and what makes them usable."""

import numpy as np

from chargewright.base.errors import PartsError
from chargewright.base.units import show
from chargewright.parts._columns import Columns
from chargewright.parts.cell import Array, Cell, frozen

TABLE_UNITS = {
    "soc": "1",
    "temp": "K",
    "ocv": "V",
    "ocv_charge": "V",
    "ocv_discharge": "V",
    "docv_dT": "V/K",
    "r0": "ohm",
    "r0_charge": "ohm",
    "r0_discharge": "ohm",
    **{f"r{k}": "ohm" for k in (1, 2, 3)},
    **{f"r{k}_charge": "ohm" for k in (1, 2, 3)},
    **{f"r{k}_discharge": "ohm" for k in (1, 2, 3)},
    **{f"tau{k}": "s" for k in (1, 2, 3)},
}
"""Every column of a cell table with its SI unit."""

TEMP_REF = 298.15
"""Rest voltages are taken at the temperature of the table that is nearest to this."""


def grid_of(columns: Columns, names: tuple[str, ...]) -> tuple[Array, Array, dict[str, Array]]:
    """Return the rows (soc), columns (temp) and the named values as arrays over (soc, temp).

    Raises PartsError where a state of charge is missing at a temperature, or stands there twice.
    """
    soc_all, temp_all = columns.values["soc"], columns.values["temp"]
    soc, row = np.unique(soc_all, return_inverse=True)
    temp, col = np.unique(temp_all, return_inverse=True)
    count = np.zeros((len(soc), len(temp)), dtype=int)
    np.add.at(count, (row, col), 1)
    for problem, where in (("stands there more than once", count > 1), ("is missing", count == 0)):
        if where.any():
            i, j = (int(k[0]) for k in np.nonzero(where))
            raise PartsError(
                f"{columns.shown}\n    the row for {show(soc[i], '1')} at {show(temp[j], 'K')} {problem}; "
                "each state of charge has to stand once for each temperature"
            )
    out = {}
    for name in names:
        grid = np.empty(count.shape)
        grid[row, col] = columns.values[name]
        out[name] = frozen(grid)
    return frozen(soc), frozen(temp), out


def require_cell(shown: str, cell: Cell) -> Cell:
    """Return the cell if its tables mean something; raises PartsError that names the place where they don't."""
    for branch in (cell.ocv, cell.ocv_charge, cell.ocv_discharge):
        steps = np.diff(branch) if branch is not None else np.ones(1)
        if np.any(steps <= 0.0):
            at = float(cell.soc_ocv[int(np.argmax(steps <= 0.0))])
            raise PartsError(
                f"{shown}\n    the rest voltage must rise with the state of charge; after {show(at, '1')} it does not"
            )
    if cell.ocv_charge is not None and cell.ocv_discharge is not None and np.any(cell.ocv_charge < cell.ocv_discharge):
        at = float(cell.soc_ocv[int(np.argmax(cell.ocv_charge < cell.ocv_discharge))])
        raise PartsError(f"{shown}\n    ocv_charge must not lie below ocv_discharge; at {show(at, '1')} it does")
    tables = [("r0_charge", cell.r0_charge), ("r0_discharge", cell.r0_discharge)]
    for k, pair in enumerate(cell.pairs, start=1):
        tables += [(f"r{k}", pair.r_charge), (f"r{k}", pair.r_discharge), (f"tau{k}", pair.tau)]
    for name, values in tables:
        if np.any(values <= 0.0):
            i, j = (int(k[0]) for k in np.nonzero(values <= 0.0))
            where = f"{show(cell.soc[i], '1')} and {show(cell.temp[j], 'K')}"
            raise PartsError(f"{shown}\n    {name} must be above zero everywhere; at {where} it is {values[i, j]:g}")
    if not cell.v_min < cell.v_max <= cell.limits.v_upper:
        raise PartsError(
            f"{shown}\n    v_min, v_max, v_upper must rise in this order; they are {show(cell.v_min, 'V')}, "
            f"{show(cell.v_max, 'V')}, {show(cell.limits.v_upper, 'V')}"
        )
    return cell

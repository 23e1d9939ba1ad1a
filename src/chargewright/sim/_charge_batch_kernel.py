"""Many charges in one loop: the kernel of one charge, each with numbers of its own."""

import math
from typing import NamedTuple

import numpy as np

from chargewright.base.compiled import apart
from chargewright.parts.cell import Array
from chargewright.sim._cell_kernel import (
    AHEAD,
    CAPACITY,
    E_PAIRS,
    E_STORED,
    HEAT_BALANCING,
    HEAT_PAIRS,
    HEAT_R0,
    I_SQUARE,
    Q_IN,
    SCALE,
    SUMS,
    CellTables,
    State,
    Work,
    at_rest,
    room_to_work,
)
from chargewright.sim._charge_kernel import I_STAGE, MARKS, T_VOLTAGE, Rules, charge_cell

SOC_START, TEMP_START, TEMP_AMBIENT, I_CHARGE, V_SET, SIZE, OHMS, I_AVAILABLE, COOLING, SPAN = range(10)
"""Columns of what is given: see `charge_many`."""
GIVEN = 10
REASON, PAUSES, T_80, T_AT_VOLTAGE, T_END, SOC_END, CHARGE, STORED, HEAT, SQUARE, TEMP_MAX, V_HIGHEST = range(12)
"""Columns of what is found; times below zero mean never."""
FOUND = 12
_LIMITS = 6


class Room(NamedTuple):
    """Arrays that one thread works in, made once."""

    kinds: Array
    stages: Array
    source: Array
    """(2, 2)"""
    u: Array
    work: Work
    rows: Array
    sums: Array
    seconds: Array
    marks: Array


def room(cell: CellTables, rules: Rules, rows_at_most: int) -> Room:
    """Return room for one thread; not for compiled code, which makes no arrays."""
    return Room(
        kinds=cell.kinds.copy(),
        stages=rules.stages.copy(),
        # Held outside of its points, so constant over voltage.
        source=np.array([[0.0, 1.0], [0.0, 0.0]]),
        u=at_rest(cell, 0.0, 0.0).u,
        work=room_to_work(cell),
        rows=np.empty((rows_at_most, 7)),
        sums=np.zeros(SUMS),
        seconds=np.zeros(_LIMITS),
        marks=np.zeros(MARKS),
    )


@apart
def charge_many(cell: CellTables, rules: Rules, edges: Array, given: Array, found: Array, own: Room) -> None:
    """Fill `found` with one charge a row of `given`.

    edges : temperatures between the regions of `rules`
    given : (n, GIVEN): state of charge and temperature at the start, ambient, current and voltage that are asked of one
            cell, factors on capacity and resistances, current that the source leaves over for one cell (infinite for no
            limit), thermal resistance of a cell, charge between state of charge 0 and 1 of the mean cell
    found : (n, FOUND)
    own   : room for this thread
    """
    for k in range(given.shape[0]):
        _one(cell, rules, edges, given[k], found[k], own)


@apart
def _one(cell: CellTables, rules: Rules, edges: Array, given: Array, found: Array, own: Room) -> None:
    for kind in range(cell.kinds.shape[0]):
        own.kinds[kind, CAPACITY] = cell.kinds[kind, CAPACITY] * given[SIZE]
        own.kinds[kind, AHEAD] = cell.kinds[kind, AHEAD] * given[SIZE]
        own.kinds[kind, SCALE] = cell.kinds[kind, SCALE] * given[OHMS]
    own.stages[own.stages.shape[0] - 1, I_STAGE] = given[I_CHARGE]
    limited = given[I_AVAILABLE] < math.inf
    if limited:
        own.source[1, 0] = own.source[1, 1] = given[I_AVAILABLE]
    own.u[:, :] = 0.0
    own.sums[:] = 0.0
    own.marks[:] = -1.0
    these = CellTables(
        own.kinds, cell.soc_rest, cell.rest_guide, cell.rest, cell.temp_ref, cell.soc, cell.soc_guide, cell.resistances,
        cell.temp_low, cell.temp_step, cell.heat_capacity, given[COOLING],
    )  # fmt: skip
    asked = Rules(
        own.stages, given[V_SET], rules.i_termination, rules.lead, rules.sensed_lead, rules.regions,
        own.source[:, : 2 if limited else 0], rules.low_stages, rules.i_balance, rules.v_balance, rules.timer,
        rules.timer_speed, given[TEMP_AMBIENT], rules.soc_step, rules.v_step, rules.current_step, rules.temp_step,
    )  # fmt: skip
    region = 0
    while region < edges.shape[0] and given[TEMP_START] >= edges[region]:
        region += 1
    span, rows, sums = given[SPAN], own.rows, own.sums
    now = State(given[SOC_START] * span, given[TEMP_START], 0.0, own.u)
    count, reason, pauses = charge_cell(these, asked, now, region, own.work, rows, sums, own.seconds, own.marks)
    found[REASON], found[PAUSES], found[T_AT_VOLTAGE] = reason, pauses, own.marks[T_VOLTAGE]
    found[T_END], found[SOC_END], found[CHARGE] = rows[count - 1, 0], rows[count - 1, 4] / span, sums[Q_IN]
    found[STORED] = sums[E_STORED] + sums[E_PAIRS] + sums[HEAT_BALANCING]
    found[HEAT] = sums[HEAT_R0] + sums[HEAT_PAIRS]
    found[SQUARE], found[T_80], found[TEMP_MAX], found[V_HIGHEST] = sums[I_SQUARE], -1.0, rows[0, 5], rows[0, 3]
    for j in range(count):
        found[TEMP_MAX] = max(found[TEMP_MAX], rows[j, 5])
        found[V_HIGHEST] = max(found[V_HIGHEST], rows[j, 3])
        if found[T_80] < 0.0 and rows[j, 4] >= 0.8 * span:
            found[T_80] = rows[j, 0]
            if j > 0 and rows[j, 4] > rows[j - 1, 4]:
                share = (0.8 * span - rows[j - 1, 4]) / (rows[j, 4] - rows[j - 1, 4])
                found[T_80] = rows[j - 1, 0] + share * (rows[j, 0] - rows[j - 1, 0])

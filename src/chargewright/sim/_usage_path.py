"""What a path takes from source and pack, looked up in tables, in scalar code that runs plain or compiled.

A table stands over the pack's terminal voltage, the load's power and the power into the pack at its terminals. Between
its points every value is linear in each of the three, so that a balance of powers that holds at the points (source =
load + pack + losses) holds everywhere. `note_*` keep how long was spent at which points: the energy of any loss that is
known at the points follows from that afterwards.
"""

import math
from typing import Any, NamedTuple

NO_TABLE, BATTERY, CHARGE, REST, FLAT = range(5)
"""Which table describes what flows."""


class PathTables(NamedTuple):
    """One path; flat tables, the last axis running quickest. Axes: source, voltage, load, power into the pack."""

    v_low: float
    v_step: float
    v_count: int
    load: Any
    """Points of the load [W], rising."""
    load_count: int
    into: Any
    """Points of the power into the pack [W], rising."""
    into_count: int
    charge_source: Any
    """(source, voltage, load, into): source power with the pack on the path [W]."""
    charge_bus: Any
    """How far the bus is above what the rails need, over that [1]; below zero the load is not served."""
    into_low: Any
    """(source, voltage, load): least power into the pack that the path can hold [W]; below zero the pack helps."""
    into_high: Any
    rest_source: Any
    """(source, load): source power with the pack at rest."""
    rest_bus: Any
    flat_source: Any
    """(source, voltage, load): source power while a flat pack gets its precharge current beside the running load."""
    flat_bus: Any
    battery_power: Any
    """(voltage, load): power out of the pack that carries the load alone."""
    battery_bus: Any
    beside: Any
    """(voltage, load): load current that the charger takes for charge current; zero but in a parallel path."""
    limit: Any
    """(source): greatest power that the source is asked for lastingly [W]."""
    trip: Any
    """(source): power at which its protection acts."""
    trip_time: Any
    helps: bool
    """Whether the pack can help a source that is at its limit."""
    floats: bool
    """Whether the pack cannot be taken off the bus (a parallel path)."""


class Residence(NamedTuple):
    """Seconds at the points of the tables; shapes as in `PathTables`."""

    charge: Any
    rest: Any
    flat: Any
    battery: Any


def find_load(path: PathTables, p: float, k: int) -> int:
    """Return the segment of the load axis that holds a load, looked for from segment `k` on."""
    while k < path.load_count - 2 and p >= path.load[k + 1]:
        k += 1
    while k > 0 and p < path.load[k]:
        k -= 1
    return k


def at_corner(path: PathTables, table: Any, source: int, v: float, load: int, over: float) -> float:
    """Return a value of a table over (source, voltage, load)."""
    k, up = _voltage(path, v)
    at = (source * path.v_count + k) * path.load_count + load
    low = table[at] + over * (table[at + 1] - table[at])
    at += path.load_count
    return float(low + up * (table[at] + over * (table[at + 1] - table[at]) - low))


def at_load(path: PathTables, table: Any, source: int, load: int, over: float) -> float:
    """Return a value of a table over (source, load)."""
    at = source * path.load_count + load
    return float(table[at] + over * (table[at + 1] - table[at]))


def at_into(path: PathTables, table: Any, source: int, v: float, load: int, over: float, y: float) -> float:
    """Return a value of a table over all four axes."""
    k, up = _voltage(path, v)
    at = ((source * path.v_count + k) * path.load_count + load) * path.into_count
    m = _segment_of(path, y)
    low = _column(path, table, at + m, up, over)
    share = (y - path.into[m]) / (path.into[m + 1] - path.into[m])
    return low + share * (_column(path, table, at + m + 1, up, over) - low)


def left_for_pack(path: PathTables, source: int, v: float, load: int, over: float) -> float:
    """Return the power into the pack at which the source is at its limit; below zero where the pack has to give."""
    k, up = _voltage(path, v)
    at = ((source * path.v_count + k) * path.load_count + load) * path.into_count
    m = 0
    high = _column(path, path.charge_source, at + 1, up, over)
    while m < path.into_count - 2 and high < path.limit[source]:
        m += 1
        high = _column(path, path.charge_source, at + m + 1, up, over)
    low = _column(path, path.charge_source, at + m, up, over)
    y = path.into[m] + (path.limit[source] - low) / (high - low) * (path.into[m + 1] - path.into[m])
    return float(y)


def note_battery(path: PathTables, spent: Residence, dt: float, v: float, load: int, over: float) -> None:
    """Add a step to the residence of the pack alone."""
    k, up = _voltage(path, v)
    _add_corner(path, spent.battery, k * path.load_count + load, dt, up, over)


def note_flat(path: PathTables, spent: Residence, dt: float, source: int, v: float, load: int, over: float) -> None:
    """Add a step to the residence of the precharge."""
    k, up = _voltage(path, v)
    _add_corner(path, spent.flat, (source * path.v_count + k) * path.load_count + load, dt, up, over)


def note_rest(path: PathTables, spent: Residence, dt: float, source: int, load: int, over: float) -> None:
    """Add a step to the residence of the pack at rest."""
    at = source * path.load_count + load
    spent.rest[at] += dt * (1.0 - over)
    spent.rest[at + 1] += dt * over


def note_charge(
    path: PathTables, spent: Residence, dt: float, source: int, v: float, load: int, over: float, y: float
) -> None:
    """Add a step to the residence of charge and supplement."""
    k, up = _voltage(path, v)
    m = _segment_of(path, y)
    share = (y - path.into[m]) / (path.into[m + 1] - path.into[m])
    at = ((source * path.v_count + k) * path.load_count + load) * path.into_count + m
    for corner in range(4):
        far_v, far_load = corner // 2, corner % 2
        weight = dt * (up if far_v == 1 else 1.0 - up) * (over if far_load == 1 else 1.0 - over)
        here = at + (far_v * path.load_count + far_load) * path.into_count
        spent.charge[here] += weight * (1.0 - share)
        spent.charge[here + 1] += weight * share


def _add_corner(path: PathTables, table: Any, at: int, dt: float, up: float, over: float) -> None:
    table[at] += dt * (1.0 - up) * (1.0 - over)
    table[at + 1] += dt * (1.0 - up) * over
    table[at + path.load_count] += dt * up * (1.0 - over)
    table[at + path.load_count + 1] += dt * up * over


def _voltage(path: PathTables, v: float) -> tuple[int, float]:
    x = (v - path.v_low) / path.v_step
    k = min(max(int(math.floor(x)), 0), path.v_count - 2)
    return k, x - k


def _segment_of(path: PathTables, y: float) -> int:
    m = 0
    while m < path.into_count - 2 and y >= path.into[m + 1]:
        m += 1
    return m


def _column(path: PathTables, table: Any, at: int, up: float, over: float) -> float:
    """Return a value at one point of the power into the pack."""
    far = at + path.into_count
    low = table[at] + over * (table[far] - table[at])
    at += path.load_count * path.into_count
    far += path.load_count * path.into_count
    return float(low + up * (table[at] + over * (table[far] - table[at]) - low))

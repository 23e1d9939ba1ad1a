"""What a path takes from source and pack, looked up in tables, in scalar code that runs plain or compiled.

A table stands over the pack's terminal voltage, the load's power and the power into the pack at its terminals. Between
its points every value is linear in each of the three, so that a balance of powers that holds at the points (source =
load + pack + losses) holds everywhere. `note_*` keep how long was spent at which points: the energy of any loss that is
known at the points follows from that afterwards.
"""

from typing import Any, NamedTuple

NO_TABLE, BATTERY, CHARGE, REST, FLAT = range(5)
"""Which table describes what flows."""


class PathTables(NamedTuple):
    """One path: every table in one store, of which a field gives the place; a single array compiles far sooner.

    Axes: source, voltage, load, power into the pack; the last one runs quickest.
    """

    store: Any
    v_low: float
    per_v: float
    """One over the voltage between two points."""
    v_count: int
    load: int
    """Points of the load [W], rising."""
    load_count: int
    into: int
    """Points of the power into the pack [W], rising."""
    into_count: int
    charge_source: int
    """(source, voltage, load, into): source power with the pack on the path [W]."""
    charge_bus: int
    """How far the bus is above what the rails need, over that [1]; below zero the load is not served."""
    into_low: int
    """(source, voltage, load): least power into the pack that the path can hold [W]; below zero the pack helps."""
    into_high: int
    rest_source: int
    """(source, load): source power with the pack at rest."""
    rest_bus: int
    flat_source: int
    """(source, voltage, load): source power while a flat pack gets its precharge current beside the running load."""
    flat_bus: int
    battery_power: int
    """(voltage, load): power out of the pack that carries the load alone."""
    battery_bus: int
    beside: int
    """(voltage, load): load current that the charger takes for charge current; zero but in a parallel path."""
    limit: int
    """(source): greatest power that the source is asked for lastingly [W]."""
    rated: int
    """(source): greatest power that the source itself gives lastingly; the limit lies below it by a margin."""
    trip: int
    """(source): power at which its protection acts."""
    trip_time: int
    trip_kind: int
    """(source): what it does that has tripped, by the codes of `usage_rules`."""
    feed: int
    """(source): number of the source that a contract is of, so that another contract of it is no new source."""
    i_flat: float
    """Current into a flat pack, in the tables of that."""
    helps: bool
    """Whether the pack can help a source that is at its limit."""
    exposed: bool
    """Whether an overload reaches the source: the bus hangs on it and no stage holds its current."""
    floats: bool
    """Whether the pack cannot be taken off the bus (a parallel path)."""


def find_load(path: PathTables, p: float, k: int) -> int:
    """Return the segment of the load axis that holds a load, looked for from segment `k` on."""
    while k < path.load_count - 2 and p >= path.store[path.load + k + 1]:
        k += 1
    while k > 0 and p < path.store[path.load + k]:
        k -= 1
    return k


def over_load(path: PathTables, p: float, k: int) -> float:
    """Return how far a load is on its way through a segment of the load axis [1]."""
    low = path.store[path.load + k]
    return float((p - low) / (path.store[path.load + k + 1] - low))


def at_corner(path: PathTables, table: int, source: int, v: float, load: int, over: float) -> float:
    """Return a value of a table over (source, voltage, load)."""
    k, up = _voltage(path, v)
    at = table + (source * path.v_count + k) * path.load_count + load
    low = path.store[at] + over * (path.store[at + 1] - path.store[at])
    at += path.load_count
    return float(low + up * (path.store[at] + over * (path.store[at + 1] - path.store[at]) - low))


def at_load(path: PathTables, table: int, source: int, load: int, over: float) -> float:
    """Return a value of a table over (source, load)."""
    at = table + source * path.load_count + load
    return float(path.store[at] + over * (path.store[at + 1] - path.store[at]))


def at_into(path: PathTables, table: int, source: int, v: float, load: int, over: float, y: float) -> float:
    """Return a value of a table over all four axes."""
    k, up = _voltage(path, v)
    m, share = _segment(path, y)
    at = table + ((source * path.v_count + k) * path.load_count + load) * path.into_count + m
    low = _column(path, at, up, over)
    return low + share * (_column(path, at + 1, up, over) - low)


def left_for_pack(path: PathTables, source: int, v: float, load: int, over: float) -> float:
    """Return the power into the pack at which the source is at its limit; below zero where the pack has to give."""
    k, up = _voltage(path, v)
    at = path.charge_source + ((source * path.v_count + k) * path.load_count + load) * path.into_count
    limit = path.store[path.limit + source]
    m = 0
    low = _column(path, at, up, over)
    high = _column(path, at + 1, up, over)
    while m < path.into_count - 2 and high < limit:
        m += 1
        low, high = high, _column(path, at + m + 1, up, over)
    first, last = path.store[path.into + m], path.store[path.into + m + 1]
    return float(first + (limit - low) / (high - low) * (last - first))


def note_battery(path: PathTables, spent: Any, dt: float, v: float, load: int, over: float) -> None:
    """Add a step to the residence of the pack alone. Residence stands at the places of the tables, in seconds."""
    k, up = _voltage(path, v)
    _add_corner(path, spent, path.battery_power + k * path.load_count + load, dt, up, over)


def note_flat(path: PathTables, spent: Any, dt: float, source: int, v: float, load: int, over: float) -> None:
    """Add a step to the residence of the precharge."""
    k, up = _voltage(path, v)
    at = path.flat_source + (source * path.v_count + k) * path.load_count + load
    _add_corner(path, spent, at, dt, up, over)


def note_rest(path: PathTables, spent: Any, dt: float, source: int, load: int, over: float) -> None:
    """Add a step to the residence of the pack at rest."""
    at = path.rest_source + source * path.load_count + load
    spent[at] += dt * (1.0 - over)
    spent[at + 1] += dt * over


def note_charge(
    path: PathTables, spent: Any, dt: float, source: int, v: float, load: int, over: float, y: float
) -> None:
    """Add a step to the residence of charge and supplement."""
    k, up = _voltage(path, v)
    m, share = _segment(path, y)
    at = path.charge_source + ((source * path.v_count + k) * path.load_count + load) * path.into_count + m
    for corner in range(4):
        far_v, far_load = corner // 2, corner % 2
        weight = dt * (up if far_v == 1 else 1.0 - up) * (over if far_load == 1 else 1.0 - over)
        here = at + (far_v * path.load_count + far_load) * path.into_count
        spent[here] += weight * (1.0 - share)
        spent[here + 1] += weight * share


def _add_corner(path: PathTables, spent: Any, at: int, dt: float, up: float, over: float) -> None:
    spent[at] += dt * (1.0 - up) * (1.0 - over)
    spent[at + 1] += dt * (1.0 - up) * over
    spent[at + path.load_count] += dt * up * (1.0 - over)
    spent[at + path.load_count + 1] += dt * up * over


def _voltage(path: PathTables, v: float) -> tuple[int, float]:
    x = (v - path.v_low) * path.per_v
    k = int(x)
    if x < 0.0:
        k = 0
    elif k > path.v_count - 2:
        k = path.v_count - 2
    return k, x - k


def _segment(path: PathTables, y: float) -> tuple[int, float]:
    m = 0
    while m < path.into_count - 2 and y >= path.store[path.into + m + 1]:
        m += 1
    low = path.store[path.into + m]
    return m, (y - low) / (path.store[path.into + m + 1] - low)


def _column(path: PathTables, at: int, up: float, over: float) -> float:
    """Return a value at one point of the power into the pack."""
    far = at + path.into_count
    low = path.store[at] + over * (path.store[far] - path.store[at])
    at += path.load_count * path.into_count
    far += path.load_count * path.into_count
    return float(low + up * (path.store[at] + over * (path.store[far] - path.store[at]) - low))

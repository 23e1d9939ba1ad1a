"""One path solved over pack voltage, load and power into the pack, for every source: what a usage run looks up.

The pack's terminals are the border: its own resistance is not in these tables, so they hold for any state of charge,
temperature and age of the pack. Each point is a solved steady state of the path with every watt in a ledger.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.network.graph import Held, StateKey
from chargewright.network.hardware import Hardware
from chargewright.network.ledger import ledger_of
from chargewright.network.solve import Solution, solve
from chargewright.parts.cell import Array
from chargewright.parts.pack import pack_ocv
from chargewright.parts.supply import Supply
from chargewright.sim import usage_rules as code
from chargewright.sim.usage_setup import PathTables, joined
from chargewright.studies.needs import Plan
from chargewright.studies.operate import Edge, bus_setting, conditions, in_dropout, source_limit, source_side
from chargewright.studies.situation import Situation
from chargewright.studies.usage.feeding import feeding, passes_through, source_of
from chargewright.studies.usage.patch import Patch

Bools = npt.NDArray[np.bool_]
Place = tuple[str, str]
"""Element and cause of a loss."""

_BEYOND = 1.2
"""Points that would ask the source for more than this share of its limit [1] are not solved: no run rests there."""
_NOT_SERVED = -1e-3
_HALVINGS = 6
"""How often the way to a point that a path cannot hold is halved: to 2 % of it."""
_AFTER_TRIP = {
    "hiccup": code.RETRIES,
    "latch-off": code.LATCHES,
    "fold-back": code.RETURNS,
    "constant-current": code.RETURNS,
}
"""A source that folds back or holds its current gives nothing to a load of constant power beyond it, and is back as
soon as the load is less."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """How closely a path is solved."""

    voltages: int
    into: tuple[float, ...]
    """Points of the power into the pack, over the greatest."""
    out_of: tuple[float, ...]
    """And of that out of it beside a source."""
    flat: bool
    """Whether the state is solved in which a flat pack is precharged beside the running load."""


FINE = Grid(voltages=16, into=(0.0, 0.03, 0.1, 0.22, 0.4, 0.65, 1.0), out_of=(1.0, 0.6, 0.3, 0.1, 0.03), flat=True)
QUICK = Grid(voltages=10, into=(0.0, 0.1, 0.4, 1.0), out_of=(1.0, 0.3, 0.05), flat=False)
"""For a day of work and charge, in which no pack is found flat."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UsageTables:
    """A path over pack voltage, load and power into the pack."""

    path: PathTables
    sources: tuple[str, ...]
    supplies: tuple[Supply, ...]
    temp: float
    """Ambient at which the path was solved [K]."""
    edge: Edge
    places: tuple[Place, ...]
    """Elements and causes, the first axis of the losses below."""
    charge_loss: Array
    rest_loss: Array
    flat_loss: Array
    battery_loss: Array
    boosted: Bools
    """(voltage, load): where the stage lifts the pack onto the bus."""


def usage_tables(
    case: Situation,
    chosen: Plan,
    hardware: Hardware,
    *,
    loads: Sequence[float],
    sources: Sequence[str],
    temp: float,
    edge: Edge = "typ",
    grid: Grid = FINE,
) -> UsageTables:
    """Return a path's tables for the points `loads` [W] and the contracts of `sources`, at an ambient `temp` [K]."""
    job = _Job.of(case, chosen, hardware, loads, sources, temp, edge, grid)
    charge, rest, flat = (make(job) if sources else _Field.none(job) for make in (_charge, _rest, _flat))
    battery, boosted = _battery(job)
    places = tuple(dict.fromkeys(p for f in (battery, charge, rest, flat) for p in f.losses))
    parts = {
        "load": job.load,
        "into": job.into,
        "charge_source": charge.source,
        "charge_bus": charge.bus,
        "into_low": charge.low,
        "into_high": charge.high,
        "rest_source": rest.source,
        "rest_bus": rest.bus,
        "flat_source": flat.source,
        "flat_bus": flat.bus,
        "battery_power": battery.source,
        "battery_bus": battery.bus,
        "beside": _beside(job, battery),
        "limit": job.limit,
        "rated": job.rated,
        "trip": job.trip,
        "trip_time": np.array([s.overload.time for s in job.supplies]),
        "trip_kind": np.array([_AFTER_TRIP[s.overload.kind] for s in job.supplies]),
        "feed": np.array([list(case.sources).index(source_of(case, n)) for n in job.names]),
    }
    store, at = joined(list(parts.values()))
    tables = PathTables(
        store=store,
        v_low=float(job.v[0]),
        per_v=1.0 / float(job.v[1] - job.v[0]),
        v_count=len(job.v),
        load_count=len(job.load),
        into_count=len(job.into),
        i_flat=case.i_precharge,
        helps=chosen.path.state("supplement") is not None,
        exposed=not chosen.path.narrow and not job.floats,
        floats=job.floats,
        **dict(zip(parts, at, strict=True)),
    )
    losses = [np.array([f.losses.get(p, 0.0 * f.source) for p in places]) for f in (charge, rest, flat, battery)]
    return UsageTables(
        path=tables,
        sources=tuple(sources),
        supplies=job.supplies,
        temp=temp,
        edge=edge,
        places=places,
        charge_loss=losses[0],
        rest_loss=losses[1],
        flat_loss=losses[2],
        battery_loss=losses[3],
        boosted=boosted,
    )


def load_points(highest: float, standby: float, count: int = 14) -> list[float]:
    """Return points of the load for a measured log: from nothing up to `highest`, closer together below."""
    low = max(standby, 1e-3 * highest, 1e-4)
    return [0.0, *(float(x) for x in np.geomspace(low, max(1.001 * highest, 2.0 * low), count - 1))]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Job:
    """What is to be solved: one path, its sources, the axes."""

    case: Situation
    chosen: Plan
    hardware: Hardware
    names: tuple[str, ...]
    supplies: tuple[Supply, ...]
    temp: float
    edge: Edge
    grid: Grid
    v: Array
    load: Array
    into: Array
    limit: Array
    """Greatest lasting power of each source at its connector [W]."""
    rated: Array
    trip: Array

    @classmethod
    def of(
        cls, case: Situation, chosen: Plan, hardware: Hardware, loads: Sequence[float], names: Sequence[str],
        temp: float, edge: Edge, grid: Grid,
    ) -> "_Job":  # fmt: skip
        points = np.unique(np.asarray(loads, dtype=float))
        if len(points) < 2:
            points = np.array([0.0, max(float(points[0]), 1e-3)])
        pack, supplies = case.pack, tuple(feeding(case, chosen, name) for name in names)
        low = min(0.95 * pack.v_empty, 0.98 * float(pack_ocv(pack, 0.0, 298.15)))
        high = 1.02 * case.v_full + case.i_charge * pack.lead_resistance
        limit = np.array([_power_at(s, edge, source_limit(case, s)) for s in supplies])
        into = 1.02 * high * case.i_charge * np.array(grid.into)
        most = 0.0
        if chosen.path.key == "parallel":
            most = 1.3 * points[-1]
        elif len(limit) and chosen.path.state("supplement") is not None and 1.25 * points[-1] > min(limit):
            most = 1.25 * points[-1] - 0.5 * min(limit)
        return cls(
            case=case,
            chosen=chosen,
            hardware=hardware,
            names=tuple(names),
            supplies=supplies,
            temp=temp,
            edge=edge,
            grid=grid,
            v=np.linspace(low, high, grid.voltages),
            load=points,
            into=np.concatenate([-most * np.array(grid.out_of), into]) if most > 0.0 else into,
            limit=limit,
            rated=np.array([_power_at(s, edge, s.i_rated) for s in supplies]),
            trip=np.array([_power_at(s, edge, s.overload.i_trip.low) for s in supplies]),
        )

    @property
    def floats(self) -> bool:
        """Whether the pack cannot be taken off the bus."""
        return self.chosen.path.key == "parallel"

    def solved(
        self, key: StateKey, where: Bools, source: Any, v: Any, load: Any, i: Any = 0.0, held: Held | None = None
    ) -> tuple[Solution, Bools]:
        """Return a state solved at the points `where`, the pack's terminals as its cells, and where that is fine."""
        state = self.chosen.path.state(key)
        assert state is not None, "asked only for states that the path has"
        v, load, i, source = (np.broadcast_to(a, where.shape)[where] for a in (v, load, i, source))
        supply = self.supplies[0] if state.source else None
        case, path = self.case, self.chosen.path
        c = conditions(case, path, key, supply, soc=0.5, p_load=load, temp=self.temp, edge=self.edge, i_pack=i)
        c = replace(c, e_cells=v, r_pack=0.0, v_bus=bus_setting(case, path, key, v))
        if state.source:
            sides = [source_side(s, self.edge) for s in self.supplies]
            c = replace(c, **{name: np.array([side[name] for side in sides])[source] for name in sides[0]})
        s = solve(path, state if held is None else replace(state, held=held), self.hardware, c)
        return s, s.ok & ~in_dropout(case, s)


@dataclass(slots=True, kw_only=True)
class _Field:
    """Points of one kind: power, bus, losses, and which of them have been solved."""

    source: Array
    """Power at the source's connector; for the pack alone, out of the pack [W]."""
    bus: Array
    fine: Bools
    losses: dict[Place, Array]
    low: Array
    high: Array

    @classmethod
    def empty(cls, shape: tuple[int, ...]) -> "_Field":
        nothing = np.zeros(0)
        return cls(
            source=np.zeros(shape), bus=np.full(shape, np.nan), fine=np.zeros(shape, dtype=bool), losses={},
            low=nothing, high=nothing,
        )  # fmt: skip

    @classmethod
    def none(cls, _job: "_Job") -> "_Field":
        return cls.empty((0,))

    def take(self, job: _Job, s: Solution, good: Bools, where: Bools) -> None:
        """Take over the good points of a solution; the loss inside the source is left out, before its connector."""
        at = np.flatnonzero(where)[good]
        self.fine.flat[at] = True
        v_bus = s.v[s.path.load_at][good]
        self.bus.flat[at] = v_bus / job.case.bus_min - 1.0 if job.case.bus_min > 0.0 else 1.0
        for values in self.losses.values():
            values.flat[at] = 0.0
        for entry in ledger_of(s).losses():
            if entry.where != "source, inside":
                table = self.losses.setdefault((entry.where, entry.cause), np.zeros(self.fine.shape))
                table.flat[at] += np.broadcast_to(entry.watts, s.status.shape)[good]

    def fill(self, asked: Array, x: Array) -> None:
        """Fill the holes and add up: what comes in is what is asked for and every loss."""
        if not self.fine.all():
            patch = Patch.of(self.fine, x)
            self.losses = {place: patch.applied(table) for place, table in self.losses.items()}
            self.bus = patch.applied(self.bus)
        self.source = asked + sum(self.losses.values(), np.zeros(asked.shape))


def _power_at(supply: Supply, edge: Edge, i: float) -> float:
    """Return the power at the source's connector at a current [W]."""
    side = source_side(supply, edge)
    return float((side["e_source"] - side["r_source"] * i) * i)


def _charge(job: _Job) -> _Field:
    """The pack on the path beside a source: charged where power goes in, helping where it comes out."""
    source, v, load, into = np.meshgrid(np.arange(len(job.names)), job.v, job.load, job.into, indexing="ij")
    asked, field = np.asarray(load + into, dtype=float), _Field.empty(load.shape)
    tried = (asked >= 0.0) & (asked <= _BEYOND * job.limit[source])
    parts: list[tuple[StateKey, Bools]] = [("charging", tried & (into >= 0.0)), ("supplement", tried & (into < 0.0))]
    for key, where in parts:
        if job.chosen.path.state(key) is not None and where.any():
            s, good = job.solved(key, where, source, v, load, into / v, held="pack-current")
            field.take(job, s, good, where)
    field.low, field.high = _reach(job, field.fine, tried)
    _refine(job, field, tried)
    field.fill(asked, job.into)
    return field


def _reach(job: _Job, fine: Bools, tried: Bools) -> tuple[Array, Array]:
    """Return least and greatest power into the pack that the path can hold, over (source, voltage, load).

    Where a point failed that the source could feed, the path ends at the last one that did not; where none was tried
    because the source cannot, only the source limits.
    """
    into, helps = job.into, job.chosen.path.state("supplement") is not None
    # Where nothing works, the ends lie beyond each other; finite, so that points in between have some too.
    low, high = np.full(fine.shape[:3], 1e3 + into[-1]), np.full(fine.shape[:3], into[0] - 1e3)
    for k in np.ndindex(*fine.shape[:3]):
        good, failed = into[fine[k]], into[tried[k] & ~fine[k]]
        if len(good):
            high[k] = good[-1] if np.any(failed > good[-1]) else into[-1]
            low[k] = 0.0 if not helps else good[0] if np.any(failed < good[0]) else into[0]
    return low, high


def _refine(job: _Job, field: _Field, tried: Bools) -> None:
    """Close in on the greatest power into the pack between the last point that was found and the first that was not.

    That first point then gets what lies on the straight line through the last one and the end, so that the values at
    the end are its own.
    """
    into = job.into
    last = np.where(field.fine, np.arange(len(into)), -1).max(axis=-1)
    after = np.minimum(last + 1, len(into) - 1)
    failed = np.take_along_axis(tried & ~field.fine, after[..., None], -1)[..., 0]
    open_end = (last >= 0) & (into[np.maximum(last, 0)] >= 0.0) & failed
    if not open_end.any():
        return
    source, v, load = np.meshgrid(np.arange(len(job.names)), job.v, job.load, indexing="ij")
    start, beyond = into[np.maximum(last, 0)], into[after]
    low, high = start.copy(), beyond.copy()
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        _, good = job.solved("charging", open_end, source, v, load, middle / v, held="pack-current")
        found = np.zeros(open_end.shape, dtype=bool)
        found[open_end] = good
        low, high = np.where(found, middle, low), np.where(found, high, middle)
    field.high = np.where(open_end, low, field.high)
    moved = open_end & (low > start)
    if moved.any():
        end = _Field.empty(moved.shape)
        s, good = job.solved("charging", moved, source, v, load, low / v, held="pack-current")
        end.take(job, s, good, moved)
        at = np.nonzero(end.fine)
        here, there = (*at, last[at]), (*at, after[at])
        stretch = (beyond[at] - start[at]) / (low[at] - start[at])
        for place, table in field.losses.items():
            own = end.losses[place][at] if place in end.losses else 0.0
            table[there] = table[here] + (own - table[here]) * stretch
        field.bus[there] = field.bus[here] + (end.bus[at] - field.bus[here]) * stretch
        field.fine[there] = True


def _rest(job: _Job) -> _Field:
    """The source carries the load alone."""
    source, load = np.meshgrid(np.arange(len(job.names)), job.load, indexing="ij")
    field = _Field.empty(load.shape)
    most = _BEYOND * np.maximum(job.limit, job.trip)[source]
    through = np.array([passes_through(job.case, job.chosen, name) for name in job.names])[source]
    usual: StateKey = "no-pack" if job.floats else "source-only"
    parts: list[tuple[StateKey, Bools]] = [
        (usual, ~through & (load <= most)),
        ("pass-through", through & (load <= most)),
    ]
    for key, where in parts:
        if where.any():
            s, good = job.solved(key, where, source, job.case.v_full, load)
            field.take(job, s, good, where)
    field.fill(load, job.load)
    # What the path cannot carry must not look as if it could.
    field.source = np.where(field.fine, field.source, np.maximum(field.source, 2.0 * job.limit[source]))
    return field


def _flat(job: _Job) -> _Field:
    """The pack is precharged while the source carries the load, the bus held above the pack where the path can."""
    source, v, load = np.meshgrid(np.arange(len(job.names)), job.v, job.load, indexing="ij")
    i = job.case.i_precharge
    field = _Field.empty(load.shape)
    where = (v <= 1.1 * job.case.pack.v_precharge) & (load + v * i <= _BEYOND * job.limit[source])
    if job.grid.flat and job.chosen.path.state("flat-pack") is not None and where.any():
        s, good = job.solved("flat-pack", where, source, v, load, i)
        field.take(job, s, good, where)
    field.fill(load + v * i, job.load)
    field.bus = np.where(field.fine, field.bus, _NOT_SERVED)
    return field


def _battery(job: _Job) -> tuple[_Field, Bools]:
    """The pack carries the load alone, lifted by the stage where the bus would be too low and the path can."""
    v, load = np.meshgrid(job.v, job.load, indexing="ij")
    field, everywhere = _Field.empty(load.shape), np.ones(load.shape, dtype=bool)
    s, good = job.solved("battery", everywhere, 0, v, load)
    field.take(job, s, good, everywhere)
    boosted = np.zeros(load.shape, dtype=bool)
    low = ~field.fine | (field.bus < 0.0)
    if job.chosen.path.state("battery-boost") is not None and low.any():
        s, good = job.solved("battery-boost", low, 0, v, load)
        field.take(job, s, good, low)
        boosted.flat[np.flatnonzero(low)[good]] = True
    field.fill(load, job.load)
    field.bus = np.where(field.fine, field.bus, _NOT_SERVED)
    return field, boosted


def _beside(job: _Job, battery: _Field) -> Array:
    """Return the load current that a charger takes for charge current: all of it in a parallel path."""
    if not job.floats:
        return np.zeros((len(job.v), len(job.load)))
    rails = sum((x for (where, _), x in battery.losses.items() if where == "rails"), 0.0 * battery.source)
    return np.asarray((job.load[None, :] + rails) / job.v[:, None])

"""One path solved over pack voltage, load and power into the pack, for every source: what a usage run looks up.

The pack's terminals are the border: its own resistance is not in these tables, so they hold for any state of charge,
temperature and age of the pack. Each point is a solved steady state of the path with every watt in a ledger.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chargewright.network.graph import StateKey
from chargewright.network.hardware import Hardware
from chargewright.parts.cell import Array
from chargewright.parts.supply import Supply
from chargewright.sim import usage_rules as code
from chargewright.sim.usage_setup import PathTables, joined
from chargewright.studies.needs import Plan
from chargewright.studies.operate import Edge
from chargewright.studies.situation import Situation
from chargewright.studies.usage.feeding import passes_through, source_of
from chargewright.studies.usage.points import FINE, Bools, Field, Grid, Job, Place

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
    job = Job.of(case, chosen, hardware, loads, sources, temp, edge, grid)
    charge, rest, flat = (make(job) if sources else Field.none(job) for make in (_charge, _rest, _flat))
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


def _charge(job: Job) -> Field:
    """The pack on the path beside a source: charged where power goes in, helping where it comes out."""
    source, v, load, into = np.meshgrid(np.arange(len(job.names)), job.v, job.load, job.into, indexing="ij")
    asked, field = np.asarray(load + into, dtype=float), Field.empty(load.shape)
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


def _reach(job: Job, fine: Bools, tried: Bools) -> tuple[Array, Array]:
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


def _refine(job: Job, field: Field, tried: Bools) -> None:
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
        end = Field.empty(moved.shape)
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


def _rest(job: Job) -> Field:
    """The source carries the load alone."""
    source, load = np.meshgrid(np.arange(len(job.names)), job.load, indexing="ij")
    field = Field.empty(load.shape)
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


def _flat(job: Job) -> Field:
    """The pack is precharged while the source carries the load, the bus held above the pack where the path can."""
    source, v, load = np.meshgrid(np.arange(len(job.names)), job.v, job.load, indexing="ij")
    i = job.case.i_precharge
    field = Field.empty(load.shape)
    where = (v <= 1.1 * job.case.pack.v_precharge) & (load + v * i <= _BEYOND * job.limit[source])
    if job.grid.flat and job.chosen.path.state("flat-pack") is not None and where.any():
        s, good = job.solved("flat-pack", where, source, v, load, i)
        field.take(job, s, good, where)
    field.fill(load + v * i, job.load)
    field.bus = np.where(field.fine, field.bus, _NOT_SERVED)
    return field


def _battery(job: Job) -> tuple[Field, Bools]:
    """The pack carries the load alone, lifted by the stage where the bus would be too low and the path can."""
    v, load = np.meshgrid(job.v, job.load, indexing="ij")
    field, everywhere = Field.empty(load.shape), np.ones(load.shape, dtype=bool)
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


def _beside(job: Job, battery: Field) -> Array:
    """Return the load current that a charger takes for charge current: all of it in a parallel path."""
    if not job.floats:
        return np.zeros((len(job.v), len(job.load)))
    rails = sum((x for (where, _), x in battery.losses.items() if where == "rails"), 0.0 * battery.source)
    return np.asarray((job.load[None, :] + rails) / job.v[:, None])

"""The points at which a usage run wants its path solved: the axes, and one state solved over all of them."""

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
from chargewright.studies.needs import Plan
from chargewright.studies.operate import Edge, bus_setting, conditions, in_dropout, source_limit, source_side
from chargewright.studies.situation import Situation
from chargewright.studies.usage.feeding import feeding
from chargewright.studies.usage.patch import Patch

Bools = npt.NDArray[np.bool_]
Place = tuple[str, str]
"""Element and cause of a loss."""


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
class Job:
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
    ) -> "Job":  # fmt: skip
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
class Field:
    """Points of one kind: power, bus, losses, and which of them have been solved."""

    source: Array
    """Power at the source's connector; for the pack alone, out of the pack [W]."""
    bus: Array
    fine: Bools
    losses: dict[Place, Array]
    low: Array
    high: Array

    @classmethod
    def empty(cls, shape: tuple[int, ...]) -> "Field":
        nothing = np.zeros(0)
        return cls(
            source=np.zeros(shape), bus=np.full(shape, np.nan), fine=np.zeros(shape, dtype=bool), losses={},
            low=nothing, high=nothing,
        )  # fmt: skip

    @classmethod
    def none(cls, _job: "Job") -> "Field":
        return cls.empty((0,))

    def take(self, job: Job, s: Solution, good: Bools, where: Bools) -> None:
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

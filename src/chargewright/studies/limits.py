"""Asking backwards: the largest load, the longest cable, the weakest source and the coldest pack that still pass.

Each answer is the edge of a region that is known to pass at the design's own value, found by bisection on the solver,
all else at the design's values; the margin is the distance from the design to that edge.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import numpy.typing as npt

from chargewright.base.units import Toleranced
from chargewright.network.hardware import Hardware
from chargewright.parts.supply import Supply, input_voltage
from chargewright.studies.needs import Plan, least_input
from chargewright.studies.operate import for_peaks, operate
from chargewright.studies.situation import Situation

_HALVINGS = 11
_WIDEST = 16.0
_TRIED = 40
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """How far one quantity can go before something fails."""

    key: str
    title: str
    unit: str
    now: float
    """The design's own value, SI."""
    edge: float
    """Last value that passes; nan if the design's own value already fails, inf if the search's end still passes."""
    what_fails: str

    @property
    def margin(self) -> float:
        """Distance from the design to the edge, over the design's own value [1]; nan if the design fails."""
        return abs(self.edge - self.now) / abs(self.now) if self.now else float("inf")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """The answers for one path, from the strongest source."""

    source: str
    edges: tuple[Edge, ...]

    def edge(self, key: str) -> Edge:
        """Return one answer; raises StopIteration for an unknown key."""
        return next(e for e in self.edges if e.key == key)


def reach_of(case: Situation, chosen: Plan, hardware: Hardware) -> Reach:
    """Return how far load, peak, cable and source can go on a path."""
    name = chosen.strongest
    supply = chosen.contracts[name]
    ambient, path = case.design.ambient, chosen.path

    def carries(p_load: Floats, with_supply: Supply | None, soc: float, temp: float, lasting: bool) -> Bools:
        parts = hardware if lasting else for_peaks(case, hardware)
        o = operate(case, path, parts, with_supply, soc=soc, p_load=p_load, temp=temp, edge="low")
        return o.lasts if lasting else o.solved & ~o.overloaded & ~o.brown_out

    def fills(with_supply: Supply) -> bool:
        o = operate(case, path, hardware, with_supply, soc=0.5, p_load=case.p_busy, temp=ambient.hot, edge="low")
        v_in = float(input_voltage(with_supply, float(o.i_source[0]), "low"))
        charges = bool(o.solved[0] and not o.overloaded[0] and o.i_pack[0] > 0.0)
        return charges and v_in > least_input(case, path)

    loads = (
        ("load", "lasting load, source and half-full pack", case.p_busy, supply, 0.5, ambient.hot, True),
        ("peak", "short load, source and nearly empty pack", case.p_peak, supply, 0.15, ambient.typical, False),
        ("pack-load", "lasting load on the half-full pack alone", case.p_busy, None, 0.5, ambient.typical, True),
    )
    edges = [
        _largest(key, title, now, partial(carries, with_supply=fed, soc=soc, temp=temp, lasting=lasting))
        for key, title, now, fed, soc, temp, lasting in loads
    ]
    cable = "loop resistance of cable and contacts"
    rated = "rated current of the source"
    edges.append(_edge("cable", cable, "ohm", supply.r_cable.typ, lambda r: fills(_with_cable(supply, r)), up=True))
    edges.append(
        _edge("source-current", rated, "A", supply.i_rated, lambda i: fills(replace(supply, i_rated=i)), up=False)
    )
    return Reach(source=name, edges=tuple(edges))


def _with_cable(supply: Supply, r: float) -> Supply:
    old = supply.r_cable
    return replace(supply, r_cable=Toleranced(r, r * old.low / old.typ, r * old.high / old.typ))


_LOAD_FAILS = "source or path beyond its limit, bus below the rails, or no steady state"
_SOURCE_FAILS = "the busiest load leaves nothing for the pack, or the charge cannot be finished"


def _largest(key: str, title: str, now: float, passes: Callable[[Floats], Bools]) -> Edge:
    """Return the edge of a load by two sweeps of the solver: a wide one, and a fine one inside the step that fails."""
    low, high = now, _WIDEST * now
    for _ in range(2):
        tried = np.geomspace(low, high, _TRIED)
        fine = passes(tried)
        if not fine[0]:
            return Edge(key=key, title=title, unit="W", now=now, edge=float("nan"), what_fails=_LOAD_FAILS)
        if fine.all():
            return Edge(key=key, title=title, unit="W", now=now, edge=float("inf"), what_fails="")
        first = int(np.argmin(fine))
        low, high = float(tried[first - 1]), float(tried[first])
    return Edge(key=key, title=title, unit="W", now=now, edge=low, what_fails=_LOAD_FAILS)


def _edge(key: str, title: str, unit: str, now: float, passes: Callable[[float], bool], *, up: bool) -> Edge:
    """Return the edge of one quantity by bisection, up to `_WIDEST` times the design's value or down to zero."""
    good, bad = now, _WIDEST * now if up else 0.0
    if not passes(good):
        return Edge(key=key, title=title, unit=unit, now=now, edge=float("nan"), what_fails=_SOURCE_FAILS)
    if up and passes(bad):
        return Edge(key=key, title=title, unit=unit, now=now, edge=float("inf"), what_fails="")
    for _ in range(_HALVINGS):
        middle = 0.5 * (good + bad)
        good, bad = (middle, bad) if passes(middle) else (good, middle)
    return Edge(key=key, title=title, unit=unit, now=now, edge=good, what_fails=_SOURCE_FAILS)

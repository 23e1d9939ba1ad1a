"""The corners at which loops are judged: what feeds, pack, temperature, tolerances and load, each with its words."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from chargewright.parts.pack import pack_ocv
from chargewright.studies.needs import Plan
from chargewright.studies.operate import Edge, bus_setting, source_limit
from chargewright.studies.situation import Situation

Mode = Literal["charging", "resting", "helping", "boosting"]
"""The stage charges; it holds a bus from which the pack is parted; the pack helps the source; the pack alone feeds."""
MODES: dict[Mode, str] = {
    "charging": "charging",
    "resting": "pack parted",
    "helping": "pack helping",
    "boosting": "pack alone",
}
"""Every mode in words."""
SOCS = (0.05, 0.5, 0.95)
BEYOND = 1.1
"""Load over what the source may give at which the pack begins to help [1]: as in the table of states (our choice)."""
_SIGNS = tuple(itertools.product((-1.0, 1.0), (-1.0, 1.0)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """One operating point, before it is solved."""

    source: str
    """Name of the source; "" where none is there."""
    edge: Edge
    soc: float
    temp: float
    p_load: float
    load: str
    """The load in words."""
    i_pack: float = 0.0
    full: bool = True
    """Whether the pack gets its full charge current."""
    v_bus: float = 0.0
    """Bus voltage that is held, where one is [V]."""

    def feed(self) -> str:
        """Return what feeds in a few words: source and edge, or the load where the pack alone feeds."""
        return f"{self.source}, {self.edge}".removesuffix(", typ") if self.source else self.load

    def level(self, mode: Mode) -> str:
        """Return the pack, or the bus that is held, in a few words."""
        return f"bus {self.v_bus:.3g} V" if mode == "resting" else f"pack {self.soc:.0%}"

    def words(self, mode: Mode, l_sign: float, c_sign: float) -> str:
        """Return the corner in words."""
        edge = {"low": "at its low edge", "typ": "", "high": "at its high edge"}[self.edge]
        sides = {-1.0: "low", 0.0: "nominal", 1.0: "high"}
        pack = f"pack at {self.soc:.0%}"
        parts = {
            "charging": (pack, "full charge current" if self.full else "termination current"),
            "resting": (f"bus at {self.v_bus:.3g} V",),
            "helping": (pack,),
            "boosting": (pack, f"bus at {self.v_bus:.3g} V"),
        }[mode]
        fed = (f"{self.source} {edge}".strip(),) if self.source else ()
        tolerances = f"inductance {sides[l_sign]}, capacitance {sides[c_sign]}"
        return ", ".join((*fed, *parts, f"{self.temp - 273.15:.0f} °C", tolerances, self.load))


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """All points of one mode: solved once each, and judged with inductance and capacitance at both ends of tolerance.

    The last one is the usual point with nominal parts.
    """

    mode: Mode
    corners: tuple[Corner, ...]
    of: npt.NDArray[np.int64]
    """Which corner each point is made of, (n,)."""
    l_sign: npt.NDArray[np.float64]
    c_sign: npt.NDArray[np.float64]

    def only(self, keep: npt.NDArray[np.bool_]) -> "Grid":
        """Return the grid with only the chosen points."""
        return replace(self, of=self.of[keep], l_sign=self.l_sign[keep], c_sign=self.c_sign[keep])

    @property
    def words(self) -> tuple[str, ...]:
        """Return each point in words."""
        return tuple(
            self.corners[k].words(self.mode, float(a), float(b))
            for k, a, b in zip(self.of, self.l_sign, self.c_sign, strict=True)
        )


def grid_of(mode: Mode, case: Situation, chosen: Plan) -> Grid:
    """Return the points of a mode."""
    corners = {"charging": _charging, "resting": _resting, "helping": _helping, "boosting": _boosting}[mode](
        case, chosen
    )
    n = len(corners) - 1
    return Grid(
        mode=mode,
        corners=tuple(corners),
        of=np.append(np.repeat(np.arange(n), len(_SIGNS)), n),
        l_sign=np.append(np.tile([a for a, _ in _SIGNS], n), 0.0),
        c_sign=np.append(np.tile([b for _, b in _SIGNS], n), 0.0),
    )


def _loads(case: Situation) -> list[tuple[float, str]]:
    """Return calmest and busiest load; one if they are the same."""
    calm = min(case.modes.values())
    busy = [(case.p_busy, "busiest load")]
    return busy if calm >= case.p_busy else [(calm, "calmest load"), *busy]


def _temps(case: Situation) -> tuple[float, float]:
    return case.design.ambient.cold, case.design.ambient.hot


_EDGES: tuple[Edge, ...] = ("low", "high")


def _charging(case: Situation, chosen: Plan) -> list[Corner]:
    found = [
        Corner(
            source=source, edge=edge, soc=soc, temp=temp, p_load=p_load, load=load, full=full,
            i_pack=case.i_charge if full else case.i_termination,
        )
        for source, edge, soc, full, temp, (p_load, load) in itertools.product(
            chosen.contracts, _EDGES, SOCS, (True, False), _temps(case), _loads(case)
        )
    ]  # fmt: skip
    p_load, load = _loads(case)[0]
    usual = Corner(
        source=chosen.strongest, edge="typ", soc=0.5, temp=case.design.ambient.typical, p_load=p_load, load=load,
        i_pack=case.i_charge,
    )  # fmt: skip
    return [*found, usual]


def _resting(case: Situation, chosen: Plan) -> list[Corner]:
    path = chosen.path
    high = float(bus_setting(case, path, "no-pack", case.v_full))
    low = float(bus_setting(case, path, "flat-pack", case.pack.v_empty))
    found = [
        Corner(source=source, edge=edge, soc=0.5, temp=temp, p_load=p_load, load=load, v_bus=v_bus)
        for source, edge, v_bus, temp, (p_load, load) in itertools.product(
            chosen.contracts, _EDGES, sorted({low, high}), _temps(case), _loads(case)
        )
    ]
    p_load, load = _loads(case)[-1]
    usual = Corner(
        source=chosen.strongest, edge="typ", soc=0.5, temp=case.design.ambient.typical, p_load=p_load, load=load,
        v_bus=high,
    )  # fmt: skip
    return [*found, usual]


def _beyond(case: Situation, chosen: Plan, source: str) -> list[tuple[float, str]]:
    """Return the loads with which the pack helps a source: a little beyond it, and the peak."""
    supply = chosen.contracts[source]
    least = BEYOND * source_limit(case, supply) * supply.v_set.typ
    more = [(case.p_peak, "peak load")] if case.p_peak > least else []
    return [(least, "load 10 % beyond the source"), *more]


def _helping(case: Situation, chosen: Plan) -> list[Corner]:
    found = [
        Corner(source=source, edge=edge, soc=soc, temp=temp, p_load=p_load, load=load)
        for source, edge, soc, temp in itertools.product(chosen.contracts, _EDGES, SOCS, _temps(case))
        for p_load, load in _beyond(case, chosen, source)
    ]
    p_load, load = _beyond(case, chosen, chosen.strongest)[-1]
    usual = Corner(
        source=chosen.strongest, edge="typ", soc=0.5, temp=case.design.ambient.typical, p_load=p_load, load=load
    )
    return [*found, usual]


def _boosting(case: Situation, chosen: Plan) -> list[Corner]:
    loads: Sequence[tuple[float, str]] = _loads(case)
    if case.p_peak > case.p_busy:
        loads = [*loads, (case.p_peak, "peak load")]

    def at(soc: float, temp: float, p_load: float, load: str) -> Corner:
        v_bus = float(bus_setting(case, chosen.path, "battery-boost", pack_ocv(case.pack, soc, temp)))
        return Corner(source="", edge="typ", soc=soc, temp=temp, p_load=p_load, load=load, v_bus=v_bus)

    found = [at(soc, temp, p_load, load) for soc, temp, (p_load, load) in itertools.product(SOCS, _temps(case), loads)]
    return [*found, at(0.5, case.design.ambient.typical, case.p_busy, "busiest load")]

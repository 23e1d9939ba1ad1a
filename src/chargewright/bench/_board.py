"""The board that the plan is for: solved points, coded set-points, and how a step is put together."""

from dataclasses import dataclass
from math import nan
from typing import Any

import numpy as np

from chargewright.base.errors import ChargewrightError
from chargewright.base.units import Toleranced
from chargewright.bench.meters import Meter
from chargewright.bench.records import Phase, Step
from chargewright.network.graph import PowerPath, StateKey
from chargewright.network.hardware import Hardware
from chargewright.network.solve import Solution, solve
from chargewright.parts.pack import pack_ocv
from chargewright.parts.supply import Supply
from chargewright.setpoints.plan import SetPoint
from chargewright.sizing.build import Build
from chargewright.studies.charge import ChargePlan
from chargewright.studies.ladder import Ladder
from chargewright.studies.needs import Plan
from chargewright.studies.operate import conditions
from chargewright.studies.settings import Settings
from chargewright.studies.situation import Situation
from chargewright.studies.study import Study


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """The winner of a study with its set-points and ladders, on a bench at the typical ambient."""

    case: Situation
    plan: Plan
    build: Build
    hardware: Hardware
    settings: Settings
    ladders: tuple[Ladder, ...]
    charge: ChargePlan
    source: str
    """Name of the strongest source."""

    @property
    def path(self) -> PowerPath:
        """The power path."""
        return self.plan.path

    @property
    def supply(self) -> Supply:
        """The strongest source's contract."""
        return self.plan.contracts[self.source]

    @property
    def temp(self) -> float:
        """Ambient of the bench [K]."""
        return self.case.design.ambient.typical

    def has(self, key: StateKey) -> bool:
        """Return whether the path has a state that this design can be in."""
        return self.path.state(key) is not None and (key != "pass-through" or self.source in self.plan.through)

    def point(self, quantity: str) -> SetPoint | None:
        """Return a coded set-point, or None if the controller has no field for it."""
        return next((p for p in self.settings.points if p.want.quantity == quantity), None)

    def solved(self, key: StateKey, *, soc: Any, p_load: Any, i_pack: Any = None) -> Solution:
        """Return a state solved at typical source and ambient; arrays broadcast."""
        state = self.path.state(key)
        assert state is not None, "the plan asks only for states that the path has"
        supply = self.supply if state.source else None
        c = conditions(self.case, self.path, key, supply, soc=soc, p_load=p_load, temp=self.temp, i_pack=i_pack)
        return solve(self.path, state, self.hardware, c)

    def rest_voltage(self, soc: float) -> float:
        """Return the pack's rest voltage on the bench [V]."""
        return float(pack_ocv(self.case.pack, soc, self.temp))


def board_of(study: Study, settings: Settings, ladders: tuple[Ladder, ...]) -> Board:
    """Return the board of a study's winner. Raises ChargewrightError for a study without one."""
    best = study.winner
    if best is None or best.sizing is None or best.hardware is None or best.charge is None:
        raise ChargewrightError("a test plan needs a path that can do the job; this study has none")
    return Board(
        case=study.case,
        plan=best.plan,
        build=best.sizing.build,
        hardware=best.hardware,
        settings=settings,
        ladders=ladders,
        charge=best.charge,
        source=best.plan.strongest,
    )


def measured(
    phase: Phase,
    title: str,
    *,
    how: str,
    quantity: str,
    band: Toleranced,
    meter: Meter,
    unit: str,
    basis: str,
    why: str,
    caution: str = "",
) -> Step:
    """Return a step that ends in a number; the meter's error is added to the band, and said."""
    wide = meter.widened(band)
    return Step(
        id="",
        phase=phase,
        title=title,
        how=how,
        quantity=quantity,
        expected=band.typ,
        low=wide.low,
        high=wide.high,
        unit=unit,
        basis=f"{basis}; {meter.name}: {meter.says(unit)}" if meter.name else basis,
        caution=caution,
        why=why,
    )


def seen(phase: Phase, title: str, *, how: str, quantity: str, why: str, caution: str = "") -> Step:
    """Return a step that ends in something seen, not in a number."""
    return Step(
        id="",
        phase=phase,
        title=title,
        how=how,
        quantity=quantity,
        expected=nan,
        low=nan,
        high=nan,
        unit="",
        basis="",
        caution=caution,
        why=why,
    )


def around(value: float, share: float) -> Toleranced:
    """Return a band of a share to each side of a value."""
    width = share * abs(value)
    return Toleranced(value, value - width, value + width)


def usable(s: Solution) -> np.ndarray:
    """Return where a solution is a steady state."""
    return np.asarray(s.ok, dtype=bool)

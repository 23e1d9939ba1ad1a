"""The study: every candidate path planned, sized, solved, judged and ranked, and the winner worked out.

This is where the eight questions of a design meet. Each step is a function of its own room; this file only says in
which order they run and what they hand on.
"""

import pickle
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from chargewright.base.errors import NoSolution
from chargewright.network.graph import PowerPath
from chargewright.network.hardware import Hardware
from chargewright.network.sweep import sweep_has_to_be_compiled
from chargewright.parts.catalogue import load_parts
from chargewright.paths import shelf
from chargewright.sizing.build import hardware_of
from chargewright.sizing.records import Sizing
from chargewright.sizing.size import size
from chargewright.spec.design import Design
from chargewright.studies.charge import ChargePlan, charge_plan
from chargewright.studies.day import Day, day, run_time
from chargewright.studies.decision_map import Contender, DecisionMap, decision_map
from chargewright.studies.feasible import Requirement, feasible, judge, source_too_low
from chargewright.studies.limits import Reach, reach_of
from chargewright.studies.needs import Plan, demand, plan
from chargewright.studies.operate import operate
from chargewright.studies.situation import Situation, situation
from chargewright.studies.states import StateReport, states_of
from chargewright.studies.verdict import Ranking, rank
from chargewright.studies.window import BusWindow, bus_window

Progress = Callable[[str, float], None]
"""Told the step that starts and the share of the work that is done [1]."""

NOT_MODELLED = (
    "Large signals in time beyond plug, load step and start, which are run with the averaged circuit and an assumed "
    "controller; the command for transients runs the hand-overs and every switching edge.",
    "Faults in time: thresholds are compared with ratings on the ladder, but no fault is run.",
    "Peaks shorter than a step of a minute in the days of use: their power is inside the mode's, the study judges them "
    "by a requirement of their own, and `chargewright usage` steps through the dip of the bus.",
    "Cells at different temperatures, in charge and in use: all have that of the mean one.",
    "Minor flux loops, bias and temperature of the core material in the core loss.",
    "Layout: copper, vias and planes, common-source inductance, ringing at the switch node.",
    "Adjustable (PPS, AVS) contracts: the study takes fixed objects only.",
    "How the pack ages: a run keeps its capacity and resistance; `pack.ageing` gives those of a worn one.",
    "Humidity, altitude and airflow; heat leaves by one board resistance to still air.",
)
"""What the study leaves out; every output says so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PathStudy:
    """Everything known of one candidate path."""

    path: PowerPath
    plan: Plan
    sizing: Sizing | None
    """None if no parts meet the rules; then nothing below is known."""
    why_not: str
    """Why no parts were found; "" if there are some, or if a requirement already rules the path out."""
    hardware: Hardware | None = None
    requirements: tuple[Requirement, ...] = ()
    feasible: bool = False
    window: BusWindow | None = None
    states: tuple[StateReport, ...] = ()
    day: Day | None = None
    charge: ChargePlan | None = None
    measures: dict[str, float] | None = None
    """Weight name to measure in SI (`studies.verdict.MEASURES`)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """The whole study of one design."""

    case: Situation
    design_file: str
    paths: tuple[PathStudy, ...]
    """All candidates: feasible ones first, best first; then the others."""
    ranking: Ranking
    map: DecisionMap | None
    """None if no path is feasible."""
    reach: Reach | None
    """How far the winner can go; None without a winner."""
    not_modelled: tuple[str, ...] = NOT_MODELLED

    @property
    def winner(self) -> PathStudy | None:
        """The best feasible path, or None."""
        return self.paths[0] if self.ranking.order else None

    @property
    def feasible_paths(self) -> tuple[PathStudy, ...]:
        """The feasible candidates, best first."""
        return tuple(p for p in self.paths if p.feasible)

    def path(self, key: str) -> PathStudy:
        """Return one candidate by its key; raises KeyError."""
        return {p.path.key: p for p in self.paths}[key]


def study_design(design: Design, design_file: Path, progress: Progress | None = None) -> Study:
    """Return the study of a design. Raises ChargewrightError where the design cannot be resolved.

    progress : told each step; see `Progress`
    """
    tell = progress or (lambda _step, _share: None)
    tell("reading cells, sources and parts", 0.0)
    if sweep_has_to_be_compiled():
        tell("compiling the search for parts: only the first run has to, and takes some seconds longer", 0.01)
    case = situation(design, design_file.parent, design_file)
    parts = load_parts(design.parts, design_file.parent)
    keys = design.candidates or shelf.keys()
    found = []
    # Paths that ask the same of their parts get the same parts; the demand's own bytes are its identity.
    sized: dict[bytes, Sizing] = {}
    for k, key in enumerate(keys):
        path = shelf.get(key)
        tell(f"{path.title}: parts, states, day and charge", 0.05 + 0.8 * k / len(keys))
        chosen = plan(case, path)
        hopeless = source_too_low(case, chosen)
        if hopeless:
            found.append(PathStudy(path=path, plan=chosen, sizing=None, why_not="", requirements=hopeless))
            continue
        asked = demand(case, chosen)
        same = pickle.dumps(replace(asked, path=""))
        try:
            sizing = sized[same] if same in sized else size(asked, parts)
        except NoSolution as error:
            found.append(PathStudy(path=path, plan=chosen, sizing=None, why_not=str(error)))
            continue
        sized[same] = sizing
        found.append(study_path(case, chosen, sizing))
    tell("ranking and decision map", 0.87)
    return _ranked(case, design, str(design_file), found)


def study_path(case: Situation, chosen: Plan, sizing: Sizing) -> PathStudy:
    """Return the study of one path with its parts."""
    ambient = case.design.ambient
    hardware = hardware_of(sizing.build, chosen.rails, case.design.rules, ambient.board)
    requirements = judge(case, chosen, hardware)
    able = feasible(requirements)
    the_day = day(case, chosen, hardware, ambient.typical)
    charge = charge_plan(case, chosen, hardware)
    return PathStudy(
        path=chosen.path,
        plan=chosen,
        sizing=sizing,
        why_not="",
        hardware=hardware,
        requirements=requirements,
        feasible=able,
        window=bus_window(case, chosen, hardware),
        states=states_of(case, chosen, hardware),
        day=the_day,
        charge=charge,
        measures=_measures(case, chosen, hardware, sizing, the_day, charge) if able else None,
    )


def _measures(
    case: Situation, chosen: Plan, hw: Hardware, sizing: Sizing, the_day: Day, charge: ChargePlan
) -> dict[str, float]:
    ambient = case.design.ambient
    usual = max(case.modes.values()) if len(case.modes) == 1 else float(np.median(list(case.modes.values())))
    supply = chosen.contracts[chosen.strongest]
    hot = operate(case, chosen.path, hw, supply, soc=[0.1, 0.5, 0.8], p_load=case.p_busy, temp=ambient.hot)
    rails = chosen.rails
    return {
        # Energy that was not delivered is no saving: the wall energy is scaled to the whole of what was asked for.
        "energy": the_day.e_wall * (the_day.e_load + the_day.e_unserved) / max(the_day.e_load, 1e-9),
        "run_time": run_time(case, chosen.path, hw, usual, ambient.typical),
        "heat": float(np.nanmax(hot.p_loss)),
        "charge_time": charge.t_full,
        "cost": chosen.path.controller_cost + sizing.build.cost + sum(r.cost for r in rails),
        "area": sizing.build.area + sum(r.area for r in rails),
    }


def _ranked(case: Situation, design: Design, design_file: str, found: list[PathStudy]) -> Study:
    measures = {p.path.key: p.measures for p in found if p.measures is not None}
    ranking = rank(measures, design.weights)
    place = {r.key: k for k, r in enumerate(ranking.order)}
    ordered = sorted(found, key=lambda p: (place.get(p.path.key, len(place)), _failures(p)))
    the_map, reach = None, None
    if ranking.order:
        contenders = {
            p.path.key: Contender(plan=p.plan, hardware=p.hardware, measures=p.measures)
            for p in ordered
            if p.hardware is not None and p.measures is not None
        }
        the_map = decision_map(case, contenders, design.weights)
        best = contenders[ordered[0].path.key]
        reach = reach_of(case, best.plan, best.hardware)
    return Study(case=case, design_file=design_file, paths=tuple(ordered), ranking=ranking, map=the_map, reach=reach)


def _failures(p: PathStudy) -> int:
    return sum(not r.met for r in p.requirements if r.weight == "must") if p.requirements else 99

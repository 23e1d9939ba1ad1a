"""One path of a design with its parts, without the rest of the study: what a single question is asked of."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from chargewright.base.errors import NoSolution
from chargewright.base.near import nearest
from chargewright.network.hardware import Hardware
from chargewright.parts.catalogue import load_parts
from chargewright.paths import shelf
from chargewright.sizing.build import Build, hardware_of
from chargewright.sizing.size import size
from chargewright.spec.design import Design
from chargewright.studies.needs import Plan, demand, plan
from chargewright.studies.situation import Situation, situation
from chargewright.studies.study import PathStudy, Study, study_design

Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class BuiltPath:
    """A path that parts have been chosen for."""

    case: Situation
    plan: Plan
    build: Build
    hardware: Hardware


def studied_path(design: Design, design_file: Path, key: str | None, tell: Progress) -> tuple[Study, PathStudy]:
    """Return the path `key` studied alone, with its study; None for the best one (or the first that failed) of all.

    Raises NoSolution for a path that the design does not have, ChargewrightError where it cannot be resolved.
    """
    keys = tuple(design.candidates or shelf.keys())
    if key is not None and key not in keys:
        close = nearest(key, keys)
        hint = f"did you mean {close}?" if close else f"it has {', '.join(keys)}"
        raise NoSolution(f"--path {key}: this design has no such path; {hint}")
    asked = design if key is None else replace(design, candidates=(key,))
    study = study_design(asked, design_file, tell)
    return study, study.winner or study.paths[0]


def built_path(design: Design, design_file: Path, key: str | None, tell: Progress) -> BuiltPath:
    """Return the path `key` of a design with its parts; None for the best one, which needs the whole study.

    Raises ChargewrightError.
    """
    if key is None:
        found = study_design(design, design_file, tell)
        best = found.winner
        if best is None or best.hardware is None or best.sizing is None:
            raise NoSolution(_no_path(found))
        return BuiltPath(case=found.case, plan=best.plan, build=best.sizing.build, hardware=best.hardware)
    tell("parts of the path", 0.2)
    chosen_path = shelf.get(key)
    case = situation(design, design_file.parent, design_file)
    chosen = plan(case, chosen_path)
    build = size(demand(case, chosen), load_parts(design.parts, design_file.parent)).build
    hardware = hardware_of(build, chosen.rails, design.rules, design.ambient.board)
    return BuiltPath(case=case, plan=chosen, build=build, hardware=hardware)


def _no_path(found: Study) -> str:
    reasons = [f"  {p.path.key}: {p.why_not or next((r.reason for r in p.requirements if not r.met), '')}"
               for p in found.paths]  # fmt: skip
    return "\n".join(
        ["no path can do the job of this design:", *reasons, "name one with --path to look at it all the same"]
    )

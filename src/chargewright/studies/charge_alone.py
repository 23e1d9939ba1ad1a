"""Only the charge of a design: one path, one source, one ambient, without the rest of the study."""

from collections.abc import Callable
from pathlib import Path

from chargewright.base.errors import ChargewrightError, NoSolution
from chargewright.base.near import nearest
from chargewright.network.hardware import Hardware
from chargewright.parts.catalogue import load_parts
from chargewright.paths import shelf
from chargewright.sizing.build import hardware_of
from chargewright.sizing.size import size
from chargewright.spec.design import Design
from chargewright.studies.charge import ChargePlan, charge_case, charge_plan
from chargewright.studies.needs import Plan, demand, plan
from chargewright.studies.situation import Situation, situation
from chargewright.studies.study import study_design

Progress = Callable[[str, float], None]


def charge_alone(
    design: Design,
    design_file: Path,
    *,
    path: str | None = None,
    source: str | None = None,
    soc_start: float = 0.0,
    temp_ambient: float | None = None,
    progress: Progress | None = None,
) -> tuple[Situation, ChargePlan]:
    """Return the situation and one charge of a design, with the system in its calmest mode.

    path         : key of the power path; None for the best one, which needs the whole study
    source       : name of a source; None for the strongest one in use
    temp_ambient : [K]; None for the typical ambient
    Raises ChargewrightError.
    """
    tell = progress or (lambda _step, _share: None)
    case, chosen, hardware = _path_of(design, design_file, path, tell)
    known = list(chosen.contracts)
    if source is not None and source not in known:
        close = nearest(source, known)
        hint = f"did you mean {close!r}?" if close else f"the design has: {', '.join(known)}"
        raise ChargewrightError(f"--source {source}: the design names no such source; {hint}")
    tell("charge", 0.9)
    name = source or charge_plan(case, chosen, hardware).source
    calm = min(case.modes.values())
    temp = design.ambient.typical if temp_ambient is None else temp_ambient
    title = f"{chosen.path.title}, from {name}, system at {calm:g} W"
    return case, charge_case(case, chosen, hardware, name, title=title, p_load=calm, temp=temp, soc_start=soc_start)


def _path_of(design: Design, design_file: Path, key: str | None, tell: Progress) -> tuple[Situation, Plan, Hardware]:
    if key is None:
        found = study_design(design, design_file, lambda step, share: tell(step, 0.9 * share))
        if found.winner is None or found.winner.hardware is None:
            raise NoSolution(
                "no path can do the job of this design; name one with --path to see its charge all the same"
            )
        return found.case, found.winner.plan, found.winner.hardware
    tell("parts of the path", 0.2)
    chosen_path = shelf.get(key)
    case = situation(design, design_file.parent)
    chosen = plan(case, chosen_path)
    sizing = size(demand(case, chosen), load_parts(design.parts, design_file.parent))
    return case, chosen, hardware_of(sizing.build, chosen.rails, design.rules, design.ambient.board)

"""Only the charge of a design: one path, one source, one ambient, without the rest of the study."""

from collections.abc import Callable
from pathlib import Path

from chargewright.base.errors import ChargewrightError
from chargewright.base.near import nearest
from chargewright.base.units import show
from chargewright.spec.design import Design
from chargewright.studies.charge import ChargePlan, charge_case, charge_plan
from chargewright.studies.one_path import built_path
from chargewright.studies.situation import Situation

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
    built = built_path(design, design_file, path, lambda step, share: tell(step, 0.9 * share))
    case, chosen, hardware = built.case, built.plan, built.hardware
    known = list(chosen.contracts)
    if source is not None and source not in known:
        close = nearest(source, known)
        hint = f"did you mean {close!r}?" if close else f"the design has: {', '.join(known)}"
        raise ChargewrightError(f"--source {source}: the design names no such source; {hint}")
    tell("charge", 0.9)
    name = source or charge_plan(case, chosen, hardware).source
    calm = min(case.modes.values())
    temp = design.ambient.typical if temp_ambient is None else temp_ambient
    title = f"{chosen.path.title}, from {name}, system at {show(calm, 'W')}"
    return case, charge_case(case, chosen, hardware, name, title=title, p_load=calm, temp=temp, soc_start=soc_start)

"""Findings about small currents and sense resistors."""

from collections.abc import Iterator

from chargewright.base.findings import Cure, Finding
from chargewright.base.units import show
from chargewright.setpoints._case import COMMON_PRACTICE, Case
from chargewright.setpoints.plan import SetPoint

SMALL_CURRENT_ERROR = 0.20
"""Error of a precharge or termination current from which it is told (common practice)."""


def small_currents(case: Case) -> Iterator[Finding]:
    """Yield precharge and termination currents whose error is large against themselves."""
    for point in case.points:
        if point.quantity.key not in ("precharge_current", "termination_current") or point.asked <= 0.0:
            continue
        error = _relative_error(point)
        if error <= SMALL_CURRENT_ERROR * (1.0 + 1e-9):
            continue
        yield Finding(
            severity="caution",
            check="small-current-accuracy",
            where=case.where(point.quantity.title),
            what=f"{show(point.asked, 'A')} is asked for the {point.quantity.title}, which may be "
            f"{show(point.low, 'A', 3)} to {show(point.high, 'A', 3)}: an error of {show(error, '1', 3)}.",
            value=error,
            limit=SMALL_CURRENT_ERROR,
            unit="1",
            why="Offset and step are the same at every current, so they decide at small ones: a flat cell is stressed, "
            "or the taper ends too early or never.",
            source=COMMON_PRACTICE,
            cure=_larger_current(case, point),
        )


def _relative_error(point: SetPoint) -> float:
    return max(abs(point.high - point.asked), abs(point.asked - point.low)) / point.asked


def _larger_current(case: Case, point: SetPoint) -> Cure | None:
    for factor in (1.25, 1.5, 2.0, 3.0, 4.0):
        tried = case.again(point, point.asked * factor)
        if not tried.clamped and _relative_error(tried) <= SMALL_CURRENT_ERROR:
            return Cure(change=f"ask for {show(tried.asked, 'A')}", value=_relative_error(tried), clears=True)
    return None


def sense_resistor(case: Case) -> Iterator[Finding]:
    """Yield currents whose code has to make up for another sense resistor."""
    for point in case.points:
        if point.sensing is None or abs(point.sensing.ratio - 1.0) < 1e-9:
            continue
        naive = point.asked * point.sensing.ratio
        yield Finding(
            severity="caution",
            check="sense-resistor",
            where=case.where(point.quantity.title),
            what=f"The controller counts on {show(point.sensing.r_configured, 'ohm')} and "
            f"{show(point.sensing.r_fitted.typ, 'ohm')} is fitted: code {point.code} says {show(point.coded, 'A')} "
            f"and sets {show(point.real, 'A')}; {show(point.asked, 'A')} written as such would set {show(naive, 'A')}.",
            value=naive,
            limit=point.asked,
            unit="A",
            why="Software that does not know the fitted resistor is wrong by the ratio of the two, in both directions.",
            source="ratio of the resistors",
        )

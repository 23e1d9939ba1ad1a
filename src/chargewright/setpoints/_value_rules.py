"""Findings about ranges and voltages: what cannot be set, what a cell or the source does not allow."""

from collections.abc import Iterator

from chargewright.base.findings import Cure, Finding, Severity
from chargewright.base.units import show
from chargewright.setpoints._case import COMMON_PRACTICE, Case
from chargewright.setpoints.cell_voltage import cell_voltage_error
from chargewright.setpoints.controller import Choices
from chargewright.setpoints.plan import SetPoint
from chargewright.setpoints.quantise import range_text
from chargewright.setpoints.quantities import QUANTITIES

ORDINARY_V_ERROR = 0.005
"""Accuracy of the charge voltage that ordinary charge controllers keep (common practice)."""


def without_field(case: Case) -> Iterator[Finding]:
    """Yield, as one finding, the wants that the controller has no field for."""
    missing = [want for want in case.wants if case.controller.field(want.quantity) is None]
    if missing:
        titles = ", ".join(QUANTITIES[want.quantity].title for want in missing)
        yield Finding(
            severity="caution",
            check="set-point-without-field",
            where=case.where("fields"),
            what=f"The controller cannot be told: {titles}.",
            value=float(len(missing)),
            limit=0.0,
            unit="1",
            why="Something else has to set them: another part, a resistor on the board, or the host itself.",
            source="controller file",
        )


def full_scale_unknown(case: Case) -> Iterator[Finding]:
    """Yield set-points whose accuracy counts on a full scale that the file does not give."""
    for point in case.points:
        accuracy = point.field.accuracy
        if accuracy.of_full_scale and accuracy.full_scale is None:
            yield Finding(
                severity="note",
                check="full-scale-unknown",
                where=case.where(point.quantity.title),
                what=f"The accuracy of the {point.quantity.title} is a share of the greatest value that can be set, "
                f"which the controller file does not give; {show(point.real, point.quantity.unit)} is taken.",
                value=point.real,
                limit=point.real,
                unit=point.quantity.unit,
                why="A controller that can be set to twice as much may be wrong by twice as much: state 'full_scale'.",
                source="controller file",
            )


def clamped(case: Case) -> Iterator[Finding]:
    """Yield set-points outside the range of their field."""
    for point in case.points:
        if not point.clamped:
            continue
        unit, title = point.quantity.unit, point.quantity.title
        wrong_side = point.error > 0.0 if point.want.safe == "down" else point.error < 0.0
        severity: Severity = "note" if isinstance(point.field.scale, Choices) else "caution"
        if wrong_side:
            severity = "stop" if point.quantity.key in ("charge_voltage", "charge_current") else "serious"
        yield Finding(
            severity=severity,
            check="set-point-out-of-range",
            where=case.where(title),
            what=f"{show(point.asked, unit)} is asked for the {title}; the nearest that can be set is "
            f"{show(point.real, unit)} (it can be {range_text(point.field)}).",
            value=point.real,
            limit=point.asked,
            unit=unit,
            why=f"The value lies on the unsafe side of what is asked: {point.quantity.why}."
            if wrong_side
            else f"The controller stays short of what is asked: {point.quantity.why}.",
            source="controller file",
        )


def voltage_accuracy(case: Case) -> Iterator[Finding]:
    """Yield a charge voltage whose accuracy alone passes the limit of the pack."""
    for point in case.points:
        if point.quantity.key != "charge_voltage":
            continue
        limit = case.context.v_pack_max
        if point.high <= limit * (1.0 + 1e-9):
            continue
        severity: Severity = "serious" if point.high > limit * (1.0 + ORDINARY_V_ERROR + 1e-9) else "caution"
        tried = _lower_voltage(case, point, limit)
        yield Finding(
            severity=severity,
            check="charge-voltage-accuracy",
            where=case.where(point.quantity.title),
            what=f"Set to {show(point.real, 'V')}, the charge voltage may be {show(point.high, 'V', 5)}: accuracy "
            f"alone is worth {show(point.high - point.real, 'V', 3)}, and the limit of the pack is {show(limit, 'V')}.",
            value=point.high,
            limit=limit,
            unit="V",
            why="A cell that is held above its charge voltage ages fast and, further up, plates lithium.",
            source="accuracy as the controller file states it; limit: cell",
            cure=Cure(change=_set_to(tried), value=tried.high, clears=True) if tried else None,
        )


def _lower_voltage(case: Case, point: SetPoint, v_high: float) -> SetPoint | None:
    """Return the set-point of a charge voltage so low that it never passes `v_high`, or None if there is none."""
    asked = point.asked
    for _ in range(6):
        asked -= max(case.again(point, asked).high - v_high, 0.0)
        tried = case.again(point, asked)
        if tried.high <= v_high * (1.0 + 1e-9) and not tried.clamped:
            return tried
    return None


def _set_to(point: SetPoint) -> str:
    return f"set the charge voltage to {show(point.real, 'V', 5)}"


def worst_cell(case: Case) -> Iterator[Finding]:
    """Yield a charge voltage that may take the highest cell above its upper limit."""
    for point in case.points:
        if point.quantity.key != "charge_voltage":
            continue
        cell = cell_voltage_error(point, case.context)
        if cell.high <= cell.upper * (1.0 + 1e-9) or cell.upper <= cell.limit:
            continue
        context = case.context
        v_high = context.series * (cell.upper - context.v_cell_spread) + context.v_lead.low
        tried = _lower_voltage(case, point, v_high)
        yield Finding(
            severity="stop",
            check="highest-cell",
            where=case.where(point.quantity.title),
            what=f"The highest cell may reach {show(cell.high, 'V', 5)}, above its upper limit of "
            f"{show(cell.upper, 'V')}.",
            value=cell.high,
            limit=cell.upper,
            unit="V",
            why="Accuracy, sensing drop and spread add up in one cell, and the pack voltage does not show it.",
            source="upper limit charging voltage of the cell (IEC 62133-2)",
            cure=Cure(change=_set_to(tried), value=cell_voltage_error(tried, context).high, clears=True)
            if tried
            else None,
        )


def never_charges(case: Case) -> Iterator[Finding]:
    """Yield a source voltage floor that a source cannot reach."""
    lowest = case.context.v_source_min
    for point in case.points:
        if point.quantity.key == "input_voltage" and lowest is not None and point.high > lowest:
            yield Finding(
                severity="serious",
                check="floor-above-source",
                where=case.where(point.quantity.title),
                what=f"The source voltage floor may be {show(point.high, 'V')}, and a source may give only "
                f"{show(lowest, 'V')}: it never charges.",
                value=point.high,
                limit=lowest,
                unit="V",
                why="Below the floor the charge current is cut back, down to nothing.",
                source=COMMON_PRACTICE,
            )

"""The charge, on a real pack of known state: precharge, constant current, constant voltage, termination, time."""

from collections.abc import Iterator

from chargewright.base.units import Toleranced, show
from chargewright.bench._board import Board, measured
from chargewright.bench.meters import AMPS, SECONDS, VOLTS, Meter
from chargewright.bench.records import Step
from chargewright.setpoints.plan import SetPoint

TIME = 0.15
"""Spread of a charge time to each side [1]: capacity, resistance and temperature of the pack (common practice)."""
LOW_CELL = 0.98
"""Least voltage of the highest cell over its charge voltage [1]; below, the charge ended early (common practice)."""
_WATCH = "Attend the charge from start to end; keep the means of disconnection in reach."


def charge(b: Board) -> Iterator[Step]:
    """Yield the charge from flat, phase by phase."""
    run = b.charge.run
    i_pre = b.point("precharge_current")
    yield _set_point(
        b,
        "Precharge",
        i_pre,
        b.case.i_precharge,
        AMPS,
        "A",
        how=f"A bidirectional supply in the pack's place, {show(0.9 * b.case.pack.v_precharge, 'V')}, system off.",
        quantity="current into the pack terminals",
        why="A flat cell that gets the full current plates copper or lithium; one that gets none is never woken.",
    )
    yield _set_point(
        b,
        "Precharge gives way",
        b.point("precharge_voltage"),
        b.case.pack.v_precharge,
        VOLTS,
        "V",
        how="Raise the supply in the pack's place slowly until the current rises to the charge current.",
        quantity="voltage at the sense point at which the charge current begins",
        why="Below the threshold the full current harms the cells.",
    )
    yield _set_point(
        b,
        "Constant current",
        b.point("charge_current"),
        b.case.i_charge,
        AMPS,
        "A",
        how=f"The real pack at about a third of its charge, system off, from {b.source}.",
        quantity="current into the pack terminals",
        why="Cells age by current; the sense resistor and its code decide it.",
    )
    v = b.point("charge_voltage")
    yield _set_point(
        b,
        "Constant voltage",
        v,
        b.case.v_full,
        VOLTS,
        "V",
        how="The same charge when the current has fallen to about half. Measure where the charger senses "
        f"({b.case.pack.sensed_at}), then every cell.",
        quantity="voltage of the pack at the sense point",
        why="Twenty millivolts a cell are a per cent of charge below, and years of life above.",
    )
    yield _set_point(
        b,
        "Termination",
        b.point("termination_current"),
        b.case.i_termination,
        AMPS,
        "A",
        how="The same charge, at the instant in which it ends. Repeat with the calm load running: it has to end too.",
        quantity="current into the pack terminals when the charge ends",
        why="Too low never ends, too high leaves the pack short of full.",
    )
    if run.ended_by == "termination":
        yield measured(
            "charge",
            "Time of the whole charge",
            how=f"The real pack from flat, {b.charge.title}, ambient {show(b.charge.temp_ambient, 'K', 3)}.",
            quantity="time from the first current to termination",
            band=Toleranced(run.t_end, (1.0 - TIME) * run.t_end, (1.0 + TIME) * run.t_end),
            meter=SECONDS,
            unit="s",
            basis=f"charge run of the study, within {TIME:.0%}",
            why="A charge that takes longer than computed is held back by something.",
            caution=_WATCH,
        )
        peak = float(run.trace.v_cell_highest.max())
        logger = Meter(name="cell logger", share=5e-4, floor=0.0)
        # The upper limit stands, whatever the meter: its error is taken off, not added.
        upper = b.case.pack.cell.limits.v_upper / (1.0 + logger.share)
        yield measured(
            "charge",
            "Highest cell",
            how="The same charge; log the voltage of every cell at the cell, to its end.",
            quantity="highest voltage of any cell during the charge",
            band=Toleranced(peak, LOW_CELL * b.case.pack.v_cell_max, upper),
            meter=logger,
            unit="V",
            basis="charge run of the study with the pack's spread; the upper end is the upper limit of the cell",
            why="The pack voltage looks fine while one cell is over its limit.",
            caution=_WATCH,
        )


def _set_point(
    b: Board,
    title: str,
    point: SetPoint | None,
    asked: float,
    meter: Meter,
    unit: str,
    *,
    how: str,
    quantity: str,
    why: str,
) -> Step:
    """Return a step on a coded set-point with its band, or on the value asked where the controller has no field."""
    if point is not None and not point.clamped:
        band, basis = Toleranced(point.real, point.low, point.high), f"coded set-point {point.code} with its accuracy"
    else:
        error = b.case.design.charge.v_error if unit == "V" else b.case.design.charge.i_error
        band = Toleranced(asked, asked * (1.0 - error), asked * (1.0 + error))
        basis = f"asked for; the controller cannot be set so. Accuracy of the design file, {show(error, '1')}"
    return measured(
        "charge",
        title,
        how=how,
        quantity=quantity,
        band=band,
        meter=meter,
        unit=unit,
        basis=basis,
        why=why,
        caution=_WATCH,
    )

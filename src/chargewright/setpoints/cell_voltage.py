"""From the charge voltage that a code sets to the highest cell: a signed budget, and what it is worth in charge."""

from dataclasses import dataclass
from typing import Any

from chargewright.parts.cell import Cell, soc_at_ocv
from chargewright.setpoints.accuracy import ErrorRow
from chargewright.setpoints.context import Context
from chargewright.setpoints.plan import SetPoint
from chargewright.setpoints.sensing import highest_cell_voltage


@dataclass(frozen=True, slots=True, kw_only=True)
class CellVoltage:
    """The voltage of the highest cell at the end of charge [V]."""

    asked: float
    """Voltage asked for, per cell."""
    nominal: float
    """What the code means for a cell, before any error."""
    low: float
    high: float
    limit: float
    """Charge voltage of one cell."""
    upper: float
    """Upper limit charging voltage of one cell."""
    rows: tuple[ErrorRow, ...]
    """From `asked` to `low` and `high`, signed: the rows add up exactly."""

    @property
    def margin(self) -> float:
        """Distance from the worst case to the upper limit [V]; negative where the limit is passed."""
        return self.upper - self.high


@dataclass(frozen=True, slots=True, kw_only=True)
class FullState:
    """State of charge at rest after a charge to the lowest, the asked and the highest voltage of a cell [1]."""

    low: float
    asked: float
    high: float


def cell_voltage_error(point: SetPoint, context: Context) -> CellVoltage:
    """Return what a charge-voltage set-point does to the highest cell of the pack."""
    series, lead, spread = context.series, context.v_lead, context.v_cell_spread
    return CellVoltage(
        asked=point.asked / series,
        nominal=float(highest_cell_voltage(point.real, 0.0, series, 0.0)),
        low=float(highest_cell_voltage(point.low, lead.high, series, 0.0)),
        high=float(highest_cell_voltage(point.high, lead.low, series, spread)),
        limit=context.v_cell_max,
        upper=context.v_cell_max if context.v_cell_upper is None else context.v_cell_upper,
        rows=(
            ErrorRow(cause="rounding to the code", low=point.error / series, high=point.error / series, law="known"),
            ErrorRow(
                cause="accuracy of the controller",
                low=(point.low - point.real) / series,
                high=(point.high - point.real) / series,
            ),
            ErrorRow(cause="drop to the cells", low=-lead.high / series, high=-lead.low / series),
            ErrorRow(cause="spread between cells", low=0.0, high=spread),
        ),
    )


def full_state(cell: Cell, voltage: CellVoltage, temp: Any = None) -> FullState:
    """Return what the error of the charge voltage is worth in state of charge, with the taper run to its end.

    temp : temperature of the cell [K]; None takes the one of the cell's rest-voltage table
    """
    at = cell.temp_ref if temp is None else temp
    low, asked, high = (float(soc_at_ocv(cell, v, at)) for v in (voltage.low, voltage.asked, voltage.high))
    return FullState(low=low, asked=asked, high=high)

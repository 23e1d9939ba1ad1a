"""The code table: one record a set-point, for reports and as CSV. Numbers are SI; the unit has its own column."""

import csv
import io
from collections.abc import Sequence
from dataclasses import asdict, dataclass

from chargewright.setpoints.plan import SetPoint


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeRow:
    """One line of the code table."""

    quantity: str
    unit: str
    """SI unit of every value in the line."""
    asked: float
    rounded: str
    register: str
    code: int
    bits: str
    """The code at its place in the register."""
    coded: float
    """What the controller takes the code for."""
    real: float
    """What it sets on this board."""
    error: float
    low: float
    high: float
    step: float
    error_rss: float
    error_worst: float
    clamped: bool
    reset: float | None
    reset_verdict: str
    reset_reason: str
    reason: str


def code_table(points: Sequence[SetPoint]) -> tuple[CodeRow, ...]:
    """Return the code table of a plan."""
    return tuple(
        CodeRow(
            quantity=point.quantity.key,
            unit=point.quantity.unit,
            asked=point.asked,
            rounded=point.want.safe,
            register=f"0x{point.field.register:02X}",
            code=point.code,
            bits=f"0x{point.bits:04X}",
            coded=point.coded,
            real=point.real,
            error=point.error,
            low=point.low,
            high=point.high,
            step=point.step,
            error_rss=point.budget.rss,
            error_worst=point.budget.worst,
            clamped=point.clamped,
            reset=point.reset.value,
            reset_verdict=point.reset.verdict,
            reset_reason=point.reset.reason,
            reason=point.want.reason,
        )
        for point in points
    )


def code_table_csv(points: Sequence[SetPoint]) -> str:
    """Return the code table as CSV (RFC 4180 with plain line ends); floats to ten digits."""
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(CodeRow.__dataclass_fields__), lineterminator="\n")
    writer.writeheader()
    for row in code_table(points):
        writer.writerow({key: _plain(value) for key, value in asdict(row).items()})
    return text.getvalue()


def _plain(value: object) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.10g}"
    # A spreadsheet would take a text that starts like this for a formula.
    return f"'{value}" if isinstance(value, str) and value.startswith(("=", "+", "-", "@")) else value

"""What is handed over: set-points, ladders, findings, the test plan."""

from collections.abc import Sequence

from chargewright.base.findings import Finding
from chargewright.bench.records import TestPlan
from chargewright.report.tables import ROW, DataTable, TableForm, column, table_form
from chargewright.setpoints.plan import SetPoint
from chargewright.setpoints.table import code_table
from chargewright.studies.ladder import Ladder

SET_POINTS = table_form(
    "set_points",
    "Set-points: asked, coded and what they really set",
    (
        column("quantity", "set-point"),
        column("register", "register"),
        column("bits", "bits"),
        column("asked", "asked", ROW, 4),
        column("coded", "coded", ROW, 4),
        column("real", "sets on this board", ROW, 4),
        column("error", "left by rounding", ROW, 4),
        column("low", "lowest it may be", ROW, 4),
        column("high", "highest it may be", ROW, 4),
        column("unit", "SI unit"),
        column("rounded", "rounded"),
        column("clamped", "cut to the range", kind="flag"),
        column("reset", "reset value", ROW, 4),
        column("reset_verdict", "reset is"),
        column("reset_reason", "because"),
        column("reason", "why this value"),
    ),
)


OPEN_SET_POINTS = table_form(
    "open_set_points", "The same set-points on a charger of the open specification", SET_POINTS.columns
)


def set_points_table(points: Sequence[SetPoint], form: TableForm = SET_POINTS) -> DataTable:
    """Return one row for each set-point: asked, coded, real, band, reset."""
    rows = [
        (
            point.quantity.title,
            row.register,
            row.bits,
            row.asked,
            row.coded,
            row.real,
            row.error,
            row.low,
            row.high,
            row.unit,
            row.rounded,
            row.clamped,
            row.reset,
            row.reset_verdict,
            row.reset_reason,
            row.reason,
        )
        for point, row in zip(points, code_table(points), strict=True)
    ]
    return form.filled(rows)


LADDERS = table_form(
    "ladders",
    "Protection ladders",
    (
        column("ladder", "ladder"),
        column("kind", "kind"),
        column("rung", "rung"),
        column("low", "low", ROW, 4),
        column("typ", "typical", ROW, 4),
        column("high", "high", ROW, 4),
        column("unit", "SI unit"),
        column("delay", "acts in", "s"),
        column("origin", "where from"),
    ),
)


def ladders_table(ladders: Sequence[Ladder]) -> DataTable:
    """Return every rung of every ladder."""
    rows = [
        (ladder.title, r.kind, r.name, r.low, r.typ, r.high, ladder.unit, r.delay, r.origin)
        for ladder in ladders
        for r in ladder.rungs
    ]
    return LADDERS.filled(rows)


FINDINGS = table_form(
    "findings",
    "Findings, worst first",
    (
        column("severity", "severity"),
        column("check", "check"),
        column("where", "where"),
        column("what", "what"),
        column("value", "value", ROW, 4),
        column("limit", "limit", ROW, 4),
        column("unit", "SI unit"),
        column("why", "why it matters"),
        column("source", "source"),
        column("cure", "cure tried"),
        column("cured", "value with it", ROW, 4),
        column("clears", "clears it", kind="flag"),
    ),
)


def findings_table(findings: Sequence[Finding]) -> DataTable:
    """Return every finding."""
    rows = [
        (
            f.severity,
            f.check,
            f.where,
            f.what,
            f.value,
            f.limit,
            f.unit,
            f.why,
            f.source,
            f.cure.change if f.cure else "",
            f.cure.value if f.cure else None,
            f.cure.clears if f.cure else None,
        )
        for f in findings
    ]
    return FINDINGS.filled(rows)


TEST_PLAN = table_form(
    "test_plan",
    "Test plan",
    (
        column("step", "step"),
        column("phase", "phase"),
        column("title", "what"),
        column("how", "how"),
        column("quantity", "measure or see"),
        column("expected", "expected", ROW, 4),
        column("low", "lowest", ROW, 4),
        column("high", "highest", ROW, 4),
        column("unit", "SI unit"),
        column("basis", "basis"),
        column("caution", "caution"),
        column("why", "why"),
    ),
)


def test_plan_table(plan: TestPlan) -> DataTable:
    """Return the steps of the test plan in their order."""
    rows = [
        (s.id, s.phase, s.title, s.how, s.quantity, s.expected, s.low, s.high, s.unit, s.basis, s.caution, s.why)
        for s in plan.steps
    ]
    return TEST_PLAN.filled(rows)

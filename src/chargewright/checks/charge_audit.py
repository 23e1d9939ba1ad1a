"""Every charge against the limits of the cell."""

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

from chargewright.base.findings import Cure, Finding, Severity
from chargewright.base.units import show
from chargewright.checks._trial import charged_again, first_cure, trial
from chargewright.checks.review import Check, Review
from chargewright.sim._charge_audit import AuditRow
from chargewright.spec.design import Design
from chargewright.spec.fields import Rated
from chargewright.studies.charge import ChargePlan


def judge(review: Review) -> Iterator[Finding]:
    """Yield each limit of the cell that some charge breaks, at the charge that breaks it most."""
    worst: dict[str, tuple[ChargePlan, AuditRow]] = {}
    for plan in review.charges:
        for row in plan.run.audit:
            known = worst.get(row.what)
            if not row.ok and (known is None or _miss(row) > _miss(known[1])):
                worst[row.what] = plan, row
    for plan, row in worst.values():
        note = f" ({row.note})" if row.note else ""
        yield CHECK.finding(
            _severity(row),
            review.at(plan.title),
            f"Charge {plan.title}: {row.what} {show(row.value, row.unit, 5)}; the limit is "
            f"{show(row.limit, row.unit, 5)}{note}.",
            value=row.value,
            limit=row.limit,
            unit=row.unit,
            cure=_cure(review, plan, row),
        )


def _severity(row: AuditRow) -> Severity:
    """A voltage beyond the limit is worse than a little too much current, and certain worse than possible."""
    if "tolerance" not in row.what:
        return "stop"
    return "serious" if row.unit == "V" else "caution"


def _miss(row: AuditRow) -> float:
    return abs(row.value - row.limit) / abs(row.limit)


def _cure(review: Review, plan: ChargePlan, row: AuditRow) -> Cure | None:
    changes = _changes(review, row)
    return first_cure((text, partial(_again, review, plan, row, changed)) for text, changed in changes)


def _changes(review: Review, row: AuditRow) -> Iterator[tuple[str, Design]]:
    design = review.case.design
    if row.unit == "V":
        for extra in (1.05, 1.5):
            lower = review.case.pack.v_cell_max - extra * (row.value - row.limit)
            yield (
                f"charge to {show(lower, 'V', 5)} per cell",
                replace(design, pack=replace(design.pack, v_cell_max=lower)),
            )
    elif row.unit == "A" and row.value > 0.0 and row.limit > 0.0:
        # Where a temperature zone already rules the current, its limit less the same error again is what is left.
        i = 0.99 * min(review.case.i_charge, row.limit) * row.limit / row.value
        gentle = replace(design.charge, current=Rated(i, False))
        yield f"charge with {show(i, 'A')}", replace(design, charge=gentle)


def _again(review: Review, plan: ChargePlan, row: AuditRow, changed: Design) -> tuple[float, bool]:
    run = charged_again(trial(review, changed), plan)
    same = next((r for r in run.audit if r.what == row.what), row)
    return same.value, same.ok


CHECK = Check(
    key="charge-audit",
    title="no charge takes a cell past its limits, tolerances included",
    why="Cells beyond their limits plate lithium or gas; it shows later, as ageing or as fire.",
    source="limits of the cell model; IEC 62133-2 (upper limit charging voltage, charging temperature)",
    judge=judge,
)

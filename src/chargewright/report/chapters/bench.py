"""What the lab measures, in the order that protects the hardware."""

from chargewright.base.units import show
from chargewright.bench.records import PHASES, Step, TestPlan
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Block, Bullets, Caution, Cell, Chapter, Heading, Paragraph, Table, Verdict


def chapter(dossier: Dossier) -> Chapter | None:
    """Return the chapter; None without a test plan."""
    plan = dossier.test_plan
    if plan is None:
        return None
    measured = sum(s.measured for s in plan.steps)
    blocks: list[Block] = [
        Verdict(text=f"{plan.title}: {len(plan.steps)} steps, {measured} of them with a number and limits."),
    ]
    if plan.cautions:
        blocks.append(Caution(title="Before anything is powered", items=plan.cautions))
    if plan.set_up:
        blocks += [Heading(text="Set-up"), Bullets(items=plan.set_up)]
    if plan.instruments:
        blocks.append(_instruments(plan))
    for phase in PHASES:
        steps = plan.of(phase)
        if steps:
            blocks.append(_steps(phase, steps))
    if plan.left_out:
        blocks += [Paragraph(text="No step covers:"), Bullets(items=plan.left_out)]
    return Chapter(key="bench", title="Bench", question="Does the bench agree?", blocks=tuple(blocks))


def _instruments(plan: TestPlan) -> Table:
    return Table(
        caption="Instruments",
        heads=("instrument", "range", "accuracy"),
        aligns=("left", "left", "left"),
        rows=tuple((Cell(text=i.name), Cell(text=i.range), Cell(text=i.accuracy)) for i in plan.instruments),
    )


def _steps(phase: str, steps: tuple[Step, ...]) -> Table:
    rows = []
    for s in steps:
        limits = f"{show(s.low, s.unit)} … {show(s.high, s.unit)}" if s.measured else "seen"
        how = f"{s.how} Caution: {s.caution}" if s.caution else s.how
        rows.append(
            (
                Cell(text=s.id, strong=True),
                Cell(text=f"{s.title}. {how}"),
                Cell(text=s.quantity),
                Cell(text=show(s.expected, s.unit) if s.measured else "–"),
                Cell(text=limits),
                Cell(text=f"{s.basis}. {s.why}" if s.basis else s.why, tone="quiet"),
            )
        )
    return Table(
        caption=phase[0].upper() + phase[1:],
        heads=("step", "do", "measure or see", "expected", "passes within", "basis and reason"),
        aligns=("left", "left", "left", "right", "right", "left"),
        rows=tuple(rows),
    )

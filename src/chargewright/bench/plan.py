"""The test plan of a design: steps in the order that protects the hardware, every number out of the study.

The order: look and measure without power; sense lines with a known current; the source alone, limited and light; codes
read back before anything obeys them; protections before power; watts; only then a pack, its charge, the limits under
load, and at last the bad days.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace

from chargewright.base.units import show
from chargewright.bench import _charge, _guards, _limits, _start, _watts, texts
from chargewright.bench._board import Board, board_of
from chargewright.bench.records import PHASES, Instrument, Phase, Step, TestPlan
from chargewright.parts.pack import pack_resistance
from chargewright.studies.ladder import Ladder
from chargewright.studies.settings import Settings
from chargewright.studies.study import Study

_STEPS: dict[Phase, Callable[[Board], Iterator[Step]]] = {
    "before power": _start.before_power,
    "sensing": _start.sensing,
    "source alone": _start.source_alone,
    "codes": _guards.codes,
    "protections": _guards.protections,
    "watts": _watts.watts,
    "charge": _charge.charge,
    "limits and hand-over": _limits.limits,
    "bad days": _limits.bad_days,
}


def test_plan(study: Study, settings: Settings, ladders: tuple[Ladder, ...]) -> TestPlan:
    """Return the test plan of a study's winner. Raises ChargewrightError for a study without one."""
    board = board_of(study, settings, ladders)
    case = board.case
    return TestPlan(
        title=f"{case.design.name}: first boards of '{board.path.title}'",
        path=board.path.key,
        instruments=(*_supplies(board), *texts.METERS),
        set_up=tuple(_set_up(board)),
        cautions=texts.CAUTIONS,
        steps=tuple(_numbered(board)),
        left_out=texts.LEFT_OUT if board.path.state("supplement") else (*texts.LEFT_OUT, _no_supplement(board)),
    )


def _numbered(b: Board) -> Iterator[Step]:
    for letter, phase in zip("ABCDEFGHI", PHASES, strict=True):
        for number, step in enumerate(_STEPS[phase](b), start=1):
            yield replace(step, id=f"{letter}{number}")


def _supplies(b: Board) -> Iterator[Instrument]:
    v_over = max(r.high for ladder in b.ladders for r in ladder.rungs if ladder.key == "inlet-voltage")
    i = 1.2 * max(s.i_rated for s in b.plan.contracts.values())
    yield Instrument(
        name="laboratory supply with current limit",
        range=f"up to {show(v_over, 'V', 3)}, {show(i, 'A', 2)}; in the source's place",
        accuracy="set to the voltage of each step, measured at the inlet",
    )
    p = 1.1 * b.case.p_peak
    yield Instrument(
        name="electronic load",
        range=f"constant power up to {show(p, 'W', 3)}, steps within 0.1 ms; on the bus or the rails",
        accuracy="measured, not read off",
    )
    yield Instrument(
        name="bidirectional supply",
        range=f"up to {show(1.1 * b.case.v_full, 'V', 3)}, {show(b.case.pack.i_discharge_max, 'A', 3)} both ways; "
        "in the pack's place",
        accuracy="measured at the pack terminals",
    )


def _set_up(b: Board) -> Iterator[str]:
    temp = b.temp
    short = b.rest_voltage(1.0) / float(pack_resistance(b.case.pack, 1.0, temp, False))
    yield f"Still air of {show(temp, 'K', 3)}, within 2 K; the board as in its housing, or say how not."
    yield f"Sources: {', '.join(f'{n} ({s.contract})' for n, s in b.plan.contracts.items())}; the strongest one first."
    yield (
        f"The pack: {b.case.pack.series} cells in series, {b.case.pack.parallel} in parallel, "
        f"{show(b.case.v_full, 'V')} when full. Shorted it gives about {show(short, 'A', 2)}: fuse the leads."
    )
    yield "Agree who stops the test, and how: one switch that parts source and pack from the board."
    yield "Note serial numbers, firmware and the version of the design file with the readings."


def _no_supplement(b: Board) -> str:
    return f"Supplement: '{b.path.title}' has none, so that every peak is the source's."

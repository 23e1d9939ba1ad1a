"""The sets of parts that no other set beats, with the chosen one and those that nearly won."""

from math import sqrt

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Panel, axis_of, title
from chargewright.report.figures._svg import Board
from chargewright.report.palette import BAD, INK, SERIES, SOFT
from chargewright.sizing.records import Sizing

_TITLE = "Parts: loss against cost"
_HEIGHT = 280.0


def pareto_picture(sizing: Sizing, path: str) -> Picture:
    """Return the front of a path's sizing in loss and cost; the size of a dot is its board area."""
    front = sizing.front
    rejected = sizing.nearest_rejected
    every = [*front, *(r.candidate for r in rejected)]
    board = Board(key=f"pareto-{path}", width=WIDTH, height=_HEIGHT)
    title(board, _TITLE)
    _key(board, bool(rejected))
    panel = Panel(
        board=board,
        x=46.0,
        y=64.0,
        width=WIDTH - 58.0,
        height=_HEIGHT - 64.0 - 42.0,
        across=axis_of("cost index", [c.cost for c in every], room=0.08),
        up=axis_of("mean loss of the stage in W", [c.p_loss for c in every], room=0.12),
    )
    panel.frame()
    largest = max(c.area for c in every)
    for c in reversed(front):
        r = 2.0 + 4.5 * sqrt(c.area / largest)
        chosen = c is front[0]
        x, y = panel.px(c.cost), panel.py(c.p_loss)
        board.circle(x, y, r, fill=SERIES[0] if chosen else SOFT)
        if chosen:
            board.ring(x, y, r + 4.0, colour=INK)
    for c in (r.candidate for r in rejected):
        x, y = panel.px(c.cost), panel.py(c.p_loss)
        board.line(x - 4.0, y - 4.0, x + 4.0, y + 4.0, colour=BAD, width=1.8)
        board.line(x - 4.0, y + 4.0, x + 4.0, y - 4.0, colour=BAD, width=1.8)
    best = front[0]
    message = (
        f"The chosen set loses {show(best.p_loss, 'W', 3)} at a cost index of {best.cost:.3g} on "
        f"{best.area * 1e6:.3g} mm²; {len(front)} of {sizing.considered} sets are beaten by no other."
    )
    return Picture(
        key=f"pareto-{path}",
        title=_TITLE,
        message=message,
        alt=f"Dots of mean loss against cost index, the chosen one ringed; crosses break one rule. {message}",
        svg=board.svg(_TITLE),
    )


def _key(board: Board, rejected: bool) -> None:
    y = 36.0
    board.circle(54.0, y - 3.5, 4.0, fill=SERIES[0])
    board.ring(54.0, y - 3.5, 7.5, colour=INK)
    board.text(66.0, y, "chosen", size=10.0)
    board.circle(122.0, y - 3.5, 4.0, fill=SOFT)
    board.text(131.0, y, "not beaten (larger: more area)", size=10.0)
    if rejected:
        board.line(305.0, y - 7.5, 313.0, y + 0.5, colour=BAD, width=1.8)
        board.line(305.0, y + 0.5, 313.0, y - 7.5, colour=BAD, width=1.8)
        board.text(319.0, y, "breaks one rule", size=10.0)

"""Efficiency of the winner in each state, from flat to full pack."""

import numpy as np

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Panel, axis_of, legend, title
from chargewright.report.figures._svg import Board
from chargewright.report.palette import SERIES
from chargewright.studies.states import StateReport

_TITLE = "Efficiency from flat to full"
_HEIGHT = 268.0


def efficiency_picture(states: tuple[StateReport, ...]) -> Picture | None:
    """Return efficiency against state of charge for the states that have one; None if no state does."""
    drawn = [s for s in states if len(s.soc) > 1 and s.key != "off" and bool(s.solution.ok.any())]
    if not drawn:
        return None
    board = Board(key="efficiency", width=WIDTH, height=_HEIGHT)
    title(board, _TITLE)
    names = [s.title.partition(":")[0] for s in drawn]
    used = legend(board, 46.0, 36.0, WIDTH - 54.0, names)
    ys = [np.where(s.solution.ok, 100.0 * s.efficiency, np.nan) for s in drawn]
    top = 44.0 + used
    panel = Panel(
        board=board,
        x=46.0,
        y=top,
        width=WIDTH - 58.0,
        height=_HEIGHT - top - 42.0,
        across=Axis(label="state of charge in %", low=0.0, high=100.0, step=20.0),
        up=axis_of("efficiency in %", *ys, room=0.12),
    )
    panel.frame()
    for k, (s, y) in enumerate(zip(drawn, ys, strict=True)):
        panel.series(100.0 * s.soc, y, k)
        if np.sum(np.isfinite(y)) == 1:
            at = int(np.flatnonzero(np.isfinite(y))[0])
            board.circle(panel.px(100.0 * float(s.soc[at])), panel.py(float(y[at])), 3.0, fill=SERIES[k % len(SERIES)])
    spans = [(n, float(np.nanmin(y)) / 100.0, float(np.nanmax(y)) / 100.0) for n, y in zip(names, ys, strict=True)]
    told = "; ".join(f"{n} {show(low, '1', 3)} to {show(high, '1', 3)}" for n, low, high in spans)
    message = f"Load and stored power over what comes in: {told}."
    return Picture(
        key="efficiency",
        title=_TITLE,
        message=message,
        alt=f"Lines of efficiency against state of charge, one for each state. {message}",
        svg=board.svg(_TITLE),
    )

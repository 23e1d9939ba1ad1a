"""Impedance of cable and input capacitors against that of the stage behind them."""

import numpy as np

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Panel, axis_of, legend, title
from chargewright.report.figures._svg import Board
from chargewright.report.palette import INK
from chargewright.studies.stability import FilterReport

_TITLE = "Source side against the stage"
_HEIGHT = 290.0


def source_filter_picture(found: FilterReport) -> Picture:
    """Return both impedances over frequency at the worst corner."""
    board = Board(key="source-filter", width=WIDTH, height=_HEIGHT)
    title(board, _TITLE)
    used = legend(board, 46.0, 38.0, WIDTH - 58.0, ["cable and input capacitors", "stage with its loop closed"])
    top = 46.0 + used
    panel = Panel(
        board=board, x=46.0, y=top, width=WIDTH - 58.0, height=_HEIGHT - top - 42.0,
        across=Axis(label="frequency in kHz", low=float(found.f[0]) / 1e3, high=float(found.f[-1]) / 1e3, log=True),
        up=axis_of("impedance in Ω", found.z_filter, found.z_stage, log=True),
    )  # fmt: skip
    panel.frame()
    panel.series(found.f / 1e3, found.z_filter, 0)
    panel.series(found.f / 1e3, found.z_stage, 1)
    nearest = int(np.argmax(found.z_filter / found.z_stage))
    at = panel.px(float(found.f[nearest]) / 1e3)
    board.line(at, panel.y, at, panel.y + panel.height, colour=INK, width=1.0)
    message = (
        f"Worst corner: the source side comes nearest to the stage at {show(float(found.f[nearest]), 'Hz', 3)}, with "
        f"{found.z_filter[nearest] / found.z_stage[nearest]:.2g} times its impedance; the two keep "
        f"{found.distance[found.worst]:.2g} from −1."
    )
    return Picture(
        key="source-filter",
        title=_TITLE,
        message=message,
        alt=f"Two lines of impedance over frequency, a mark where they come nearest. {message}",
        svg=board.svg(_TITLE),
    )

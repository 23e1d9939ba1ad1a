"""Where the power goes during a charge: from the source, to the rails, lost in the product."""

import numpy as np

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Panel, axis_of, legend, title
from chargewright.report.figures._svg import Board
from chargewright.studies.charge import ChargePlan

_TITLE = "Power during the charge"
_HEIGHT = 262.0


def charge_power_picture(charge: ChargePlan) -> Picture:
    """Return the powers along one charge from flat."""
    long = charge.run.t_end >= 5400.0
    t = charge.t / (3600.0 if long else 60.0)
    board = Board(key="charge-power", width=WIDTH, height=_HEIGHT)
    title(board, _TITLE)
    names = ["from the source", "lost in the product", "delivered by the rails"]
    used = legend(board, 46.0, 38.0, WIDTH - 58.0, names)
    top = 46.0 + used
    loads = np.full(len(t), charge.p_load)
    panel = Panel(
        board=board,
        x=46.0,
        y=top,
        width=WIDTH - 58.0,
        height=_HEIGHT - top - 42.0,
        across=Axis(label=f"time in {'h' if long else 'min'}", low=0.0, high=max(float(t[-1]), 1e-3)),
        up=axis_of("power in W", charge.p_source, charge.p_loss, loads, zero=True),
    )
    panel.frame()
    for k, values in enumerate((charge.p_source, charge.p_loss, loads)):
        panel.series(t, values, k)
    message = (
        f"The source gives up to {show(float(np.max(charge.p_source)), 'W', 3)}, and up to "
        f"{show(float(np.max(charge.p_loss)), 'W', 3)} turn to heat in the product while {show(charge.p_load, 'W', 3)} "
        "go to the system."
    )
    return Picture(
        key="charge-power",
        title=_TITLE,
        message=message,
        alt=f"Lines of power over the time of the charge. {message}",
        svg=board.svg(_TITLE),
    )

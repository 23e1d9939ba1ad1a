"""The usage day: state of charge and powers."""

import numpy as np

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Panel, axis_of, legend, title
from chargewright.report.figures._svg import Board, shortened
from chargewright.report.palette import HAIR, INK, PACK, SOFT, SOURCE
from chargewright.studies.day import Day
from chargewright.studies.situation import Situation

_TITLE = "The usage day"
_HEIGHT = 362.0
_LEFT = 46.0


def day_picture(the_day: Day, case: Situation) -> Picture:
    """Return state of charge, source power and losses over the day, with its stretches."""
    hours = the_day.t / 3600.0
    board = Board(key="day", width=WIDTH, height=_HEIGHT)
    title(board, _TITLE)
    across = Axis(label="time in h", low=0.0, high=float(hours[-1]), step=4.0 if 12.0 < hours[-1] <= 48.0 else 0.0)
    wide = WIDTH - _LEFT - 12.0
    soc = Panel(
        board=board,
        x=_LEFT,
        y=84.0,
        width=wide,
        height=92.0,
        across=across,
        up=Axis(label="state of charge in %", low=0.0, high=100.0, step=25.0),
    )
    power = Panel(
        board=board,
        x=_LEFT,
        y=224.0,
        width=wide,
        height=94.0,
        across=across,
        up=axis_of("power in W", the_day.p_source, the_day.p_loss, zero=True),
    )
    _stretches(board, soc, case)
    soc.frame(below=False)
    power.frame()
    legend(board, _LEFT, 202.0, wide, ["from the source", "lost in the product"])
    soc.line(hours, 100.0 * the_day.soc, colour=PACK)
    steps = np.repeat(hours, 2)[1:-1]
    power.series(steps, np.repeat(the_day.p_source, 2), 0)
    power.series(steps, np.repeat(the_day.p_loss, 2), 1)
    message = day_message(the_day)
    return Picture(
        key="day",
        title=_TITLE,
        message=message,
        alt=f"State of charge over the day above, power from the source and losses below. {message}",
        svg=board.svg(_TITLE),
    )


def day_message(the_day: Day) -> str:
    """Return a day in one sentence."""
    words = (
        f"{show(the_day.e_wall, 'J', 3)} from the wall for {show(the_day.e_load, 'J', 3)} of load; the pack gives "
        f"{show(the_day.e_from_pack, 'J', 3)} and goes down to {show(the_day.soc_low, '1', 3)}"
    )
    if the_day.t_unserved > 0.0:
        words += f"; for {show(the_day.t_unserved, 's')} the load is not served"
    if not the_day.closes:
        words += "; the day does not close: the pack ends lower than it began"
    return words + "."


def _stretches(board: Board, panel: Panel, case: Situation) -> None:
    """Draw above the panel what the product does and what feeds it."""
    t = 0.0
    for stretch in case.usage:
        x1, x2 = panel.px(t / 3600.0), panel.px((t + stretch.duration) / 3600.0)
        fed = stretch.source != "none"
        board.box(x1, 30.0, x2 - x1, 5.0, fill=SOURCE if fed else HAIR)
        board.line(x2, 30.0, x2, panel.y + panel.height, colour=HAIR, width=0.8)
        room = x2 - x1 - 4.0
        if room > 18.0:
            board.text(x1 + 2.0, 46.0, shortened(stretch.mode, 9.5, room), size=9.5, colour=INK)
            words = stretch.source if fed else "on the pack"
            board.text(x1 + 2.0, 57.0, shortened(words, 9.0, room), size=9.0, colour=SOFT)
        t += stretch.duration

"""Where a day of use loses energy: the greatest losses, element by element, and the rest together."""

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Panel, title
from chargewright.report.figures._svg import Board, shortened
from chargewright.report.palette import LOSS, SOFT
from chargewright.studies.outlook import Outlook

_TITLE = "Lost on a day of use"
_SHOWN = 8
_ROW = 26.0
_NAMES = 216.0
_HOUR = 3600.0


def use_losses_picture(found: Outlook) -> Picture:
    """Return a bar for each of the greatest losses of a mean day, and one for all others."""
    days = found.run.length / 86400.0
    lost = sorted((x for x in found.run.lines if x.side == "loss" and x.energy > 0.0), key=lambda x: -x.energy)
    rows = [(f"{x.where}: {x.cause}", x.energy / days) for x in lost[:_SHOWN]]
    if len(lost) > _SHOWN:
        rows.append((f"{len(lost) - _SHOWN} others", sum(x.energy for x in lost[_SHOWN:]) / days))
    whole = sum(energy for _, energy in rows)
    board = Board(key="use-losses", width=WIDTH, height=34.0 + _ROW * len(rows) + 52.0)
    title(board, _TITLE)
    panel = Panel(
        board=board,
        x=_NAMES,
        y=32.0,
        width=WIDTH - _NAMES - 12.0,
        height=_ROW * len(rows) + 4.0,
        across=Axis(label="energy in Wh", low=0.0, high=1.4 * max(e for _, e in rows) / _HOUR),
        up=Axis(label="", low=0.0, high=1.0),
    )
    panel.frame(beside=False, ticks_across=3)
    for row, (name, energy) in enumerate(rows):
        y = panel.y + 5.0 + _ROW * row
        board.text(_NAMES - 7.0, y + 12.0, shortened(name, 10.0, _NAMES - 12.0), size=10.0, anchor="end")
        board.box(panel.x, y, panel.px(energy / _HOUR) - panel.x, 16.0, fill=LOSS)
        board.text(panel.px(energy / _HOUR) + 5.0, y + 12.0, show(energy, "J", 3), size=10.0, colour=SOFT)
    first, energy = rows[0]
    message = (
        f"Of {show(whole, 'J', 3)} lost in a day, {show(energy, 'J', 3)} ({energy / whole:.0%}) go to {first}."
        if whole > 0.0
        else "0 Wh are lost in a day."
    )
    return Picture(
        key="use-losses",
        title=_TITLE,
        message=message,
        alt=f"Bars of energy lost in a day, the greatest first. {message}",
        svg=board.svg(_TITLE),
    )

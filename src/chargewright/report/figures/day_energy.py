"""Where a day's energy from the wall goes, path by path."""

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Panel, title
from chargewright.report.figures._svg import Board
from chargewright.report.palette import LOAD, LOSS, SOFT, SOURCE
from chargewright.studies.study import Study

_TITLE = "Energy from the wall on one day"
_ROW = 30.0
_HOUR = 3600.0
_PARTS = (("load", LOAD), ("lost in the product", LOSS), ("lost in adapter and cable", SOURCE))


def day_energy_picture(study: Study) -> Picture:
    """Return for each feasible path what the day's energy from the wall is spent on."""
    days = [(p.path.key, p.day) for p in study.feasible_paths if p.day is not None]
    board = Board(key="day-energy", width=WIDTH, height=62.0 + _ROW * len(days) + 44.0)
    title(board, _TITLE)
    x = 12.0
    for words, colour in _PARTS:
        board.box(x, 30.0, 14.0, 9.0, fill=colour, radius=1.5)
        x += 19.0 + board.text(x + 19.0, 38.0, words, size=10.0) + 14.0
    most = max(max(d.e_wall, d.e_load + d.e_loss) for _, d in days) / _HOUR
    panel = Panel(
        board=board,
        x=124.0,
        y=50.0,
        width=WIDTH - 136.0,
        height=_ROW * len(days) + 6.0,
        across=Axis(label="energy in Wh", low=0.0, high=1.16 * most),
        up=Axis(label="", low=0.0, high=1.0),
    )
    panel.frame(beside=False)
    for row, (key, d) in enumerate(days):
        y = panel.y + 6.0 + _ROW * row
        board.text(116.0, y + 13.0, key, size=10.5, anchor="end", bold=row == 0)
        at = 0.0
        for energy, (_, colour) in zip((d.e_load, d.e_loss, d.e_wall - d.e_load - d.e_loss), _PARTS, strict=True):
            if energy <= 0.0:
                continue
            x1, x2 = panel.px(at / _HOUR), panel.px((at + energy) / _HOUR)
            board.box(x1, y, x2 - x1, 18.0, fill=colour)
            at += energy
        board.text(panel.px(at / _HOUR) + 5.0, y + 13.0, show(d.e_wall, "J", 3), size=10.0, colour=SOFT)
    key, best = min(days, key=lambda one: one[1].e_wall)
    worst_key, worst = max(days, key=lambda one: one[1].e_wall)
    message = (
        f"{key} takes least: {show(best.e_wall, 'J', 3)}, of which {show(best.e_loss, 'J', 3)} are lost in the product"
    )
    if worst_key != key:
        message += f"; {worst_key} takes {show(worst.e_wall, 'J', 3)}"
    return Picture(
        key="day-energy",
        title=_TITLE,
        message=f"{message}.",
        alt=f"A bar for each path, split into load, losses in the product and losses before it. {message}.",
        svg=board.svg(_TITLE),
    )

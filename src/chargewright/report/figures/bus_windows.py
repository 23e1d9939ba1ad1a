"""Where the bus of each path stands, with a source and on the pack alone, against what the rails allow."""

import numpy as np

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Panel, title
from chargewright.report.figures._svg import Board, text_width
from chargewright.report.palette import BAD, INK, PACK, PAPER, SOFT, SOURCE, WASH
from chargewright.studies.study import Study

_TITLE = "Bus window of each path"
_ROW = 34.0


def bus_windows_picture(study: Study) -> Picture:
    """Return the bus windows of all paths that could be sized."""
    found = [(p.path.key, p.window, p.feasible) for p in study.paths if p.window is not None]
    numbers = np.array([[w.source_min, w.source_max, w.pack_min, w.pack_max] for _, w, _ in found])
    floor, ceiling = study.case.bus_min, study.case.bus_max
    limits = [v for v in (floor, ceiling) if np.isfinite(v)]
    top = 1.06 * float(np.nanmax([np.nanmax(numbers), *limits]))
    board = Board(key="bus-windows", width=WIDTH, height=72.0 + _ROW * len(found) + 40.0)
    title(board, _TITLE)
    _key(board)
    panel = Panel(
        board=board,
        x=124.0,
        y=56.0,
        width=WIDTH - 136.0,
        height=_ROW * len(found) + 8.0,
        across=Axis(label="bus voltage in V", low=0.0, high=top),
        up=Axis(label="", low=0.0, high=1.0),
    )
    panel.strip(0.0, floor, colour=WASH)
    if np.isfinite(ceiling):
        panel.strip(ceiling, top, colour=WASH)
    panel.frame(beside=False)
    for v in limits:
        x = panel.px(v)
        board.line(x, panel.y, x, panel.y + panel.height, colour=BAD, width=1.4, dash="5 3")
    for row, (key, w, feasible) in enumerate(found):
        y = panel.y + 6.0 + _ROW * row
        board.text(116.0, y + 15.0, key, size=10.5, anchor="end", colour=INK if feasible else SOFT)
        if not feasible:
            board.text(116.0, y + 26.0, "not feasible", size=9.0, anchor="end", colour=SOFT)
        _bar(panel, y + 2.0, w.source_min, w.source_max, SOURCE)
        _bar(panel, y + 15.0, w.pack_min, w.pack_max, PACK)
    widest = max(found, key=lambda f: f[1].width)
    least = min(found, key=lambda f: f[1].width)
    allowed = f"The rails allow {show(floor, 'V', 3)} to {show(ceiling, 'V', 3)}."
    message = (
        f"{allowed} Highest over lowest bus is {widest[1].width:.2f} with {widest[0]} and {least[1].width:.2f} with "
        f"{least[0]}."
    )
    return Picture(
        key="bus-windows",
        title=_TITLE,
        message=message,
        alt=f"Ranges of bus voltage for each path, one with a source and one on the pack alone. {message}",
        svg=board.svg(_TITLE),
    )


def _bar(panel: Panel, y: float, low: float, high: float, colour: str) -> None:
    if not (np.isfinite(low) and np.isfinite(high)):
        return
    x1, x2 = panel.px(low), panel.px(high)
    panel.board.box(x1, y, max(x2 - x1, 2.0), 9.0, fill=colour, radius=1.5)
    text = f"{low:.3g}" if abs(high - low) < 0.005 * high else f"{low:.3g} … {high:.3g}"
    inside = x2 + 64.0 > panel.x + panel.width
    wide = text_width(text, 9.0)
    at = x1 - 5.0 - wide if inside else x2 + 5.0
    panel.board.box(at - 2.0, y - 0.5, wide + 4.0, 10.0, fill=PAPER, opacity=0.9)
    panel.board.text(at, y + 8.0, text, size=9.0)


def _key(board: Board) -> None:
    board.box(124.0, 30.0, 18.0, 8.0, fill=SOURCE, radius=1.5)
    board.text(147.0, 38.0, "with a source", size=10.0)
    board.box(232.0, 30.0, 18.0, 8.0, fill=PACK, radius=1.5)
    board.text(255.0, 38.0, "on the pack", size=10.0)
    board.line(330.0, 34.0, 348.0, 34.0, colour=BAD, width=1.4, dash="5 3")
    board.text(353.0, 38.0, "allowed", size=10.0)

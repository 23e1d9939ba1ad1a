"""A protection ladder: each rung with its band on one axis, in the order in which they have to come."""

from itertools import pairwise
from math import isfinite

import numpy as np

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Panel, title
from chargewright.report.figures._svg import Board, shortened, text_width
from chargewright.report.palette import BAD, HAIR, INK, LOSS, PACK, SOFT, SOURCE
from chargewright.studies.ladder import Ladder, Rung

_ROW = 36.0
_COLOURS = {"normal": SOURCE, "set-point": SOURCE, "threshold": PACK, "overshoot": LOSS, "rating": INK}


def ladder_picture(ladder: Ladder) -> Picture:
    """Return the picture of one ladder; overlaps are shaded and named."""
    rungs = ladder.rungs
    board = Board(key=f"ladder-{ladder.key}", width=WIDTH, height=40.0 + _ROW * len(rungs) + 44.0)
    words = ladder.title[0].upper() + ladder.title[1:]
    title(board, words)
    ends = np.array([[r.low, r.high] for r in rungs if isfinite(r.low) and isfinite(r.high)])
    low, high = float(ends.min()), float(ends.max())
    span = max(high - low, 0.02 * abs(high), 1e-9)
    panel = Panel(
        board=board,
        x=12.0,
        y=32.0,
        width=WIDTH - 24.0,
        height=_ROW * len(rungs) + 4.0,
        across=Axis(label=f"{ladder.title} in {ladder.unit}", low=low - 0.06 * span, high=high + 0.06 * span),
        up=Axis(label="", low=0.0, high=1.0),
    )
    panel.frame(beside=False, ticks_across=7)
    _overlaps(panel, ladder)
    for row, rung in enumerate(rungs):
        _rung(panel, rung, ladder.unit, panel.y + 2.0 + _ROW * row)
    message = _message(ladder)
    return Picture(
        key=f"ladder-{ladder.key}",
        title=words,
        message=message,
        alt=f"Bands on one axis, from what is normal to what breaks. {message}",
        svg=board.svg(words),
    )


def overlaps(ladder: Ladder) -> list[tuple[Rung, Rung]]:
    """Return each pair of neighbouring rungs of which the first reaches past the start of the second."""
    sign = 1.0 if ladder.climbs else -1.0
    found = []
    for first, then in pairwise(ladder.rungs):
        ends, begins = (first.high, then.low) if ladder.climbs else (first.low, then.high)
        if sign * (begins - ends) < -1e-9 * abs(ends):
            found.append((first, then))
    return found


def _rung(panel: Panel, rung: Rung, unit: str, y: float) -> None:
    board = panel.board
    right = panel.x + panel.width
    board.line(panel.x, y, right, y, colour=HAIR, width=0.6)
    band = _band(rung, unit)
    wide = board.text(right, y + 13.0, band, size=10.0, anchor="end", bold=True)
    what = rung.kind if not isfinite(rung.delay) else f"{rung.kind}, acts in {show(rung.delay, 's', 2)}"
    room = panel.width - wide - text_width(what, 9.0) - 16.0
    used = board.text(panel.x, y + 13.0, shortened(rung.name, 10.0, room), size=10.0)
    board.text(panel.x + used + 6.0, y + 13.0, what, size=9.0, colour=SOFT)
    colour = _COLOURS[rung.kind]
    x1, x2 = panel.px(rung.low), panel.px(rung.high)
    if rung.kind == "rating":
        board.line(x1, y + 16.0, x1, y + _ROW - 3.0, colour=colour, width=3.0)
        board.line(x1, y + 24.0, right, y + 24.0, colour=colour, width=0.8, dash="1 3")
        return
    board.box(x1, y + 19.0, max(x2 - x1, 2.5), 9.0, fill=colour, radius=1.5)
    if x2 - x1 > 8.0:
        typ = panel.px(rung.typ)
        board.line(typ, y + 16.5, typ, y + 30.5, colour=INK, width=1.4)


def _band(rung: Rung, unit: str) -> str:
    low, high = show(rung.low, unit), show(rung.high, unit)
    return low if low == high else f"{low} … {high}"


def _overlaps(panel: Panel, ladder: Ladder) -> None:
    for first, then in overlaps(ladder):
        ends, begins = (first.high, then.low) if ladder.climbs else (first.low, then.high)
        a, b = sorted((panel.px(begins), panel.px(ends)))
        row = ladder.rungs.index(then)
        y = panel.y + 2.0 + _ROW * (row - 1)
        panel.board.box(a, y, max(b - a, 3.0), 2.0 * _ROW, fill=BAD, opacity=0.16)
        panel.board.box(a, y, max(b - a, 3.0), 2.0 * _ROW, stroke=BAD, line=1.0, dash="3 2")


def _message(ladder: Ladder) -> str:
    bad = overlaps(ladder)
    if bad:
        pairs = [f"'{a.name}' ({_band(a, ladder.unit)}) overlaps '{b.name}' ({_band(b, ladder.unit)})" for a, b in bad]
        return "; ".join(pairs) + "."
    sign = " < " if ladder.climbs else " > "
    chain = sign.join(f"{r.name} ({_band(r, ladder.unit)})" for r in ladder.rungs)
    return f"Every rung ends before the next begins: {chain}."

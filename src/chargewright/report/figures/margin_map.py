"""Margins of one loop as a map: what feeds across, pack or bus down, the least margins of each cell in words."""

import numpy as np

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, title
from chargewright.report.figures._svg import Board, shortened
from chargewright.report.palette import BAD, GOOD, INK, SOFT, THIN
from chargewright.studies.loop_words import decibels
from chargewright.studies.stability import GAIN_MARGIN, PHASE_MARGIN, LoopReport

_LEFT, _ROW, _TOP = 64.0, 40.0, 56.0


def margin_map_picture(report: LoopReport) -> Picture:
    """Return the map: phase margin above gain margin in each cell, each the least over what else varies."""
    words = f"Loop of the {report.title}: least margins"
    where, m = report.where, report.margins
    n = len(where.feed) - 1 or 1  # the usual point is none of the corners
    columns, rows = list(dict.fromkeys(where.feed[:n])), list(dict.fromkeys(where.level[:n]))[::-1]
    wide = (WIDTH - _LEFT - 12.0) / len(columns)
    board = Board(key=f"margins-{report.key}", width=WIDTH, height=_TOP + _ROW * len(rows) + 26.0)
    title(board, words)
    for c, name in enumerate(columns):
        *who, edge = name.split(", ") if ", " in name else (name,)
        for k, text in enumerate(reversed((", ".join(who) or edge, f"{edge} edge" if who else ""))):
            short = shortened(text, 10.0, wide - 4.0)
            board.text(_LEFT + (c + 0.5) * wide, _TOP - 6.0 - 12.0 * k, short, size=10.0, colour=SOFT, anchor="middle")
    bad = reached = 0
    for r, level in enumerate(rows):
        y = _TOP + r * _ROW
        board.text(_LEFT - 6.0, y + 0.5 * _ROW + 3.5, level, size=10.0, colour=SOFT, anchor="end")
        for c, feed in enumerate(columns):
            own = np.array([a == feed and b == level for a, b in zip(where.feed[:n], where.level[:n], strict=True)])
            if not np.any(own):
                _cell(board, _LEFT + c * wide, y, wide, ("not reached",), SOFT)
                continue
            reached += 1
            stable = bool(np.all(m.stable[:n][own]))
            phase, gain = float(np.min(m.phase[:n][own])), float(np.min(m.gain[:n][own]))
            kept = phase >= PHASE_MARGIN and gain >= GAIN_MARGIN
            bad += not (stable and kept)
            shown = (show(phase, "rad") if np.isfinite(phase) else "no crossing", decibels(gain))
            _cell(board, _LEFT + c * wide, y, wide, shown if stable else ("not stable",),
                  (GOOD if kept else THIN) if stable else BAD)  # fmt: skip
    note = "phase margin above gain margin, each the least over load, heat and tolerances"
    board.text(8.0, board.height - 9.0, note, size=10.0, colour=SOFT)
    message = f"{reached - bad} of {reached} cells keep the rule at all their corners."
    return Picture(
        key=f"margins-{report.key}",
        title=words,
        message=message,
        alt=f"A table of margins: what feeds across, pack or bus down. {message}",
        svg=board.svg(words),
    )


def _cell(board: Board, x: float, y: float, wide: float, lines: tuple[str, ...], colour: str) -> None:
    board.box(x + 1.0, y + 1.0, wide - 2.0, _ROW - 2.0, fill=colour, opacity=0.16, radius=2.0)
    board.box(x + 1.0, y + 1.0, 3.0, _ROW - 2.0, fill=colour)
    first = y + 0.5 * _ROW + (3.5 if len(lines) == 1 else -3.0)
    for k, text in enumerate(lines):
        short = shortened(text, 11.0, wide - 8.0)
        board.text(x + 0.5 * wide + 1.0, first + 14.0 * k, short, size=11.0, colour=INK, anchor="middle")

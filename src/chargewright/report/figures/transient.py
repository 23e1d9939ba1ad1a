"""One transient as small charts above each other: mean of each period, the span of its ripple, limits, events."""

import numpy as np

from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Floats, Panel, axis_of, title
from chargewright.report.figures._svg import Board, shortened, text_width
from chargewright.report.palette import BAD, SERIES, SOFT
from chargewright.studies.transients.record import QUANTITIES, Limit, TransientReport, Waves

_TALL = 104.0
_GAP = 34.0
_LEFT = 46.0
_TOP = 50.0
_SMALL, _LINE = 9.5, 12.0
_NEAR = 1.0
"""A limit is drawn where it lies no further from the curve than this many times the curve's own span [1]."""
_CLOSE = 0.1
"""A limit is near where it lies within this share of a quantity's size [1]."""
_MOVES = 5e-3
"""Span over the size from which a quantity moves [1]."""
_NOTHING = 5e-3
"""A span below this is not drawn [V, A]."""
_LEAST_SPAN = 0.02
"""Least span of an axis over its greatest value [1]: a quantity that hardly moves is not blown up."""


def transient_picture(report: TransientReport) -> Picture:
    """Return the charts of one transient."""
    drawn = _telling(report)
    numbered = [f"{n} {words}" for n, (_, words) in enumerate(report.events, start=1)]
    lines = _lines(numbered)
    top = _TOP + _LINE * (len(lines) - 1)
    height = top + len(drawn) * (_TALL + _GAP) + 16.0
    board = Board(key=f"transient-{report.key}", width=WIDTH, height=height)
    title(board, shortened(report.title, 12.0, WIDTH - 16.0))
    w = report.waves
    scale, unit = (1e3, "ms") if w.t[-1] > 1.5e-3 else (1e6, "µs")
    across = Axis(label=f"time after the event in {unit}", low=float(w.t[0]) * scale, high=float(w.t[-1]) * scale)
    for k, name in enumerate(drawn):
        limits = [limit for limit in report.limits if limit.of == name]
        panel = Panel(
            board=board, x=_LEFT, y=top + k * (_TALL + _GAP), width=WIDTH - _LEFT - 12.0, height=_TALL,
            across=across, up=_up(w, name, limits),
        )  # fmt: skip
        panel.frame(below=k == len(drawn) - 1, ticks_up=4)
        _curve(panel, w, name, scale, k)
        for limit in limits:
            if panel.up.low <= limit.value <= panel.up.high:
                panel.line([across.low, across.high], [limit.value] * 2, colour=BAD, width=1.2, dash="5 3")
                above = limit.side == "below"
                board.text(_LEFT + panel.width - 3.0, panel.py(limit.value) + (-3.0 if above else 11.0), limit.words,
                           size=9.0, colour=BAD, anchor="end")  # fmt: skip
        for n, (t, _) in enumerate(report.events, start=1):
            x = panel.px(t * scale)
            board.line(x, panel.y, x, panel.y + panel.height, colour=SOFT, width=0.8, dash="2 2")
            if k == 0:
                board.text(x + 2.5, panel.y + 9.0, str(n), size=9.0, colour=SOFT, bold=True)
    for n, line in enumerate(lines):
        board.text(8.0, 31.0 + _LINE * n, shortened(line, _SMALL, WIDTH - 16.0), size=_SMALL, colour=SOFT)
    message = _message(report)
    return Picture(
        key=f"transient-{report.key}",
        title=report.title,
        message=message,
        alt=f"{', '.join(QUANTITIES[q][0] for q in drawn)} over time; events: {'; '.join(numbered)}. {message}",
        svg=board.svg(report.title),
    )


def _lines(numbered: list[str]) -> list[str]:
    """Return the events in lines as wide as the figure."""
    found: list[str] = []
    for words in numbered:
        longer = f"{found[-1]}; {words}" if found else words
        if found and text_width(longer, _SMALL) <= WIDTH - 16.0:
            found[-1] = longer
        else:
            found.append(words)
    return found or [""]


def _telling(report: TransientReport) -> list[str]:
    """Return which quantities are drawn: those that move, or that have a limit near; the first in any case."""

    def tells(name: str) -> bool:
        low, high = float(np.min(report.waves.low[name])), float(np.max(report.waves.high[name]))
        size = max(abs(low), abs(high))
        # A leak of microamperes is as good as nothing.
        moves = high - low > max(_MOVES * size, _NOTHING)
        near = [abs(x.value - v) < _CLOSE * size for x in report.limits if x.of == name for v in (low, high)]
        return moves or any(near)

    found = [name for name in report.drawn if tells(name)]
    return found or [report.drawn[0]]


def _up(w: Waves, name: str, limits: list[Limit]) -> Axis:
    label = f"{QUANTITIES[name][0]} in {QUANTITIES[name][1]}"
    low, high = float(np.min(w.low[name])), float(np.max(w.high[name]))
    span = max(high - low, _LEAST_SPAN * max(abs(high), abs(low)), 1e-3)
    near = [limit.value for limit in limits if low - _NEAR * span <= limit.value <= high + _NEAR * span]
    middle = 0.5 * (high + low)
    return axis_of(label, [low, high, middle - 0.5 * span, middle + 0.5 * span, *near], room=0.08)


def _curve(panel: Panel, w: Waves, name: str, scale: float, k: int) -> None:
    """Draw the mean, and behind it the span between the least and the greatest value of each period."""
    colour = SERIES[k % len(SERIES)]
    t, low, high = _few(w.t, w.low[name], w.high[name])
    edge = [f"{panel.px(x * scale):.1f} {panel.py(y):.1f}" for x, y in zip(t, high, strict=True)]
    edge += [f"{panel.px(x * scale):.1f} {panel.py(y):.1f}" for x, y in zip(t[::-1], low[::-1], strict=True)]
    panel.board.path("M" + "L".join(edge) + "Z", fill=colour, opacity=0.22)
    panel.line(w.t * scale, w.mean[name], colour=colour, width=1.6)


def _few(t: Floats, low: Floats, high: Floats, pieces: int = 300) -> tuple[Floats, Floats, Floats]:
    """Return envelopes with fewer points; no peak is lost."""
    if len(t) <= pieces:
        return t, low, high
    edges = np.unique(np.linspace(0, len(t), pieces + 1).astype(int))[:-1]
    return t[edges], np.minimum.reduceat(low, edges), np.maximum.reduceat(high, edges)


def _message(report: TransientReport) -> str:
    return f"{report.setting}. {report.verdict}"

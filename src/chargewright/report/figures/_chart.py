"""Charts: axes with round ticks, lines, bars and bands on a drawing board, in one plain style.

Drawn here and not by a plotting library because the study has seconds, not minutes: importing one and drawing ten
figures took 1.3 s, this takes a tenth of that, and the figures then share type, colours and dark mode with the others.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor, isfinite, log10
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.report.figures._svg import Anchor, Board, text_width
from chargewright.report.palette import DASHES, HAIR, INK, SERIES, SOFT

Floats = npt.NDArray[np.float64]
WIDTH = 420.0
"""Width of a figure that stands in a column, in px of the page."""
_LOG_ROOM = 1.12
_POINTS = 400
"""More points than this in one line are thinned out: the figure is not that many px wide."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One axis; values are as shown, so in the unit that the label names."""

    label: str
    low: float
    high: float
    log: bool = False
    step: float = 0.0
    """Distance of the ticks; 0 takes a round one."""

    def share(self, value: float) -> float:
        """Return where a value lies: 0 at the low end, 1 at the high end."""
        if self.log:
            return (log10(max(value, 1e-30)) - log10(self.low)) / (log10(self.high) - log10(self.low))
        return (value - self.low) / (self.high - self.low)

    def ticks(self, at_most: int) -> list[float]:
        """Return round values inside the axis."""
        if self.log:
            return _log_ticks(self.low, self.high)
        step = self.step or round_step(self.high - self.low, at_most)
        first = ceil(self.low / step - 1e-9)
        return [k * step for k in range(first, floor(self.high / step + 1e-9) + 1)]


def axis_of(label: str, *values: Any, zero: bool = False, log: bool = False, room: float = 0.04) -> Axis:
    """Return an axis that holds all finite values with a little room; `zero` makes it start at zero."""
    flat = np.concatenate([np.ravel(np.asarray(v, dtype=float)) for v in values])
    flat = flat[np.isfinite(flat)]
    low, high = (float(flat.min()), float(flat.max())) if len(flat) else (0.0, 1.0)
    if log:
        return Axis(label=label, low=low / _LOG_ROOM, high=high * _LOG_ROOM, log=True)
    if zero:
        low, high = min(low, 0.0), max(high, 0.0)
        high = high if high > low else 1.0  # nothing but zeros: an axis has to have some height
    span = high - low if high > low else max(abs(high), 1.0) * 0.1
    return Axis(
        label=label,
        low=low - (0.0 if zero and low == 0.0 else room * span),
        high=high + (0.0 if zero and high == 0.0 else room * span),
    )


def round_step(span: float, at_most: int) -> float:
    """Return the smallest of 1, 2, 5 times a power of ten that makes at most so many steps of a span."""
    raw = span / max(at_most, 1)
    power = 10.0 ** floor(log10(raw)) if raw > 0.0 else 1.0
    return next((m * power for m in (1.0, 2.0, 5.0) if m * power >= raw * (1.0 - 1e-9)), 10.0 * power)


def _log_ticks(low: float, high: float) -> list[float]:
    found = [m * 10.0**k for k in range(floor(log10(low)), ceil(log10(high)) + 1) for m in (1.0, 2.0, 5.0)]
    return [v for v in found if low * (1.0 - 1e-9) <= v <= high * (1.0 + 1e-9)]


def tick_text(value: float, step: float) -> str:
    """Return a tick's number with the digits that its step needs."""
    if value == 0.0:
        return "0"
    decimals = max(0, -floor(log10(step) + 1e-9)) if step > 0.0 else 0
    text = f"{value:.{min(decimals, 6)}f}"
    return text.replace("-", "−")


@dataclass(slots=True)
class Panel:
    """One pair of axes on a board; `x`, `y` is its upper left corner."""

    board: Board
    x: float
    y: float
    width: float
    height: float
    across: Axis
    up: Axis

    def px(self, value: float) -> float:
        """Return where a value lies across [px]."""
        return self.x + self.width * self.across.share(value)

    def py(self, value: float) -> float:
        """Return where a value lies downwards [px]."""
        return self.y + self.height * (1.0 - self.up.share(value))

    def frame(self, *, below: bool = True, beside: bool = True, ticks_across: int = 6, ticks_up: int = 5) -> None:
        """Draw grid, ticks and labels of the axis below and of the one beside."""
        if beside:
            self._frame_up(ticks_up)
        if below:
            self._frame_across(ticks_across)

    def _frame_up(self, at_most: int) -> None:
        ups = self.up.ticks(at_most)
        step = ups[1] - ups[0] if len(ups) > 1 else 1.0
        for value in ups:
            y = self.py(value)
            self.board.line(self.x, y, self.x + self.width, y, colour=HAIR, width=0.7)
            self.board.text(self.x - 6.0, y + 3.5, tick_text(value, step), size=10.0, colour=SOFT, anchor="end")
        self.board.text(self.x, self.y - 7.0, self.up.label, size=10.0, colour=SOFT)

    def _frame_across(self, at_most: int) -> None:
        bottom = self.y + self.height
        acrosses = self.across.ticks(at_most)
        step = acrosses[1] - acrosses[0] if len(acrosses) > 1 else 1.0
        for value in acrosses:
            x = self.px(value)
            self.board.line(x, bottom, x, bottom + 4.0, colour=SOFT, width=0.8)
            text = f"{value:g}" if self.across.log else tick_text(value, step)
            self.board.text(x, bottom + 15.0, text, size=10.0, colour=SOFT, anchor="middle")
        self.board.line(self.x, bottom, self.x + self.width, bottom, colour=SOFT, width=0.8)
        self.board.text(self.x + self.width, bottom + 29.0, self.across.label, size=10.0, colour=SOFT, anchor="end")

    def line(self, xs: Any, ys: Any, *, colour: str = INK, width: float = 1.8, dash: str = "") -> None:
        """Draw a line through points; a gap where a value is missing."""
        x, y = _thinned(np.asarray(xs, dtype=float), np.asarray(ys, dtype=float))
        d, pen = [], False
        for a, b in zip(x, y, strict=True):
            if not (isfinite(a) and isfinite(b)):
                pen = False
                continue
            d.append(f"{'L' if pen else 'M'}{self.px(a):.1f} {self.py(b):.1f}")
            pen = True
        self.board.path("".join(d), stroke=colour, width=width, dash=dash)

    def series(self, xs: Any, ys: Any, k: int) -> None:
        """Draw the k-th line of a set, in its own colour and style."""
        self.line(xs, ys, colour=SERIES[k % len(SERIES)], dash=DASHES[k % len(DASHES)])

    def strip(self, x1: float, x2: float, *, colour: str, opacity: float = 1.0) -> None:
        """Fill the whole height between two values."""
        a, b = self.px(x1), self.px(x2)
        self.board.box(a, self.y, b - a, self.height, fill=colour, opacity=opacity)

    def note(
        self, x: float, y: float, words: str, *, anchor: Anchor = "start", colour: str = INK, bold: bool = False
    ) -> None:
        """Write words at a value, kept inside the panel."""
        wide = text_width(words, 10.0, bold=bold)
        left = {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor]
        at = min(max(self.px(x) - left * wide, self.x + 1.0), self.x + self.width - wide - 1.0)
        self.board.text(at, self.py(y), words, size=10.0, colour=colour, bold=bold)


def _thinned(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    if len(x) <= _POINTS:
        return x, y
    # The lowest and the highest of every piece stay, or a short dip would lose its depth.
    bounds = np.linspace(0, len(x), _POINTS // 2).round().astype(int)
    pieces = [(a, a + int(np.argmin(y[a:b])), a + int(np.argmax(y[a:b]))) for a, b in pairwise(bounds.tolist())]
    keep = np.unique([*(k for piece in pieces for k in piece), len(x) - 1])
    return x[keep], y[keep]


def legend(board: Board, x: float, y: float, width: float, names: Sequence[str], first: int = 0) -> float:
    """Write samples and names of a set of lines, wrapped to a width; return the height [px] that it took."""
    at, row = x, 0
    for k, name in enumerate(names, start=first):
        wide = 26.0 + text_width(name, 10.0) + 14.0
        if at > x and at + wide - 14.0 > x + width:
            at, row = x, row + 1
        base = y + 15.0 * row
        board.path(
            f"M{at:.1f} {base - 3.5:.1f}h20",
            stroke=SERIES[k % len(SERIES)],
            width=2.0,
            dash=DASHES[k % len(DASHES)],
        )
        board.text(at + 25.0, base, name, size=10.0)
        at += wide
    return 15.0 * (row + 1)


def title(board: Board, words: str) -> None:
    """Write the title of a chart."""
    board.text(8.0, 17.0, words, size=12.0, bold=True)

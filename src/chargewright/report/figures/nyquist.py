"""The loop gain in the complex plane: how near it comes to −1, at the usual point and at the worst corner."""

from math import asin, inf

import numpy as np

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Panel, legend, title
from chargewright.report.figures._svg import Board
from chargewright.report.palette import BAD, INK, SERIES, SOFT
from chargewright.studies.loop_words import decibels
from chargewright.studies.stability import Bode, LoopReport

_LEFT, _RIGHT, _UP = -2.4, 1.4, 1.7
_POINTS = 380
_ROUND = np.linspace(0.0, 2.0 * np.pi, 181)


def nyquist_picture(report: LoopReport) -> Picture:
    """Return the plane around −1 with unit circle, both curves, and the circle around −1 that the worst one touches."""
    words = f"Loop of the {report.title}: distance from −1"
    across = Axis(label="real part of the loop gain", low=_LEFT, high=_RIGHT, step=1.0)
    wide = WIDTH - 58.0
    tall = wide * 2.0 * _UP / (_RIGHT - _LEFT)
    board = Board(key=f"nyquist-{report.key}", width=WIDTH, height=64.0 + tall + 42.0)
    title(board, words)
    legend(board, 46.0, 38.0, wide, ["usual point", "worst corner"])
    up = Axis(label="imaginary part", low=-_UP, high=_UP, step=1.0)
    panel = Panel(board=board, x=46.0, y=64.0, width=wide, height=tall, across=across, up=up)
    panel.frame()
    panel.line([0.0, 0.0], [-_UP, _UP], colour=SOFT, width=0.8)
    panel.line([_LEFT, _RIGHT], [0.0, 0.0], colour=SOFT, width=0.8)
    panel.line(np.cos(_ROUND), np.sin(_ROUND), colour=SOFT, width=1.2, dash="4 3")
    panel.note(0.72, 0.78, "gain 1", colour=SOFT)
    for k, bode in enumerate((report.nominal, report.at_worst)):
        _draw(panel, bode, k)
    least = float(report.margins.modulus[report.worst])
    radius = least * panel.width / (_RIGHT - _LEFT)
    x, y = panel.px(-1.0), panel.py(0.0)
    if radius > 5.0:
        board.ring(x, y, radius, colour=SERIES[1], width=1.0)
    for a, b in ((4.0, 4.0), (4.0, -4.0)):
        board.line(x - a, y - b, x + a, y + b, colour=BAD, width=2.0)
    panel.note(-1.05, 0.1, "−1", anchor="end", bold=True, colour=INK)
    message = _message(report, least)
    return Picture(
        key=f"nyquist-{report.key}",
        title=words,
        message=message,
        alt=f"Loop gain in the complex plane for rising frequency, with the unit circle, a cross at −1 and the circle "
        f"around it that the worst corner touches. {message}",
        svg=board.svg(words),
    )


def _draw(panel: Panel, bode: Bode, k: int) -> None:
    """Draw one curve where it lies inside the panel, with a dot where it leaves the unit circle."""
    f = np.geomspace(bode.f[0], bode.f[-1], 12 * len(bode.f))
    size = np.exp(_smooth(f, bode.f, np.log(bode.size)))
    phase = _smooth(f, bode.f, bode.phase)
    x, y = size * np.cos(phase), size * np.sin(phase)
    inside = (x > _LEFT) & (x < _RIGHT) & (np.abs(y) < _UP)
    if not np.any(inside):
        return
    first, last = int(np.flatnonzero(inside)[0]), int(np.flatnonzero(inside)[-1])
    part = slice(max(first - 1, 0), last + 2)
    # Points evenly along the curve as drawn, not along frequency: a resonance is most of the way.
    way = np.concatenate([[0.0], np.cumsum(np.minimum(np.hypot(np.diff(x[part]), np.diff(y[part])), 0.05))])
    even = np.linspace(0.0, way[-1], _POINTS)
    a, b = np.interp(even, way, x[part]), np.interp(even, way, y[part])
    here = (a > _LEFT) & (a < _RIGHT) & (np.abs(b) < _UP)
    panel.series(np.where(here, a, np.nan), np.where(here, b, np.nan), k)
    for at in np.flatnonzero((size[1:] > 1.0) != (size[:-1] > 1.0)):
        if inside[at]:
            panel.board.circle(panel.px(float(x[at])), panel.py(float(y[at])), 3.5, fill=SERIES[k])


def _smooth(at: np.ndarray, f: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return y over the logarithm of frequency by cubic arcs, so that a resonance is a round loop and not a polygon."""
    x = np.log(f)
    k = np.clip(np.searchsorted(x, np.log(at), side="right") - 1, 0, len(x) - 2)
    step = x[k + 1] - x[k]
    u = (np.log(at) - x[k]) / step
    slope = np.gradient(y, x)
    return np.asarray(
        y[k] * (1.0 + 2.0 * u) * (1.0 - u) ** 2
        + slope[k] * step * u * (1.0 - u) ** 2
        + y[k + 1] * u**2 * (3.0 - 2.0 * u)
        + slope[k + 1] * step * u**2 * (u - 1.0)
    )


def _message(report: LoopReport, least: float) -> str:
    m, k = report.margins, report.worst
    if not m.stable[k]:
        return f"Worst corner: not stable; the curve comes within {least:.2g} of −1."
    # Geometry of the circle: no gain margin below 1/(1 − d), no phase margin below 2·arcsin(d/2).
    gain = 1.0 / (1.0 - least) if least < 1.0 else inf
    phase = 2.0 * asin(min(0.5 * least, 1.0))
    return (
        f"Worst corner: the loop gain keeps {least:.2g} from −1, which alone assures {decibels(gain)} and "
        f"{show(phase, 'rad')}; the usual point keeps {float(m.modulus[-1]):.2g}."
    )

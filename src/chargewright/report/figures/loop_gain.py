"""The gain of a regulation loop over frequency, size above phase: at the usual point and at the worst corner."""

from math import ceil, floor
from typing import NamedTuple

import numpy as np

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.data.loops import settled_phase
from chargewright.report.figures._chart import WIDTH, Axis, Panel, legend, title
from chargewright.report.figures._svg import Board
from chargewright.report.palette import HAIR, INK, SERIES
from chargewright.studies.loop_words import decibels
from chargewright.studies.stability import Bode, LoopReport

_HEIGHT = 400.0
_F_LOW = 100.0
_LEAST_DB = -60.0
_BAND = 0.55
"""How opaque the band of all corners is."""


def loop_gain_picture(report: LoopReport) -> Picture:
    """Return the chart of one loop; a dot marks each crossover, a line the gain of one and the phase of half a turn."""
    words = f"Loop of the {report.title}"
    board = Board(key=f"loop-{report.key}", width=WIDTH, height=_HEIGHT)
    title(board, words)
    used = legend(board, 46.0, 38.0, WIDTH - 58.0, ["usual point", "worst corner"])
    board.box(266.0, 29.0, 20.0, 11.0, fill=HAIR, opacity=_BAND)
    board.text(291.0, 38.0, "between all corners", size=10.0)
    curves = [_curve(b) for b in (report.nominal, report.at_worst)]
    f = curves[0][0]
    band = _band(report)
    across = Axis(label="frequency in kHz", low=f[0] / 1e3, high=f[-1] / 1e3, log=True)
    top = 46.0 + used
    tall = 0.5 * (_HEIGHT - top - 42.0 - 26.0)
    size = Panel(
        board=board, x=46.0, y=top, width=WIDTH - 58.0, height=tall, across=across,
        up=_steps("gain in dB", 20.0, [*band.db, *(c[1] for c in curves)], _LEAST_DB),
    )  # fmt: skip
    turn = Panel(
        board=board, x=46.0, y=top + tall + 26.0, width=WIDTH - 58.0, height=tall, across=across,
        up=_steps("phase in degrees", 90.0, [*band.degrees, *(c[2] for c in curves)], -360.0),
    )  # fmt: skip
    size.frame(below=False)
    turn.frame()
    _filled(size, band.f / 1e3, band.db)
    _filled(turn, band.f / 1e3, band.degrees)
    size.line([f[0] / 1e3, f[-1] / 1e3], [0.0, 0.0], colour=INK, width=1.0)
    # With unstable poles of its own the plant turns the other way, and half a turn lies above.
    for half in (-180.0, 180.0):
        if turn.up.low <= half <= turn.up.high:
            turn.line([f[0] / 1e3, f[-1] / 1e3], [half, half], colour=INK, width=1.0)
    for k, (at, db, degrees) in enumerate(curves):
        size.series(at / 1e3, np.where(db >= size.up.low, db, np.nan), k)
        turn.series(at / 1e3, np.where(degrees >= turn.up.low, degrees, np.nan), k)
    for k, point in enumerate((-1, report.worst)):
        crossed = float(report.margins.f_cross[point])
        if f[0] <= crossed <= f[-1]:
            at, _, degrees = curves[k]
            there = float(np.interp(crossed, at, degrees))
            for panel, y in ((size, 0.0), (turn, there)):
                if panel.up.low <= y <= panel.up.high:
                    board.circle(panel.px(crossed / 1e3), panel.py(y), 3.5, fill=SERIES[k])
    message = _message(report)
    return Picture(
        key=f"loop-{report.key}",
        title=words,
        message=message,
        alt=f"Gain and phase of the loop over frequency, a band between all corners, lines at 0 dB and half a turn. "
        f"{message}",
        svg=board.svg(words),
    )


class _Band(NamedTuple):
    """Lower and upper edge of all corners, as shown."""

    f: np.ndarray
    db: tuple[np.ndarray, np.ndarray]
    degrees: tuple[np.ndarray, np.ndarray]


def _band(report: LoopReport) -> _Band:
    of = report.band
    seen = of.f >= _F_LOW
    shift = settled_phase(report.nominal)[0] - report.nominal.phase[0]
    low, high = (20.0 * np.log10(edge[seen]) for edge in of.size)
    below, above = (np.degrees(edge + shift)[seen] for edge in of.phase)
    return _Band(of.f[seen], (low, high), (below, above))


def _filled(panel: Panel, x: np.ndarray, edges: tuple[np.ndarray, np.ndarray]) -> None:
    """Fill between two lines, as far as the panel reaches."""
    low, high = (np.clip(edge, panel.up.low, panel.up.high) for edge in edges)
    there = [f"{panel.px(a):.1f} {panel.py(b):.1f}" for a, b in zip(x, high, strict=True)]
    back = [f"{panel.px(a):.1f} {panel.py(b):.1f}" for a, b in zip(x[::-1], low[::-1], strict=True)]
    panel.board.path(f"M{'L'.join([*there, *back])}Z", fill=HAIR, opacity=_BAND)


def _curve(bode: Bode) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    seen = bode.f >= _F_LOW
    return bode.f[seen], 20.0 * np.log10(bode.size[seen]), np.degrees(settled_phase(bode)[seen])


def _steps(label: str, step: float, curves: list[np.ndarray], least: float) -> Axis:
    """Return an axis of whole steps that holds the curves, cut off below `least`."""
    low = max(min(float(np.min(c)) for c in curves), least)
    high = max(float(np.max(c)) for c in curves)
    return Axis(label=label, low=step * floor(low / step), high=step * max(ceil(high / step), 1 + floor(low / step)),
                step=step)  # fmt: skip


def _message(report: LoopReport) -> str:
    text = f"Usual point: {_at(report, -1)}. Worst corner: {_at(report, report.worst)}."
    with_it = report.stiffened
    if with_it is None:
        return text
    return (
        f"{text} With {show(with_it.damper.c, 'F', 3)} and {show(with_it.damper.r, 'ohm', 3)} in series beside the "
        f"bus: phase margin {show(with_it.phase_margin, 'rad')}, gain margin {decibels(with_it.gain_margin)}."
    )


def _at(report: LoopReport, k: int) -> str:
    m = report.margins
    if not m.stable[k]:
        return "not stable"
    if not np.isfinite(m.f_cross[k]):
        return "its gain is below one throughout"
    return (
        f"crossover {show(float(m.f_cross[k]), 'Hz', 3)}, phase margin {show(float(m.phase[k]), 'rad')}, "
        f"gain margin {decibels(float(m.gain[k]))}"
    )

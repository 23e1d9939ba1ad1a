"""A script of events over its own time: states as bands, bus and source voltage, pack and source current.

Microseconds and minutes stand side by side, so that the axis is none of time: each stretch between two changes has a
width that grows with the logarithm of its length, and its length is written below.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import log10

import numpy as np

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import Axis, Panel, axis_of, legend, title
from chargewright.report.figures._svg import Board, text_width
from chargewright.report.palette import BAD, GOOD, HAIR, PACK, SOFT, SOURCE, THIN
from chargewright.sim import sequence_rules as code
from chargewright.sim.sequence import ROW, Floats
from chargewright.studies.sequences.record import Leg

_TITLE = "Order of events"
_WIDTH = 860.0
_LEFT = 92.0
_T, _V_BUS, _V_CONNECTOR, _I_SOURCE, _I_PACK = (
    ROW.index(k) for k in ("t", "v_bus", "v_connector", "i_source", "i_pack")
)
_SHORTEST = 1e-6
_MOST_STRETCHES = 70
_OFF, _BUSY, _WELL, _ILL = HAIR, THIN, GOOD, BAD
_BANDS: tuple[tuple[str, int, tuple[str, ...]], ...] = (
    ("source", code.SRC, (_OFF, _WELL, _BUSY, _BUSY, _ILL, _ILL)),
    ("input", code.IN, (_OFF, _BUSY, _BUSY, _WELL, _ILL)),
    ("battery switch", code.BAT, (_OFF, _BUSY, PACK, THIN)),
    ("supplement", code.HELP, (_OFF, _BUSY, PACK, _BUSY)),
    ("load", code.LOAD, (_OFF, _ILL, _BUSY, _BUSY, _WELL, SOURCE, _ILL)),
)
"""Name, place in the discrete state, colour by code."""


def sequence_picture(legs: Sequence[Leg], message: str, key: str = "sequence") -> Picture:
    """Return a script that was run with its rows recorded."""
    t, rows, states, marks = _joined(legs)
    edges = _edges(t, states, [m for m, _ in marks])
    place = _places(edges)
    x = np.interp(t, edges, place)
    board = Board(key=key, width=_WIDTH, height=452.0)
    title(board, _TITLE)
    wide = _WIDTH - _LEFT - 14.0
    across = Axis(label="", low=0.0, high=1.0)
    _bands(board, edges, place, states, t, wide)
    legend(board, _LEFT, 156.0, wide, ("source, behind its cable", "bus"))
    volts = axis_of("voltage in V", rows[:, _V_BUS], rows[:, _V_CONNECTOR], zero=True)
    above = Panel(board=board, x=_LEFT, y=180.0, width=wide, height=96.0, across=across, up=volts)
    above.frame(below=False)
    above.series(x, rows[:, _V_CONNECTOR], 0)
    above.series(x, rows[:, _V_BUS], 1)
    legend(board, _LEFT, 296.0, wide, ("out of the source", "into the pack"))
    amps = axis_of("current in A", rows[:, _I_SOURCE], rows[:, _I_PACK], zero=True)
    below = Panel(board=board, x=_LEFT, y=320.0, width=wide, height=84.0, across=across, up=amps)
    below.frame(below=False)
    below.series(x, rows[:, _I_SOURCE], 0)
    below.series(x, rows[:, _I_PACK], 1)
    rests = [leg.t + float(leg.passage.end.x[code.T]) for leg in legs if leg.passage.ending == "at rest"]
    _times(board, below, edges, place, rests)
    _marks(board, above, below, marks, edges, place)
    return Picture(
        key=key,
        title=_TITLE,
        message=message,
        alt=f"States as bands above voltages and currents for the events {', '.join(w for _, w in marks)}. {message}",
        svg=board.svg(_TITLE),
        wide=True,
    )


def _joined(legs: Sequence[Leg]) -> tuple[Floats, Floats, list[tuple[float, tuple[int, ...]]], list[tuple[float, str]]]:
    """Return times, rows, the discrete states with the times at which they begin, and the events."""
    times, rows, marks = [], [], []
    states: list[tuple[float, tuple[int, ...]]] = []
    for leg in legs:
        marks.append((leg.t, leg.word))
        states.append((leg.t, leg.passage.start.now))
        states += [(leg.t + c.t, c.now) for c in leg.passage.changes]
        times.append(leg.t + leg.passage.rows[:, _T])
        rows.append(leg.passage.rows)
    return np.concatenate(times), np.concatenate(rows), states, marks


def _edges(t: Floats, states: list[tuple[float, tuple[int, ...]]], marks: list[float]) -> Floats:
    found = np.unique(np.concatenate([[float(t[0]), float(t[-1])], [s for s, _ in states], marks]))
    if len(found) > _MOST_STRETCHES:
        kept = np.unique(np.linspace(0, len(found) - 1, _MOST_STRETCHES).round().astype(int))
        found = np.unique(np.concatenate([found[kept], marks]))
    return found if len(found) > 1 else np.array([found[0], found[0] + _SHORTEST])


def _places(edges: Floats) -> Floats:
    """Return where the edges stand, 0 to 1."""
    widths = [1.0 + max(log10(max(b - a, _SHORTEST) / _SHORTEST), 0.0) for a, b in pairwise(edges)]
    ends = np.concatenate([[0.0], np.cumsum(widths)])
    return np.asarray(ends / ends[-1])


def _bands(
    board: Board, edges: Floats, place: Floats, states: list[tuple[float, tuple[int, ...]]], t: Floats, wide: float
) -> None:
    last = float(t[-1])
    for k, (name, at, colours) in enumerate(_BANDS):
        y = 40.0 + 20.0 * k
        board.text(_LEFT - 8.0, y + 10.0, name, size=10.0, colour=SOFT, anchor="end")
        start = 0
        for j in range(1, len(states) + 1):
            if j < len(states) and states[j][1][at] == states[start][1][at]:
                continue
            end = states[j][0] if j < len(states) else last
            x1, x2 = (_LEFT + wide * float(np.interp(v, edges, place)) for v in (states[start][0], end))
            if x2 > x1:
                board.box(x1, y, x2 - x1, 13.0, fill=colours[states[start][1][at]], opacity=0.55)
                words = _names(at)[states[start][1][at]]
                if text_width(words, 8.5) < x2 - x1 - 4.0:
                    board.text(x1 + 3.0, y + 9.7, words, size=8.5)
            start = j


def _names(at: int) -> tuple[str, ...]:
    return {
        code.SRC: code.SOURCE_WORDS,
        code.IN: code.INPUT_WORDS,
        code.BAT: code.SWITCH_WORDS,
        code.HELP: code.HELP_WORDS,
        code.LOAD: code.LOAD_WORDS,
    }[at]


def _times(board: Board, panel: Panel, edges: Floats, place: Floats, rests: list[float]) -> None:
    """Write how long each stretch is, where there is room; one that ends at rest lasts as long as one likes."""
    y = panel.y + panel.height + 14.0
    free = 0.0
    for k, (a, b) in enumerate(pairwise(edges)):
        x1, x2 = panel.px(float(place[k])), panel.px(float(place[k + 1]))
        board.line(x2, panel.y + panel.height, x2, panel.y + panel.height + 4.0, colour=SOFT, width=0.7)
        words = "at rest" if any(abs(b - t) <= 1e-9 * max(t, 1.0) for t in rests) else show(float(b - a), "s", 2)
        if text_width(words, 8.0) < x2 - x1 - 3.0 and x1 >= free:
            board.text(0.5 * (x1 + x2), y, words, size=8.0, colour=SOFT, anchor="middle")
            free = x2
    board.text(
        panel.x + panel.width, y + 16.0, "length of each stretch; widths are logarithmic", size=9.0, colour=SOFT,
        anchor="end",
    )  # fmt: skip


def _marks(
    board: Board, above: Panel, below: Panel, marks: list[tuple[float, str]], edges: Floats, place: Floats
) -> None:
    for t, word in marks:
        x = above.px(float(np.interp(t, edges, place)))
        board.line(x, 32.0, x, below.y + below.height, colour=SOFT, width=0.9, dash="2 3")
        wide = text_width(word, 10.0, bold=True)
        board.text(min(x + 2.0, above.x + above.width - wide), 32.0, word, size=10.0, bold=True)

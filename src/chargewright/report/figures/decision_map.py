"""Which path wins over mean system power and share of time on the source, with the line where the lead changes."""

import numpy as np

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Panel, title
from chargewright.report.figures._svg import Board, text_width
from chargewright.report.palette import INK, LETTERS, PAPER, SERIES, SOFT, WASH
from chargewright.studies.decision_map import DecisionMap, profile
from chargewright.studies.situation import Situation

_HEIGHT = 330.0
_TITLE = "Which path wins where"


def decision_map_picture(the_map: DecisionMap, case: Situation) -> Picture:
    """Return the decision map with this product's own place on it."""
    board = Board(key="decision-map", width=WIDTH, height=_HEIGHT)
    title(board, _TITLE)
    share_edges, power_edges = _edges(the_map.share), np.exp(_edges(np.log(the_map.power)))
    panel = Panel(
        board=board,
        x=52.0,
        y=46.0,
        width=WIDTH - 64.0,
        height=_HEIGHT - 46.0 - 44.0 - 18.0 * _rows(the_map),
        across=Axis(label="share of time on the source in %", low=0.0, high=100.0, step=20.0),
        up=Axis(label="mean system power in W", low=float(power_edges[0]), high=float(power_edges[-1]), log=True),
    )
    _cells(panel, the_map, share_edges * 100.0, power_edges)
    _crossovers(panel, the_map, share_edges * 100.0, power_edges)
    panel.frame()
    _product(panel, case)
    _key(board, the_map)
    message = _message(the_map)
    return Picture(
        key="decision-map",
        title=_TITLE,
        message=message,
        alt=f"Map of mean power against share of time on the source, each cell with its winner's letter. {message}",
        svg=board.svg(_TITLE),
    )


def winners(the_map: DecisionMap) -> list[int]:
    """Return the paths that win somewhere, as indices, in the order of the space that they win."""
    found, count = np.unique(the_map.winner[the_map.winner >= 0], return_counts=True)
    return [int(k) for k in found[np.argsort(-count, kind="stable")]]


def _cells(panel: Panel, the_map: DecisionMap, across: np.ndarray, up: np.ndarray) -> None:
    order = winners(the_map)
    for i in range(len(the_map.power)):
        for j in range(len(the_map.share)):
            x, y = panel.px(float(across[j])), panel.py(float(up[i + 1]))
            wide, tall = panel.px(float(across[j + 1])) - x, panel.py(float(up[i])) - y
            k = int(the_map.winner[i, j])
            if k < 0:
                panel.board.box(x, y, wide, tall, fill=WASH)
                panel.board.text(x + wide / 2, y + tall / 2 + 3.5, "–", size=10.0, colour=SOFT, anchor="middle")
                continue
            place = order.index(k)
            strength = 0.12 + 0.5 * min(float(the_map.lead[i, j]), 0.1) / 0.1
            panel.board.box(x, y, wide, tall, fill=SERIES[place % len(SERIES)], opacity=strength)
            panel.board.text(x + wide / 2, y + tall / 2 + 3.5, LETTERS[place], size=10.0, colour=INK, anchor="middle")


def _crossovers(panel: Panel, the_map: DecisionMap, across: np.ndarray, up: np.ndarray) -> None:
    """Draw a line between neighbouring cells that have different winners."""
    w = the_map.winner
    for i in range(w.shape[0]):
        for j in range(w.shape[1]):
            x1, x2 = panel.px(float(across[j])), panel.px(float(across[j + 1]))
            y1, y2 = panel.py(float(up[i])), panel.py(float(up[i + 1]))
            if j + 1 < w.shape[1] and w[i, j] != w[i, j + 1]:
                panel.board.line(x2, y1, x2, y2, colour=INK, width=1.6)
            if i + 1 < w.shape[0] and w[i, j] != w[i + 1, j]:
                panel.board.line(x1, y2, x2, y2, colour=INK, width=1.6)


def _product(panel: Panel, case: Situation) -> None:
    own = profile(case)
    share, power = own.share, own.mean
    if not panel.up.low < power < panel.up.high:
        return
    x, y = panel.px(100.0 * share), panel.py(power)
    panel.board.circle(x, y, 6.5, fill=PAPER, stroke=INK)
    panel.board.circle(x, y, 3.0, fill=INK)
    words, right = "this product", x < panel.x + 0.5 * panel.width
    wide = text_width(words, 10.0, bold=True)
    left = x + 11.0 if right else x - 11.0 - wide
    panel.board.box(left - 3.0, y - 8.0, wide + 6.0, 15.0, fill=PAPER, opacity=0.88, radius=2.0)
    panel.board.text(left, y + 3.5, words, size=10.0, bold=True)


def _key(board: Board, the_map: DecisionMap) -> None:
    y = _HEIGHT - 18.0 * _rows(the_map) + 4.0
    for place, k in enumerate(winners(the_map)):
        x = 52.0 + 180.0 * (place % 2)
        at = y + 18.0 * (place // 2)
        board.box(x, at - 9.0, 13.0, 13.0, fill=SERIES[place % len(SERIES)], opacity=0.62, radius=2.0)
        board.text(x + 6.5, at + 1.0, LETTERS[place], size=9.5, anchor="middle", bold=True)
        board.text(x + 19.0, at + 1.0, the_map.paths[k], size=10.5)


def _rows(the_map: DecisionMap) -> int:
    return (len(winners(the_map)) + 1) // 2


def _edges(middles: np.ndarray) -> np.ndarray:
    """Return the borders of cells around their middles; the first and last cell end where the axis does."""
    inner = 0.5 * (middles[1:] + middles[:-1])
    return np.concatenate([middles[:1], inner, middles[-1:]])


def _message(the_map: DecisionMap) -> str:
    total = the_map.winner.size
    parts = []
    for k in winners(the_map):
        cells = int(np.sum(the_map.winner == k))
        parts.append(f"{the_map.paths[k]} on {show(cells / total, '1', 2)} of the map")
    lost = int(np.sum(the_map.winner < 0))
    if lost:
        parts.append(f"no path on {show(lost / total, '1', 2)}")
    closest = float(np.nanmin(the_map.lead)) if np.isfinite(the_map.lead).any() else float("nan")
    return (
        f"Wins: {', '.join(parts)}. Pale cells are close calls; the least lead is {100.0 * closest:.1f} points of 100."
    )

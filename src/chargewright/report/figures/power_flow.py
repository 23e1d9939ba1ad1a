"""Where every watt goes in one state: from source to cells, ribbons as wide as the power, losses to the side."""

from dataclasses import dataclass
from math import isfinite

import numpy as np

from chargewright.base.units import show
from chargewright.network.graph import PowerPath
from chargewright.report.blocks import Picture
from chargewright.report.figures._flow_signs import chevron, loss_arrow, open_switch, stage_box
from chargewright.report.figures._path_layout import STAGE, Flow, Layout, flow_of, layout_of
from chargewright.report.figures._svg import Board, shortened
from chargewright.report.palette import HAIR, INK, LOAD, LOSS, PACK, SOFT, SOURCE
from chargewright.studies.states import StateReport

_WIDTH = 420.0
_TOP = 66.0
_STEP = 36.0
_STEP_BRIDGED = 44.0
"""From node to node where an element stands beside the trunk and wants to be named too."""
_LANE = 196.0
"""Middle of the trunk."""
_SIDE = 157.0
"""Middle of the lane for what stands beside the trunk."""
_NAMES = 134.0
"""Right edge of the node names."""
_TELLS = 236.0
"""Left edge of what is said of the elements."""
_BUS_ROOM = 11.0
"""Half the height that the two lines about the rails need."""
_THICK = 38.0
"""Width of the widest ribbon."""
_THIN = 1.6
_NOTHING = 1e-6
"""A duty below this is a leg that does not switch."""


@dataclass(slots=True)
class _Sheet:
    board: Board
    y: dict[str, float]
    """Node to the height of its middle."""
    half: dict[str, float]
    """Node to half the height of its block."""
    per_watt: float


def widest_flow(path: PowerPath, reports: tuple[StateReport, ...]) -> float:
    """Return the greatest power [W] in any element and state, so that all states can be drawn to one scale."""
    links = layout_of(path)
    flows = [flow_of(k, r.solution, r.usual) for r in reports if r.possible for k in (*links.trunk, *links.beside)]
    return max((max(abs(f.p_upper), abs(f.p_lower)) for f in flows), default=1.0)


def power_flow(path: PowerPath, report: StateReport, widest: float) -> Picture:
    """Return the power-flow picture of a state at its usual point; `widest` power [W] gets the widest ribbon."""
    s, k = report.solution, report.usual
    title = report.title[0].upper() + report.title[1:]
    if not report.possible:
        return _impossible(path, report, title)
    layout = layout_of(path)
    flows = {link.key: flow_of(link, s, k) for link in (*layout.trunk, *layout.beside)}
    p_load, p_rails = float(s.p_load[k]), float(s.p_rails[k])
    sheet = _sheet(path, report, layout, _THICK / max(widest, p_load + p_rails), p_load + p_rails)
    board = sheet.board
    _head(board, title, report)
    for link in layout.beside:
        _beside(sheet, flows[link.key])
    for link in layout.trunk:
        _trunk(sheet, flows[link.key], _stage_words(report) if link.key == STAGE else link.name)
    _load(sheet, path, p_load, p_rails)
    for node in layout.nodes:
        _node(sheet, path, report, node)
    lost, efficiency = float(report.p_loss[k]), float(report.efficiency[k])
    _foot(board, f"lost in the product: {show(lost, 'W', 3)}", f"efficiency {show(efficiency, '1', 3)}")
    message = _message(report, p_load, flows, lost, efficiency)
    return Picture(
        key=f"flow-{path.key}-{report.key}",
        title=title.partition(":")[0],
        message=message,
        alt=f"Power path drawn from the source down to the cells, ribbons as wide as the power. {message}",
        svg=board.svg(title),
    )


def _sheet(path: PowerPath, report: StateReport, layout: Layout, per_watt: float, p_bus: float) -> _Sheet:
    y, half, at = {}, {}, _TOP
    for k, node in enumerate(layout.nodes):
        if node == path.load_at:
            half[node] = max(5.0, 0.5 * per_watt * p_bus)
        else:
            half[node] = 4.0 if node in ("source", "cells") else 1.5
        room = max(half[node], _BUS_ROOM) if node == path.load_at else half[node]
        at += room + (_step(layout, k - 1) if k else 0.0)
        y[node] = at
        at += room
    key = f"flow-{path.key}-{report.key}"
    return _Sheet(board=Board(key=key, width=_WIDTH, height=at + 42.0), y=y, half=half, per_watt=per_watt)


def _step(layout: Layout, index: int) -> float:
    """Return the length at which a link of the trunk is drawn."""
    for link in layout.beside:
        if layout.nodes.index(link.upper) <= index < layout.nodes.index(link.lower):
            return _STEP_BRIDGED
    return _STEP


def _head(board: Board, title: str, report: StateReport) -> None:
    name, _, idea = title.partition(": ")
    board.text(10.0, 18.0, name, size=13.0, bold=True)
    board.text(10.0, 33.0, shortened(idea, 10.0, _WIDTH - 20.0), size=10.0, colour=SOFT)
    where = f"{report.source}, {report.contract}" if report.source else "no source"
    soc = f"pack at {show(float(report.soc[report.usual]), '1', 3)}" if report.solution.state.pack else "no pack"
    board.text(10.0, 47.0, shortened(f"{where}; {soc}", 10.0, _WIDTH - 20.0), size=10.0, colour=SOFT)


def _foot(board: Board, left: str, right: str) -> None:
    y = board.height - 12.0
    board.line(10.0, y - 14.0, _WIDTH - 10.0, y - 14.0, colour=HAIR)
    board.text(10.0, y, left, size=11.0, colour=LOSS, bold=True)
    board.text(_WIDTH - 10.0, y, right, size=11.0, anchor="end", bold=True)


def _node(sheet: _Sheet, path: PowerPath, report: StateReport, node: str) -> None:
    s, k, board = report.solution, report.usual, sheet.board
    v = float(s.v[node][k]) if node in s.v else float("nan")
    y, half = sheet.y[node], sheet.half[node]
    live = isfinite(v)
    fill = {"source": SOURCE, "cells": PACK, path.load_at: LOAD}.get(node, INK) if live else HAIR
    wide = 20.0 if node in ("source", "cells", path.load_at) else 10.0
    board.box(_LANE - wide, y - half, 2.0 * wide, 2.0 * half, fill=fill, radius=1.5)
    colour = INK if live else SOFT
    right = _NAMES if not _beside_here(path, node) else _NAMES - 2.0
    label = path.nodes[node]
    board.text(
        right, y - 1.0, label, size=11.0, colour=colour, anchor="end", bold=node in ("source", "cells", path.load_at)
    )
    tells = [show(v, "V", 4)] if live else ["not powered"]
    if node == "source" and live and s.state.source:
        tells.append(f"gives {show(float(s.conditions.e_source[k] * s.i['source'][k]), 'W', 3)}")
    if node == "cells" and "pack" in s.i:
        p = float(s.conditions.e_cells[k] * s.i["pack"][k])
        if abs(p) > 1e-6:
            tells.append(f"{'store' if p > 0.0 else 'give'} {show(abs(p), 'W', 3)}")
    board.text(right, y + 11.0, ", ".join(tells), size=10.0, colour=SOFT, anchor="end")


def _beside_here(path: PowerPath, node: str) -> bool:
    return any(node in (w.a, w.b) for w in path.wires if w.key == "battery-switch")


def _trunk(sheet: _Sheet, flow: Flow, words: str) -> None:
    board, link = sheet.board, flow.link
    y1 = sheet.y[link.upper] + sheet.half[link.upper]
    y2 = sheet.y[link.lower] - sheet.half[link.lower]
    middle = 0.5 * (y1 + y2)
    _ribbon(sheet, flow, _LANE, y1, y2)
    if link.key == STAGE:
        stage_box(board, _LANE, middle, rests=flow.status == "rests")
    if flow.status == "open":
        open_switch(board, _LANE, middle)
    edge = _LANE + 0.5 * _width(sheet, max(abs(flow.p_upper), abs(flow.p_lower)))
    edge = max(edge, _LANE + 24.0) if link.key == STAGE else edge
    if flow.loss > 1e-6:
        loss_arrow(board, edge + 1.0, middle, _TELLS - 5.0, width=max(1.2, sheet.per_watt * flow.loss))
    _tell(board, flow, words, middle)


def _tell(board: Board, flow: Flow, words: str, middle: float) -> None:
    live = flow.status == "flows"
    room = _WIDTH - _TELLS - 4.0
    board.text(_TELLS, middle - 1.0, shortened(words, 11.0, room), size=11.0, colour=INK if live else SOFT)
    if flow.status in ("open", "dead"):
        board.text(_TELLS, middle + 11.0, "open" if flow.status == "open" else "not powered", size=10.0, colour=SOFT)
        return
    x = _TELLS
    if flow.loss > 1e-6:
        x += board.text(x, middle + 11.0, show(flow.loss, "W", 3), size=10.0, colour=LOSS, bold=True) + 6.0
    rest = [show(abs(flow.i), "A", 3)] if abs(flow.i) > 1e-6 else ["no current"]
    if isfinite(flow.temp):
        rest.append(show(flow.temp, "K", 3))
    board.text(x, middle + 11.0, ", ".join(rest), size=10.0, colour=SOFT)


def _ribbon(sheet: _Sheet, flow: Flow, x: float, y1: float, y2: float) -> None:
    board = sheet.board
    if flow.status in ("open", "dead"):
        dash = "2 3" if flow.status == "dead" else ""
        board.line(x, y1, x, y2, colour=HAIR, width=1.4, dash=dash)
        return
    p1, p2 = abs(flow.p_upper), abs(flow.p_lower)
    if flow.status == "rests":
        board.line(x, y1, x, y2, colour=SOFT, width=1.0)
        return
    down = flow.p_upper + flow.p_lower > 0.0
    colour = SOURCE if down else PACK
    w1, w2 = _width(sheet, p1), _width(sheet, p2)
    board.path(
        f"M{x - w1 / 2:.2f} {y1:.2f}L{x + w1 / 2:.2f} {y1:.2f}L{x + w2 / 2:.2f} {y2:.2f}L{x - w2 / 2:.2f} {y2:.2f}Z",
        fill=colour,
    )
    chevron(board, x, y1 + 0.22 * (y2 - y1), 0.5 * (w1 + w2), down, colour)
    if y2 - y1 > 2.0 * _STEP:
        chevron(board, x, y1 + 0.78 * (y2 - y1), 0.5 * (w1 + w2), down, colour)


def _stage_words(report: StateReport) -> str:
    s, k = report.solution, report.usual
    mode = s.state.stage
    if mode == "off":
        return "stage stands still"
    if mode == "through":
        return "stage passes straight through"
    d_in, d_out = float(s.waveform.d_in[k]), float(s.waveform.d_out[k])
    if mode == "reverse" and s.path.stage.legs == "buck":
        return f"stage backwards, duty {show(d_out, '1', 2)}"
    if d_out < _NOTHING:
        return f"stage: buck, duty {show(d_in, '1', 2)}"
    if d_in > 1.0 - _NOTHING:
        return f"stage: boost, duty {show(d_out, '1', 2)}"
    return f"stage: both legs, {show(d_in, '1', 2)}, {show(d_out, '1', 2)}"


def _beside(sheet: _Sheet, flow: Flow) -> None:
    """Draw an element that bridges part of the trunk, in its own lane on the left."""
    board, link = sheet.board, flow.link
    y1, y2 = sheet.y[link.upper], sheet.y[link.lower]
    middle = y1 + sheet.half[link.upper] + 0.5 * _STEP_BRIDGED
    live = flow.status == "flows"
    wide = _width(sheet, max(abs(flow.p_upper), abs(flow.p_lower))) if live else 1.4
    colour = (SOURCE if flow.p_upper > 0.0 else PACK) if live else HAIR
    for y in (y1, y2):
        board.line(_SIDE - wide / 2, y, _LANE, y, colour=colour, width=wide)
    _ribbon(sheet, flow, _SIDE, y1, y2)
    if flow.status == "open":
        open_switch(board, _SIDE, middle)
    words = [link.name]
    if live:
        words.append(f"{show(flow.loss, 'W', 3)}, {show(abs(flow.i), 'A', 3)}")
    else:
        words.append("open" if flow.status == "open" else "no current")
    right = _SIDE - max(0.5 * wide, 8.0) - 4.0
    board.text(right, middle - 1.0, words[0], size=11.0, colour=INK if live else SOFT, anchor="end")
    board.text(right, middle + 11.0, words[1], size=10.0, colour=LOSS if live else SOFT, anchor="end", bold=live)


def _load(sheet: _Sheet, path: PowerPath, p_load: float, p_rails: float) -> None:
    board, y = sheet.board, sheet.y[path.load_at]
    wide = _width(sheet, p_load + p_rails)
    end = _TELLS - 4.0
    board.path(
        f"M{_LANE:.2f} {y - wide / 2:.2f}L{end - 8:.2f} {y - wide / 2:.2f}L{end:.2f} {y:.2f}"
        f"L{end - 8:.2f} {y + wide / 2:.2f}L{_LANE:.2f} {y + wide / 2:.2f}Z",
        fill=LOAD,
    )
    board.text(_TELLS, y - 2.0, f"rails deliver {show(p_load, 'W', 3)}", size=11.0, bold=True)
    board.text(_TELLS, y + 11.0, f"regulators lose {show(p_rails, 'W', 3)}", size=10.0, colour=LOSS, bold=True)


def _width(sheet: _Sheet, power: float) -> float:
    return max(_THIN, sheet.per_watt * abs(power))


def _message(report: StateReport, p_load: float, flows: dict[str, Flow], lost: float, efficiency: float) -> str:
    s, k = report.solution, report.usual
    parts = []
    if s.state.source:
        source = float(s.conditions.e_source[k] * s.i["source"][k])
        parts.append(f"{show(source, 'W', 3)} from the source")
    if "pack" in s.i:
        cells = float(s.conditions.e_cells[k] * s.i["pack"][k])
        if cells < -1e-6:
            parts.append(f"{show(-cells, 'W', 3)} from the cells")
        elif cells > 1e-6:
            parts.append(f"{show(cells, 'W', 3)} into the cells")
    parts.append(f"{show(p_load, 'W', 3)} delivered by the rails")
    losses = {f.link.name: f.loss for f in flows.values() if f.link.key not in ("source", "cable")}
    losses["regulators of the rails"] = float(s.p_rails[k])
    worst = max(losses, key=lambda name: losses[name])
    shown = f"{worst.removesuffix(', inside')} itself" if worst.endswith(", inside") else worst
    return (
        f"{', '.join(parts)}; {show(lost, 'W', 3)} lost in the product, most of it in the {shown} "
        f"({show(losses[worst], 'W', 3)}); efficiency {show(efficiency, '1', 3)}."
    )


def _impossible(path: PowerPath, report: StateReport, title: str) -> Picture:
    key = f"flow-{path.key}-{report.key}"
    board = Board(key=key, width=_WIDTH, height=96.0)
    _head(board, title, report)
    why = report.note or "there is no steady state at this point"
    if np.any(report.solution.ok):
        why = f"not at the usual point: {why}"
    board.text(10.0, 76.0, shortened(why, 11.0, _WIDTH - 20.0), size=11.0, colour=LOSS, bold=True)
    message = f"This state has no steady point here: {why}."
    return Picture(key=key, title=title.partition(":")[0], message=message, alt=message, svg=board.svg(title))

"""A charge over time: voltage, current and temperature, with the limit that rules."""

import numpy as np

from chargewright.base.units import ZERO_CELSIUS, show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Panel, axis_of, legend, title
from chargewright.report.figures._svg import Board, shortened, text_width
from chargewright.report.palette import INK, PACK, SERIES, SOFT, WASH
from chargewright.sim.charge import LIMITS
from chargewright.studies.charge import ChargePlan

_TITLE = "The charge over time"
_HEIGHT = 466.0
_LEFT = 46.0
_RIGHT = 12.0


def charge_picture(charge: ChargePlan, series: int, v_cell_max: float) -> Picture:
    """Return voltage, current, temperature and the limit in force of one charge from flat."""
    run = charge.run.trace
    long = charge.run.t_end >= 5400.0
    t = run.t / (3600.0 if long else 60.0)
    board = Board(key="charge-curves", width=WIDTH, height=_HEIGHT)
    title(board, _TITLE)
    board.text(8.0, 32.0, shortened(charge.title, 10.0, WIDTH - 16.0), size=10.0, colour=SOFT)
    across = Axis(label=f"time in {'h' if long else 'min'}", low=0.0, high=float(t[-1]) or 1.0)
    volts = axis_of("V per cell", run.v_pack / series, run.v_cell_highest, [v_cell_max])
    amps = axis_of("pack current in A", run.i, zero=True)
    warm = axis_of("cell temperature in °C", run.temp - ZERO_CELSIUS, [charge.temp_ambient - ZERO_CELSIUS], room=0.1)
    wide = WIDTH - _LEFT - _RIGHT
    top = 76.0
    legend(board, _LEFT, 52.0, wide, ["mean cell (at the terminals)", "highest cell"])
    panels = []
    for axis, tall in ((volts, 104.0), (amps, 84.0), (warm, 64.0)):
        panels.append(Panel(board=board, x=_LEFT, y=top, width=wide, height=tall, across=across, up=axis))
        top += tall + 26.0
    for panel in panels:
        panel.frame(below=False, ticks_up=4)
    panels[0].line([0.0, across.high], [v_cell_max, v_cell_max], colour=SOFT, width=0.8)
    panels[0].series(t, run.v_pack / series, 0)
    panels[0].series(t, run.v_cell_highest, 1)
    panels[1].line(t, run.i, colour=SERIES[0])
    panels[2].line(t, run.temp - ZERO_CELSIUS, colour=SERIES[0])
    if charge.run.t_end <= 0.0:
        words = "full already" if charge.run.ended_by == "termination" else f"no current: {charge.run.ended_by}"
        panels[1].note(0.5, 0.65, words, anchor="middle")
    _events(panels, charge, 3600.0 if long else 60.0)
    rest = panels[0].py(v_cell_max) + 11.0
    board.text(_LEFT + 3.0, rest, f"charge voltage {show(v_cell_max, 'V', 3)}", size=9.0, colour=SOFT)
    unit = Axis(label="", low=0.0, high=1.0)
    bar = Panel(board=board, x=_LEFT, y=top - 10.0, width=wide, height=18.0, across=across, up=unit)
    bar.frame(beside=False)
    board.text(_LEFT, top - 15.0, "what rules the current", size=10.0, colour=SOFT)
    _limits(bar, t, run.limit)
    message = charge_message(charge)
    return Picture(
        key="charge-curves",
        title=_TITLE,
        message=message,
        alt=f"Cell voltage, pack current and cell temperature over time, and a bar of the limit in force. {message}",
        svg=board.svg(_TITLE),
    )


def charge_message(charge: ChargePlan) -> str:
    """Return a charge in one sentence."""
    run = charge.run
    t80 = show(run.t_80, "s") if run.t_80 is not None else "never"
    ends = "full" if run.ended_by == "termination" else f"broken off ({run.ended_by})"
    hottest = show(float(np.max(run.trace.temp)), "K", 3)
    return f"80 % after {t80}, {ends} after {show(run.t_end, 's')}; cells reach {hottest}. {run.cause}"


def _events(panels: list[Panel], charge: ChargePlan, scale: float) -> None:
    marks = [("80 %", charge.run.t_80), ("voltage limit", charge.run.t_voltage)]
    taken = -1e9
    for words, t in sorted(((w, t) for w, t in marks if t), key=lambda m: m[1]):
        for panel in panels:
            x = panel.px(t / scale)
            panel.board.line(x, panel.y, x, panel.y + panel.height, colour=SOFT, width=0.8, dash="2 2")
        x, wide = max(panels[0].px(t / scale), taken), text_width(words, 9.0)
        y = panels[0].y + panels[0].height - 4.0
        if x + 3.0 + wide > panels[0].x + panels[0].width:
            # No room on the right: beside its line on the left, a row above where other words stand there.
            x = panels[0].px(t / scale) - wide - 6.0
            y -= 11.0 if x + 3.0 < taken else 0.0
        panels[0].board.text(x + 3.0, y, words, size=9.0, colour=SOFT)
        taken = x + 3.0 + wide + 4.0


_SHORT = {"precharge": "pre", "charge current": "CC", "charge voltage": "CV", "temperature": "temp"}
_TINTS = {"precharge": 0.35, "charge current": 0.8, "charge voltage": 0.5, "source": 0.9, "temperature": 0.9}


def _limits(panel: Panel, t: np.ndarray, limit: np.ndarray) -> None:
    start = 0
    board = panel.board
    for k in range(1, len(t) + 1):
        if k < len(t) and limit[k] == limit[start]:
            continue
        x1, x2 = panel.px(float(t[start])), panel.px(float(t[min(k, len(t) - 1)]))
        name = LIMITS[int(limit[start])]
        if x2 - x1 > 0.3 and name != "done":
            colour = {"source": PACK, "temperature": INK}.get(name, SERIES[0])
            board.box(x1, panel.y, x2 - x1, panel.height, fill=WASH)
            board.box(x1, panel.y, x2 - x1, panel.height, fill=colour, opacity=0.45 * _TINTS[name])
            board.line(x2, panel.y, x2, panel.y + panel.height, colour=INK, width=0.8)
            for words in (name, _SHORT.get(name, name)):
                if text_width(words, 9.5) < x2 - x1 - 4.0:
                    board.text(0.5 * (x1 + x2), panel.y + 12.5, words, size=9.5, anchor="middle")
                    break
        start = k

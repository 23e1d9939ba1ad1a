"""Use over days: state of charge, and power over hours or energy over days."""

from itertools import pairwise

import numpy as np

from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Panel, axis_of, legend, title
from chargewright.report.figures._svg import Board, text_width
from chargewright.report.palette import BAD, HAIR, PACK, SOFT, SOURCE
from chargewright.studies.usage.record import UsageRun

_TITLE = "Use over days"
_HEIGHT = 366.0
_LEFT = 46.0
_FEW_DAYS = 3.0
_LINE_DAYS = 14.0
"""Up to here the charge is drawn as it goes up and down, beyond by its range on each day."""
_HIGH = 80.0
"""From here on words have no room above a line of the state of charge [%]."""
_DAY = 86400.0
_WATT_HOUR = 3600.0


def usage_picture(run: UsageRun) -> Picture:
    """Return state of charge and powers over time; over days their energy, over many the range of the charge too.

    A strip above says when a source was there, one below it when a load was not served.
    """
    short = run.length < _FEW_DAYS * _DAY
    unit, label = (3600.0, "time in h") if short else (_DAY, "time in days")
    across = Axis(label=label, low=0.0, high=run.length / unit)
    board = Board(key="usage", width=WIDTH, height=_HEIGHT)
    title(board, _TITLE)
    wide = WIDTH - _LEFT - 12.0
    full = Axis(label="state of charge in %", low=0.0, high=100.0, step=25.0)
    soc = Panel(board=board, x=_LEFT, y=62.0, width=wide, height=100.0, across=across, up=full)
    _bands(soc, run, unit)
    soc.frame(below=False)
    t = run.trace.t / unit
    if run.length <= _LINE_DAYS * _DAY:
        soc.line(t, 100.0 * run.trace.soc, colour=PACK)
    if short:
        up = axis_of("power in W", run.trace.p_source, run.trace.p_load, zero=True)
        names, rows = ("from the source", "to the rails"), (run.trace.p_source, run.trace.p_load)
        steps, lines = np.repeat(np.append(t, run.length / unit), 2)[1:-1], [np.repeat(row, 2) for row in rows]
    else:
        days = (run.daily.e_wall / _WATT_HOUR, run.daily.e_load / _WATT_HOUR)
        up = axis_of("energy a day in Wh", *days, zero=True)
        names = ("from the wall", "to the rails")
        edges = np.minimum(np.arange(len(days[0]) + 1.0), run.length / unit)
        steps, lines = np.repeat(edges, 2)[1:-1], [np.repeat(row, 2) for row in days]
        if run.length > _LINE_DAYS * _DAY:
            soc.line(steps, np.repeat(100.0 * run.daily.soc_high, 2), colour=PACK, width=1.0)
            soc.line(steps, np.repeat(100.0 * run.daily.soc_low, 2), colour=PACK)
            low = 100.0 * float(run.daily.soc_low[0])
            soc.note(0.0, low + 6.0 if low < _HIGH else low - 14.0, "lowest of the day (thin: highest)", colour=PACK)
    below = Panel(board=board, x=_LEFT, y=216.0, width=wide, height=104.0, across=across, up=up)
    below.frame()
    legend(board, _LEFT, 190.0, wide, names)
    for k, line in enumerate(lines):
        below.series(steps, line, k)
    message = " ".join(story.text for story in run.stories[:2])
    return Picture(
        key="usage",
        title=_TITLE,
        message=message,
        alt=f"State of charge above, {up.label} below, over {run.length / unit:.3g} {label.split()[-1]}. {message}",
        svg=board.svg(_TITLE),
    )


def _bands(panel: Panel, run: UsageRun, unit: float) -> None:
    """Draw above the panel when a source was there, and below that when a load was not served."""
    t = np.append(run.trace.t, run.length)
    fed = np.array([source != "" for source in run.trace.source])
    down = np.array([state in ("off", "pack asleep") for state in run.trace.state])
    words = [("a source is there", SOURCE), ("none", HAIR), *([("load not served", BAD)] if down.any() else [])]
    at = panel.x + panel.width - sum(text_width(name, 9.0) + 19.0 for name, _ in words) + 8.0
    for name, colour in words:
        panel.board.box(at, 13.0, 8.0, 4.0, fill=colour)
        panel.board.text(at + 11.0, 18.0, name, size=9.0, colour=SOFT)
        at += text_width(name, 9.0) + 19.0
    for y, flags, yes, no in ((34.0, fed, SOURCE, HAIR), (40.0, down, BAD, "")):
        edges = np.concatenate([[0], np.flatnonzero(np.diff(flags)) + 1, [len(flags)]])
        for first, last in pairwise(int(k) for k in edges):
            colour = yes if flags[first] else no
            if colour:
                x1, x2 = panel.px(t[first] / unit), panel.px(t[last] / unit)
                panel.board.box(x1, y, x2 - x1, 4.0, fill=colour)

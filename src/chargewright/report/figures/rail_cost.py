"""What a wide bus costs downstream: the loss of all rails against the bus voltage, path by path."""

import numpy as np

from chargewright.base.units import show
from chargewright.parts.regulator import rails_loss
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Panel, axis_of, legend, title
from chargewright.report.figures._svg import Board
from chargewright.report.palette import PAPER, SERIES
from chargewright.studies.study import PathStudy, Study

_TITLE = "What the bus voltage costs in the rails"
_HEIGHT = 268.0
_APART = 26.0
"""Numbers nearer to each other than this [px] would be written over one another."""


def rail_cost_picture(study: Study) -> Picture:
    """Return the loss of the rails at the busiest load, over each path's own bus window."""
    power = study.case.p_busy
    groups = _groups(study)
    lines = []
    for names, p in groups:
        w = p.window
        assert w is not None, "only paths with a window are grouped"
        v = np.linspace(np.nanmin([w.source_min, w.pack_min]), np.nanmax([w.source_max, w.pack_max]), 80)
        lines.append((names, v, rails_loss(p.plan.rails, v, power)))
    board = Board(key="rail-cost", width=WIDTH, height=_HEIGHT)
    title(board, _TITLE)
    used = legend(board, 46.0, 36.0, WIDTH - 54.0, [", ".join(names) for names, _, _ in lines])
    top = 44.0 + used
    panel = Panel(
        board=board,
        x=46.0,
        y=top,
        width=WIDTH - 58.0,
        height=_HEIGHT - top - 42.0,
        across=axis_of("bus voltage in V", *(v for _, v, _ in lines)),
        up=axis_of("loss of all rails in W", *(y for _, _, y in lines), zero=True),
    )
    panel.frame()
    told: list[tuple[float, float]] = []
    for k, (_, v, loss) in enumerate(lines):
        panel.series(v, loss, k)
        top = int(np.argmax(loss))
        x, y = panel.px(float(v[top])), panel.py(float(loss[top]))
        board.circle(x, y, 3.2, fill=SERIES[k % len(SERIES)], stroke=PAPER)
        right = x > panel.x + 0.6 * panel.width
        if all(abs(x - a) > _APART or abs(y - b) > _APART for a, b in told):
            board.text(x, y - 7.0, f"{loss[top]:.3g}", size=9.5, anchor="end" if right else "start")
            told.append((x, y))
    worst = max(lines, key=lambda line: float(np.max(line[2])))
    best = min(lines, key=lambda line: float(np.max(line[2])))
    message = (
        f"At {show(power, 'W', 3)} of load the rails lose up to {show(float(np.max(worst[2])), 'W', 3)} on the bus of "
        f"{', '.join(worst[0])}"
    )
    if best is not worst:
        message += f" and up to {show(float(np.max(best[2])), 'W', 3)} on that of {', '.join(best[0])}"
    return Picture(
        key="rail-cost",
        title=_TITLE,
        message=message + ".",
        alt=f"Lines of rail loss against bus voltage, each over the window of its path. {message}.",
        svg=board.svg(_TITLE),
    )


def _groups(study: Study) -> list[tuple[list[str], PathStudy]]:
    """Return the paths with equal rails and equal windows together."""
    groups: dict[tuple[object, ...], tuple[list[str], PathStudy]] = {}
    for p in study.paths:
        if p.window is None:
            continue
        w = p.window
        mark = (p.plan.rails, *(round(v, 1) for v in (w.source_min, w.source_max, w.pack_min, w.pack_max)))
        groups.setdefault(mark, ([], p))[0].append(p.path.key)
    return list(groups.values())

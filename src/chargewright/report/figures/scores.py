"""How the feasible paths score on every measure, side by side."""

from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, title
from chargewright.report.figures._svg import Board
from chargewright.report.palette import HAIR, INK, SERIES, SOFT
from chargewright.studies.study import Study
from chargewright.studies.verdict import SMALL_IS_GOOD

_TITLE = "Scores: 100 is the best of the paths on that measure"
_ROW = 24.0
_NAMES = 128.0


def scores_picture(study: Study) -> Picture:
    """Return bars for total and every measure of each feasible path."""
    order = study.ranking.order
    heads = ("total", *(name.replace("_", " ") for name in SMALL_IS_GOOD))
    board = Board(key="scores", width=WIDTH, height=56.0 + _ROW * len(order) + 10.0)
    title(board, _TITLE)
    column = (WIDTH - _NAMES - 8.0) / len(heads)
    for k, head in enumerate(heads):
        for row, word in enumerate(reversed(head.split())):
            y = 46.0 - 11.0 * row
            board.text(_NAMES + column * k, y, word, size=9.0, colour=INK if k == 0 else SOFT, bold=k == 0)
    for row, ranked in enumerate(order):
        y = 52.0 + _ROW * row
        board.line(8.0, y, WIDTH - 8.0, y, colour=HAIR, width=0.7)
        board.text(8.0, y + 15.5, ranked.key, size=10.0, bold=row == 0)
        for k, score in enumerate((ranked.total, *(ranked.scores[n] for n in SMALL_IS_GOOD))):
            x = _NAMES + column * k
            board.box(x, y + 16.5, (column - 8.0) * score, 4.0, fill=SERIES[0] if k == 0 else SOFT)
            board.text(x, y + 13.5, f"{100.0 * score:.0f}", size=10.0, bold=k == 0)
    best = order[0]
    weak = min(SMALL_IS_GOOD, key=lambda n: best.scores[n])
    message = f"{best.key} leads with {100.0 * best.total:.1f} points"
    message += f" against {100.0 * order[1].total:.1f} of {order[1].key}" if len(order) > 1 else ""
    message += f"; its weakest measure is {weak.replace('_', ' ')} ({100.0 * best.scores[weak]:.0f})."
    return Picture(
        key="scores",
        title=_TITLE,
        message=message,
        alt=f"Table of bars, one row for each feasible path, one column for each measure. {message}",
        svg=board.svg(_TITLE),
    )

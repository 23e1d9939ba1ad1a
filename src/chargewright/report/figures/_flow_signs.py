"""Signs of the power-flow picture: which way power flows, what is lost, the stage, an open switch."""

from chargewright.report.figures._svg import Board
from chargewright.report.palette import INK, LOSS, PAPER, SOFT, WASH


def chevron(board: Board, x: float, y: float, wide: float, down: bool, colour: str) -> None:
    """Draw which way the power flows: a notch in a wide ribbon, an arrowhead on a thin one."""
    d = 1.0 if down else -1.0
    if wide >= 9.0:
        h, t = min(0.5 * wide - 2.0, 6.0), 2.2
        points = ((-h, -h * d * 0.5), (0.0, h * d * 0.5), (h, -h * d * 0.5))
        upper = "L".join(f"{x + a:.2f} {y + b:.2f}" for a, b in points)
        lower = "L".join(f"{x + a:.2f} {y + b + t * d:.2f}" for a, b in reversed(points))
        board.path(f"M{upper}L{lower}Z", fill=PAPER)
    else:
        half = 0.5 * wide + 3.0
        board.path(f"M{x - half:.2f} {y:.2f}L{x + half:.2f} {y:.2f}L{x:.2f} {y + 7.0 * d:.2f}Z", fill=colour)


def loss_arrow(board: Board, x1: float, y: float, x2: float, *, width: float) -> None:
    """Draw what leaves the path as heat."""
    wide = min(width, 14.0)
    head = 3.0 + 0.5 * wide
    board.line(x1, y, x2 - head, y, colour=LOSS, width=wide)
    board.path(f"M{x2 - head - 1:.2f} {y - head:.2f}L{x2:.2f} {y:.2f}L{x2 - head - 1:.2f} {y + head:.2f}Z", fill=LOSS)


def stage_box(board: Board, x: float, middle: float, *, rests: bool) -> None:
    """Draw the converter stage, dashed while it stands still."""
    dash = "3 2" if rests else ""
    board.box(x - 24.0, middle - 9.0, 48.0, 18.0, fill=WASH, stroke=SOFT if rests else INK, radius=3.0, dash=dash)
    board.text(x, middle + 4.0, "stage", size=10.0, colour=SOFT if rests else INK, anchor="middle")


def open_switch(board: Board, x: float, y: float) -> None:
    """Draw a lifted blade in a gap."""
    board.box(x - 5.0, y - 8.0, 10.0, 16.0, fill=PAPER)
    board.circle(x, y - 8.0, 2.0, fill=SOFT)
    board.circle(x, y + 8.0, 2.0, fill=SOFT)
    board.line(x, y + 8.0, x + 9.0, y - 6.0, colour=SOFT, width=1.6)

"""What accuracy of a sensed current costs in watts, for the resistors that were weighed."""

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Panel, axis_of, title
from chargewright.report.figures._svg import Board
from chargewright.report.palette import INK, SERIES, SOFT
from chargewright.sizing.records import SenseTrade, Sizing

_HEIGHT = 280.0


def sense_pictures(sizing: Sizing) -> tuple[Picture, ...]:
    """Return the trade of the charge sense resistor; nothing if none was weighed."""
    weighed = [t for t in sizing.sense if t.role == "charge" and t.fits and _hardest(t) is not None]
    chosen = next((t for t in weighed if t.chosen), None)
    return () if chosen is None else (_picture(weighed, chosen),)


def _hardest(trade: SenseTrade) -> float | None:
    """Return the worst error at the smallest current [1]."""
    errors = {e.at: e.worst for e in trade.errors}
    return errors.get("termination")


def _picture(weighed: list[SenseTrade], chosen: SenseTrade) -> Picture:
    words = "Charge sense resistor: accuracy against loss"
    board = Board(key="sense-trade", width=WIDTH, height=_HEIGHT)
    title(board, words)
    board.circle(54.0, 32.5, 4.0, fill=SERIES[0])
    board.ring(54.0, 32.5, 7.5, colour=INK)
    board.text(66.0, 36.0, "chosen", size=10.0)
    board.circle(122.0, 32.5, 3.5, fill=SERIES[0])
    board.text(131.0, 36.0, "accurate enough", size=10.0)
    board.ring(238.0, 32.5, 3.5, colour=SOFT)
    board.text(247.0, 36.0, "not accurate enough", size=10.0)
    points = [(t, 1e3 * t.p_loss, 100.0 * (_hardest(t) or 0.0)) for t in weighed]
    panel = Panel(
        board=board,
        x=46.0,
        y=64.0,
        width=WIDTH - 58.0,
        height=_HEIGHT - 64.0 - 42.0,
        across=axis_of("loss at full current in mW", [x for _, x, _ in points], log=True),
        up=axis_of("worst error at termination in %", [y for _, _, y in points], zero=True),
    )
    panel.frame()
    for t, x, y in points:
        at = (panel.px(x), panel.py(y))
        if t.accurate:
            board.circle(*at, 3.5, fill=SERIES[0])
        else:
            board.ring(*at, 3.5, colour=SOFT)
        if t is chosen:
            board.ring(*at, 7.5, colour=INK)
    message = (
        f"{chosen.name} loses {show(chosen.p_loss, 'W', 3)} at full current and errs by up to "
        f"{show(_hardest(chosen) or 0.0, '1', 2)} at termination: the amplifier's offset weighs most where the current "
        "is small."
    )
    return Picture(
        key="sense-trade",
        title=words,
        message=message,
        alt=f"Dots of worst error at termination against loss at full current, the chosen one ringed. {message}",
        svg=board.svg(words),
    )

"""Two switching periods of the stage at its usual point, switch by switch."""

import numpy as np

from chargewright.base.units import show
from chargewright.report.blocks import Picture
from chargewright.report.figures._chart import WIDTH, Axis, Panel, axis_of, legend, title
from chargewright.report.figures._svg import Board, shortened
from chargewright.report.palette import SOFT
from chargewright.studies.transients.steady_wave import SteadyWave

_TITLE = "Two switching periods of the stage"
_TALL, _GAP, _LEFT, _TOP = 104.0, 34.0, 46.0, 56.0


def steady_wave_picture(wave: SteadyWave) -> Picture:
    """Return coil current, switched node and capacitor currents over two periods."""
    legend_room = 18.0
    board = Board(key="stage-wave", width=WIDTH, height=_TOP + 3 * (_TALL + _GAP) + legend_room + 16.0)
    title(board, _TITLE)
    board.text(8.0, 31.0, shortened(wave.words, 9.5, WIDTH - 16.0), size=9.5, colour=SOFT)
    t = wave.t * 1e6
    across = Axis(label="time in µs", low=0.0, high=float(t[-1]))
    drawn = (
        ("coil current in A", (wave.i_coil,)),
        ("voltage at the switched node in V", (wave.v_switch,)),
        ("current into the capacitors in A", (wave.i_input_capacitor, wave.i_output_capacitor)),
    )
    for k, (label, curves) in enumerate(drawn):
        last = k == len(drawn) - 1
        y = _TOP + k * (_TALL + _GAP) + (legend_room if last else 0.0)
        panel = Panel(board=board, x=_LEFT, y=y, width=WIDTH - _LEFT - 12.0, height=_TALL, across=across,
                      up=axis_of(label, *curves, zero=k == 0, room=0.08))  # fmt: skip
        if last:
            legend(board, _LEFT, y - 24.0, WIDTH - _LEFT - 12.0, ("at the input", "at the output"))
        panel.frame(below=last, ticks_up=4)
        for j, curve in enumerate(curves):
            panel.series(t, curve, j)
    low, high = float(np.min(wave.i_coil)), float(np.max(wave.i_coil))
    message = (
        f"{wave.words}: the coil carries {show(low, 'A', 3)} to {show(high, 'A', 3)}, its ripple "
        f"{show(high - low, 'A', 3)}; into the input capacitors flow {show(wave.rms(wave.i_input_capacitor), 'A', 3)} "
        f"rms, into those at the output {show(wave.rms(wave.i_output_capacitor), 'A', 3)}."
    )
    return Picture(key="stage-wave", title=_TITLE, message=message, svg=board.svg(_TITLE),
                   alt=f"Coil current, switched node and capacitor currents over two periods. {message}")  # fmt: skip

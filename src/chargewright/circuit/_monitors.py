"""What ends a mode by itself: rows that stay positive while the mode holds, and where each leads when it does not."""

from dataclasses import dataclass

import numpy as np

from chargewright.circuit._assembly import Floats, Mode
from chargewright.circuit.elements import (
    Capacitor,
    Coil,
    Diode,
    Lowest,
    PowerLoad,
    i_of,
    v_node,
    v_of,
)


@dataclass(frozen=True, slots=True)
class Monitor:
    """`row`·x ≥ 0 holds in the mode; when it crosses zero, `step` is added to the key."""

    row: Floats
    step: int
    what: str


def monitors_of(mode: Mode) -> list[Monitor]:
    """Return every way in which a mode can end without a gate edge."""
    found: list[Monitor] = []
    layout = mode.layout
    unit = np.zeros(layout.n)
    unit[layout.states["one"]] = 1.0
    for d in layout.digits:
        e, digit = d.element, layout.digit(mode.key, d.element)
        if isinstance(e, Diode):
            row = mode.row(i_of(e.name)) if digit else e.v_f * unit - mode.row(v_of(e.name))
            found.append(Monitor(row, -d.stride if digit else d.stride, f"diode {e.name}"))
        elif isinstance(e, Lowest):
            found += _of_lowest(mode, e, digit, d.stride, unit)
        elif isinstance(e, Coil):
            edges = [-i for i, _ in reversed(e.bends)] + [i for i, _ in e.bends]
            found += _of_pieces(mode.row(i_of(e.name)), edges, digit, d.stride, unit, f"bend of coil {e.name}")
        elif isinstance(e, Capacitor):
            edges = [v for v, _ in e.bends]
            found += _of_pieces(mode.row(v_of(e.name)), edges, digit, d.stride, unit, f"bend of capacitor {e.name}")
        elif isinstance(e, PowerLoad):
            row = mode.row(v_of(e.name))
            found += _of_pieces(row, list(e.chords[:-1]), digit, d.stride, unit, f"bend of load {e.name}")
    for k, s in enumerate(layout.circuit.switches):
        if s.emulate and mode.key >> k & 1:
            found.append(Monitor(mode.row(i_of(s.name)), -(2**k), f"diode emulation of {s.name}"))
    return found


def _of_pieces(row: Floats, edges: list[float], digit: int, stride: int, unit: Floats, what: str) -> list[Monitor]:
    found = []
    if digit < len(edges):
        found.append(Monitor(edges[digit] * unit - row, stride, what))
    if digit > 0:
        found.append(Monitor(row - edges[digit - 1] * unit, -stride, what))
    return found


def _of_lowest(mode: Mode, e: Lowest, digit: int, stride: int, unit: Floats) -> list[Monitor]:
    ways = len(e.inputs)
    rows = [mode.row(v_node(node)) for node in e.inputs]
    what = f"selection of {e.name}"
    if digit == 2 * ways:
        return [Monitor(r - e.high * unit, (j - digit) * stride, what) for j, r in enumerate(rows)]
    chosen = digit % ways
    base = digit - chosen
    found = [Monitor(r - rows[chosen], (base + j - digit) * stride, what) for j, r in enumerate(rows) if j != chosen]
    if base:
        return [*found, Monitor(e.low * unit - rows[chosen], -ways * stride, what)]
    return [
        *found,
        Monitor(rows[chosen] - e.low * unit, ways * stride, what),
        Monitor(e.high * unit - rows[chosen], (2 * ways - digit) * stride, what),
    ]


def comparator_row(mode: Mode) -> Floats | None:
    """Return the row that is positive until the modulator's pulse must end."""
    modulator = mode.layout.circuit.modulator
    if modulator is None:
        return None
    row = mode.row(v_node(modulator.control)).copy()
    row[mode.layout.states["ramp"]] -= 1.0
    for gain, quantity in modulator.terms:
        row -= gain * mode.row(quantity)
    return row

"""What ends a mode by itself: rows that stay positive while the mode holds, and where each leads when it does not."""

from dataclasses import dataclass

import numpy as np

from chargewright.circuit._assembly import Floats, Mode
from chargewright.circuit._layout import (
    CHANNEL,
    CUT,
    FOLLOWS,
    FOLLOWS_BACK,
    HOLDS,
    HOLDS_ON,
    WAITS,
    WATCHES,
    tripped,
)
from chargewright.circuit.circuit import Leg, Skip, Trip
from chargewright.circuit.elements import (
    Capacitor,
    Coil,
    Diode,
    Lowest,
    PassSwitch,
    PowerLoad,
    Quantity,
    Switch,
    i_of,
    v_node,
    v_of,
)

NOTHING, END_PULSE = -1, -2
"""What follows the change of key: nothing, the end of the pulse of leg −2 − value, or a state (0 and above) set to
zero."""


@dataclass(frozen=True, slots=True)
class Monitor:
    """`row`·x ≥ 0 holds in the mode; when it crosses zero, `step` is added to the key, and `after` happens."""

    row: Floats
    step: int
    what: str
    after: int = NOTHING


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
        elif isinstance(e, PassSwitch):
            found += _of_pass(mode, e, digit, d.stride)
        elif isinstance(e, Leg):
            if digit:
                found.append(_of_pulse(mode, e, d.stride))
        elif isinstance(e, Skip):
            row = _sum(mode, e.terms or ((1.0, v_node(_control(mode))),))
            row = e.high * unit - row if digit else row - e.low * unit
            found.append(Monitor(row, -d.stride if digit else d.stride, "the comparator that skips pulses"))
        elif isinstance(e, Trip):
            found += _of_trip(mode, e, digit, d.stride, unit)
    for k, s in enumerate(layout.circuit.gated):
        if isinstance(s, Switch) and s.emulate and layout.is_on(mode.key, s):
            found.append(Monitor(mode.row(i_of(s.name)), -(2**k), f"diode emulation of {s.name}"))
    return found


def comparator_rows(mode: Mode) -> list[Floats]:
    """Return for each leg the row that is positive until its pulse must end."""
    return [_comparator(mode, leg) for leg in mode.layout.legs]


def _control(mode: Mode) -> str:
    modulator = mode.layout.circuit.modulator
    assert modulator is not None, "a mode with a leg has a modulator"
    return modulator.control


def _comparator(mode: Mode, leg: Leg) -> Floats:
    row = mode.row(v_node(_control(mode))) - _sum(mode, leg.terms)
    row[mode.layout.states["ramp"]] -= 1.0
    row[mode.layout.states["one"]] -= leg.offset
    return row


def _sum(mode: Mode, terms: tuple[tuple[float, Quantity], ...]) -> Floats:
    row = np.zeros(mode.layout.n)
    for gain, quantity in terms:
        row += gain * mode.row(quantity)
    return row


def _of_pulse(mode: Mode, leg: Leg, stride: int) -> Monitor:
    """Return the end of a leg's pulse: the main switch opens; the other closes after the dead time."""
    names = [s.name for s in mode.layout.circuit.gated]
    bit = 1 << names.index(leg.main)
    step = -stride - (bit if mode.key & bit else 0)
    number = mode.layout.legs.index(leg)
    return Monitor(_comparator(mode, leg), step, f"the comparator of {leg.main}", END_PULSE - number)


def _of_pass(mode: Mode, e: PassSwitch, digit: int, stride: int) -> list[Monitor]:
    what = f"pass switch {e.name}"
    if digit == CUT and not mode.layout.is_on(mode.key, e):
        return []
    gate = np.zeros(mode.layout.n)
    gate[mode.layout.states[e.name]] = 1.0
    # By how much the gate level is above each side, and the drop at which the channel takes over from following it.
    over_a, over_b = gate - mode.row(v_node(e.a)), gate - mode.row(v_node(e.b))
    drop = mode.row(v_of(e.name))
    ratio = e.r_on / e.r_follow
    ways = {
        CUT: ((-over_b, FOLLOWS), (-over_a, FOLLOWS_BACK)),
        FOLLOWS: ((over_b, CUT), (drop - ratio * over_b, CHANNEL)),
        CHANNEL: ((ratio * over_b - drop, FOLLOWS), (ratio * over_a + drop, FOLLOWS_BACK)),
        FOLLOWS_BACK: ((over_a, CUT), (-drop - ratio * over_a, CHANNEL)),
    }
    return [Monitor(row, (to - digit) * stride, what) for row, to in ways[digit]]


def _of_trip(mode: Mode, trip: Trip, digit: int, stride: int, unit: Floats) -> list[Monitor]:
    timer = mode.layout.states[trip.name]
    run = np.zeros(mode.layout.n)
    run[timer] = 1.0
    held = tripped(trip)
    if digit == WATCHES:
        to, row = (WAITS if trip.delay > 0.0 else held), trip.level * unit - _sum(mode, trip.terms)
    elif digit == WAITS:
        to, row = held, unit - run / trip.delay
    elif digit == HOLDS and trip.retry is not None:
        to, row = (WATCHES if trip.release is None else HOLDS_ON), unit - run / trip.retry
    elif trip.release is not None:
        to, row = WATCHES, _sum(mode, trip.terms) - trip.release * unit
    else:
        return []
    return [Monitor(row, (to - digit) * stride, f"trip {trip.name}", timer)]


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

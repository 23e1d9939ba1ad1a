"""What ends a frame of the averaged circuit: watched rows below zero, waves that break, switches that are set."""

from chargewright.base.compiled import apart, merged
from chargewright.circuit._averaged_algebra import add_sizes, add_times, copy
from chargewright.circuit._averaged_book import BREAK, KEY, Book, Breaks, Desk, Floats, Indices, Tape
from chargewright.circuit._averaged_shares import shares
from chargewright.circuit._averaged_step import dense, functionals

ROUNDING = 1e-7
"""How far below zero a watched row may be, over the size of the state."""


@apart
def violation(book: Book, f: int, x: Floats, desk: Desk) -> int:
    """Return the watched row whose mean over the period is furthest below zero beyond rounding, or -1."""
    watched = book.watched[f]
    if watched == 0:
        return -1
    parts, y, value, size = desk.parts, desk.y, desk.value, desk.size
    functionals(book, f, x, desk.u)
    count = shares(book, f, desk.u, parts)
    copy(y, x)
    value[:] = 0.0
    size[:] = 0.0
    for k in range(count):
        rows = book.rows[parts.mode[k]]
        y[book.coil] = parts.current[k]
        add_times(value, parts.share[k], rows, y)
        add_sizes(size, parts.share[k], rows, x)
    worst = -1
    least = 0.0
    for k in range(watched):
        if value[k] < -ROUNDING * (1.0 + size[k]) and value[k] < least:
            worst = k
            least = value[k]
    return worst


@merged
def first_event(book: Book, f: int, tape: Tape, k: int, desk: Desk) -> float:
    """Return the share of a step at which a watched row has just fallen below zero; 1 if none has at its end."""
    if violation(book, f, tape.end[k], desk) < 0:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        dense(tape, k, middle, desk.ahead)
        if violation(book, f, desk.ahead, desk) >= 0:
            high = middle
        else:
            low = middle
        if (high - low) * tape.h[k] < 1e-6 * book.period:
            break
    return high


@merged
def apply_break(breaks: Breaks, ints: Indices, x: Floats) -> None:
    """Set the wave or the switch whose instant has come."""
    k = ints[BREAK]
    place = breaks.place[k]
    if place >= 0:
        x[place] = breaks.value[k]
        x[place + 1] = breaks.slope[k]
    else:
        bit = int(abs(breaks.value[k]))
        was = (ints[KEY] // bit) % 2 == 1
        if breaks.value[k] > 0.0 and not was:
            ints[KEY] += bit
        elif was and breaks.value[k] < 0.0:
            ints[KEY] -= bit
    ints[BREAK] = k + 1

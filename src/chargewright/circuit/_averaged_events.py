"""What ends a frame of the averaged circuit: watched rows below zero, waves that break, switches that are set."""

import numpy as np

from chargewright.circuit._averaged_book import BREAK, KEY, Book, Breaks, Floats, Indices, Parts, Tape
from chargewright.circuit._averaged_shares import shares
from chargewright.circuit._averaged_step import dense

ROUNDING = 1e-7
"""How far below zero a watched row may be, over the size of the state."""


def violation(book: Book, f: int, x: Floats, parts: Parts) -> tuple[int, float]:
    """Return the watched row whose mean over the period is furthest below zero beyond rounding, or -1; and how far."""
    watched = book.watched[f]
    if watched == 0:
        return -1, 0.0
    count = shares(book, f, np.dot(book.u[f], x), parts)
    value = np.zeros(watched)
    size = np.zeros(watched)
    for k in range(count):
        rows = book.rows[parts.mode[k]][:watched]
        value += parts.share[k] * (np.dot(rows, x) + (parts.current[k] - x[book.coil]) * rows[:, book.coil])
        size += parts.share[k] * np.dot(np.abs(rows), np.abs(x))
    worst = -1
    least = 0.0
    for k in range(watched):
        if value[k] < -ROUNDING * (1.0 + size[k]) and value[k] < least:
            worst = k
            least = value[k]
    return worst, least


def first_event(book: Book, f: int, tape: Tape, k: int, parts: Parts) -> float:
    """Return the share of a step at which a watched row has just fallen below zero; 1 if none has at its end."""
    worst, _ = violation(book, f, tape.end[k], parts)
    if worst < 0:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        if violation(book, f, dense(tape, k, middle), parts)[0] >= 0:
            high = middle
        else:
            low = middle
        if (high - low) * tape.h[k] < 1e-6 * book.period:
            break
    return high


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

"""The event loop over one circuit's modes, in scalar code that runs plain or compiled and gives the same numbers.

Between events the state is exact: a step is one matrix, a shorter one a Taylor series that is exact to rounding. A step
is accepted only if no watched row can have crossed zero inside it: the cubic through both ends with both slopes must
stay positive, steps are short against every ringing and grow from the finest no faster than the time since the last
event. Otherwise the step is refined, and at the finest the first zero of the series is bracketed and found by Newton.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from chargewright.circuit._clock_kernel import (
    CYCLE,
    EVENTS,
    FLIPS,
    KEY,
    SEGMENTS,
    SETTLED,
    TAU,
    Drive,
    clock_legs,
    happen,
    known_events,
    next_known,
)
from chargewright.circuit._zero_kernel import ORDER, ROUNDING, Floats, at_share, first_zero, series, stays, times

Indices = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

DONE, FULL, NEED_MODE, CHATTER, BROKEN = 0, 1, 2, 3, 4
MOST_FLIPS = 200
MOST_EVENTS = 500
MOST_STEPS = 50_000
"""Of one segment: some twenty for stiff ones, as many as it rings for others."""
STUCK = -2
SAME = 1e-12
"""Relative difference of two intervals that are one."""


class Book(NamedTuple):
    """The circuit's modes as arrays, see `_tables`; all matrices by their columns."""

    number: Indices
    columns: Floats
    phi: Floats
    finest: Indices
    coarsest: Indices
    leaps: Floats
    leap: Floats
    leap_ok: Flags
    rows: Floats
    dots: Floats
    steps: Indices
    """For each row what is added to the key, and what follows."""
    watched: Indices


class Tape(NamedTuple):
    """Where each segment begins; a segment is a stretch of one mode."""

    cycle: Indices
    tau: Floats
    mode: Indices
    x: Floats


class Desk(NamedTuple):
    """Room to work on: a loop that makes no arrays of its own is compiled without counting references."""

    scratch: Floats
    ahead: Floats
    values: Floats
    curve: Floats


def desk_of(n: int, rows: int) -> Desk:
    """Return room for a circuit with n states and so many watched rows."""
    return Desk(np.zeros((ORDER + 1, n)), np.zeros(n), np.zeros((4, rows)), np.zeros(ORDER + 1))


def advance_periods(
    book: Book, drive: Drive, x: Floats, ints: Indices, floats: Floats, until: int, tape: Tape, desk: Desk
) -> int:
    """Run from the carried state to the start of period `until`; return why it stopped."""
    n = len(x)
    while ints[CYCLE] < until:
        if ints[SEGMENTS] >= len(tape.tau):
            return FULL
        mode = book.number[ints[KEY]]
        if mode < 0:
            return NEED_MODE
        if ints[SETTLED] == 0:
            worst = worst_violation(book.rows[mode], book.watched[mode], x)
            if worst >= 0:
                happen(drive, book.steps[mode, worst, 0], book.steps[mode, worst, 1], x, ints, floats)
                ints[FLIPS] += 1
                if ints[FLIPS] > MOST_FLIPS:
                    return CHATTER
                continue
            ints[SETTLED] = 1
            ints[FLIPS] = 0
            k = ints[SEGMENTS]
            tape.cycle[k] = ints[CYCLE]
            tape.tau[k] = floats[TAU]
            tape.mode[k] = mode
            for j in range(n):
                tape.x[k, j] = x[j]
            ints[SEGMENTS] = k + 1
        until_tau = next_known(drive, ints, floats)
        hit, at = run_to(book, mode, x, until_tau - floats[TAU], desk)
        for j in range(n):
            if not np.isfinite(x[j]):
                return BROKEN
        if hit == STUCK:
            return CHATTER
        if hit < 0:
            floats[TAU] = until_tau
            if known_events(drive, x, ints, floats):
                clock_legs(drive, book.rows[mode], book.watched[mode], x, ints, floats)
        else:
            floats[TAU] = min(floats[TAU] + at, until_tau)
            ints[EVENTS] += 1
            if ints[EVENTS] > MOST_EVENTS:
                return CHATTER
            happen(drive, book.steps[mode, hit, 0], book.steps[mode, hit, 1], x, ints, floats)
        ints[SETTLED] = 0
    return DONE


def worst_violation(rows: Floats, watched: int, x: Floats) -> int:
    """Return the watched row that is furthest below zero, or -1 where the mode holds."""
    worst = -1
    least = 0.0
    for k in range(watched):
        value, size = 0.0, 0.0
        for j in range(len(x)):
            part = rows[j, k] * x[j]
            value += part
            size += abs(part)
        if value < -ROUNDING * (1.0 + size) and value < least:
            worst, least = k, value
    return worst


def run_to(book: Book, mode: int, x: Floats, span: float, desk: Desk) -> tuple[int, float]:
    """Move x by `span` in one mode, or to the first event; return the watched row that ended it (or -1) and when."""
    rows, dots = book.rows[mode], book.dots[mode]
    scratch, ahead, values = desk.scratch, desk.ahead, desk.values
    watched = book.watched[mode]
    levels(rows, dots, watched, x, values[0], values[1])
    for j in range(len(book.leaps)):
        if book.leap_ok[mode, j] and abs(book.leaps[j] - span) <= SAME * span:
            times(book.leap[mode, j], x, ahead)
            levels(rows, dots, watched, ahead, values[2], values[3])
            if clear(values, watched, span):
                for i in range(len(x)):
                    x[i] = ahead[i]
                return -1, span
    gone = 0.0
    finest, coarsest = book.finest[mode], book.coarsest[mode]
    unit = book_unit(book, mode)
    cap = coarsest
    steps = 0
    while gone < span:
        steps += 1
        if steps > MOST_STEPS:
            return STUCK, gone
        left = span - gone
        level = finest
        h = unit
        while level > cap and 2.0 * h <= left and h <= gone:
            level -= 1
            h *= 2.0
        if h <= left:
            times(book.phi[mode, level], x, ahead)
            levels(rows, dots, watched, ahead, values[2], values[3])
            if clear(values, watched, h):
                accept(x, ahead, values, watched)
                gone += h
                cap = max(cap - 1, coarsest)
                continue
            if level < finest:
                cap = level + 1
                continue
        h = min(h, left)
        terms = series(book.columns[mode], x, h, scratch)
        for j in range(len(x)):
            total = 0.0
            for k in range(terms, -1, -1):
                total += scratch[k, j]
            ahead[j] = total
        levels(rows, dots, watched, ahead, values[2], values[3])
        if not clear(values, watched, h):
            hit, share = first_zero(rows, watched, values, h, x, scratch, terms, desk.curve)
            if hit >= 0:
                at_share(scratch, terms, share, x)
                return hit, gone + share * h
        accept(x, ahead, values, watched)
        gone += h
        cap = max(cap - 1, coarsest)
        if left - h <= 0.0:
            break
    return -1, span


def book_unit(book: Book, mode: int) -> float:
    """Return the finest step of a mode [s]; the last leap is the period."""
    unit: float = book.leaps[len(book.leaps) - 1] * 0.5 ** float(book.finest[mode])
    return unit


def levels(rows: Floats, dots: Floats, watched: int, x: Floats, value: Floats, slope: Floats) -> None:
    """Evaluate the watched rows and their slopes at x; both are stored by columns."""
    for k in range(watched):
        value[k] = 0.0
        slope[k] = 0.0
    for j in range(len(x)):
        part = x[j]
        for k in range(watched):
            value[k] += rows[j, k] * part
            slope[k] += dots[j, k] * part


def clear(values: Floats, watched: int, h: float) -> bool:
    """Return whether every watched row stays positive on a step."""
    first = 0
    while first < watched and stays(values, first, h):
        first += 1
    return first == watched


def accept(x: Floats, ahead: Floats, values: Floats, watched: int) -> None:
    """Make the far end of a step the new beginning."""
    for j in range(len(x)):
        x[j] = ahead[j]
    for k in range(watched):
        values[0, k] = values[2, k]
        values[1, k] = values[3, k]

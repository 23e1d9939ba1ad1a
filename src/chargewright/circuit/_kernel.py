"""The event loop over one circuit's modes, in scalar code that runs plain or compiled and gives the same numbers.

Between events the state is exact: a step is one matrix, a shorter one a Taylor series that is exact to rounding. A step
is accepted only if no watched row can have crossed zero inside it: the cubic through both ends with both slopes must
stay positive, steps are short against every ringing and grow from the finest no faster than the time since the last
event. Otherwise the step is refined, and at the finest the first zero of the series is bracketed and found by Newton.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from chargewright.circuit._zero_kernel import ORDER, ROUNDING, Floats, at_share, first_zero, series, stays, times

Indices = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

DONE, FULL, NEED_MODE, CHATTER, BROKEN = 0, 1, 2, 3, 4
CYCLE, KEY, EDGE, BREAK, COMPARE, PENDING, SETTLED, FLIPS, EVENTS, SEGMENTS = range(10)
"""Whole numbers that the loop carries: period, key of the mode, next known edge, next break of a wave or timed gate,
whether the comparator waits, gate that waits for its dead time, whether the mode is known to hold, tries of that,
events of the period, segments written."""
TAU, PENDING_TAU = range(2)
"""Instant in the period, and that of the gate that waits."""
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
    watched: Indices


class Drive(NamedTuple):
    """What happens at known instants."""

    period: float
    edge_tau: Floats
    edge_bit: Indices
    """Gate bit that the edge sets; negative where it clears it."""
    break_t: Floats
    break_place: Indices
    """Place of the wave that breaks; -1 where a gate is set."""
    break_value: Floats
    """Value of the wave from there on, or the gate's bit, negative where it is cleared."""
    break_slope: Floats
    ramp: int
    """Place of the modulator's ramp; -1 without one."""
    main: int
    sync: int
    dead: float


class Tape(NamedTuple):
    """Where each segment begins; a segment is a stretch of one mode."""

    cycle: Indices
    tau: Floats
    mode: Indices
    x: Floats


def advance_periods(book: Book, drive: Drive, x: Floats, ints: Indices, floats: Floats, until: int, tape: Tape) -> int:
    """Run from the carried state to the start of period `until`; return why it stopped."""
    n = len(x)
    room = book.rows.shape[2]
    scratch = np.zeros((ORDER + 1, n))
    ahead = np.zeros(n)
    values = np.zeros((4, room))
    while ints[CYCLE] < until:
        if ints[SEGMENTS] >= len(tape.tau):
            return FULL
        mode = book.number[ints[KEY]]
        if mode < 0:
            return NEED_MODE
        if ints[SETTLED] == 0:
            worst = worst_violation(book.rows[mode], book.watched[mode], x)
            if worst >= 0:
                ints[KEY] += book.steps[mode, worst]
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
            tape.x[k] = x
            ints[SEGMENTS] = k + 1
        until_tau = next_known(drive, ints, floats)
        hit, at = run_to(book, mode, x, until_tau - floats[TAU], ints[COMPARE] == 1, scratch, ahead, values)
        for j in range(n):
            if not np.isfinite(x[j]):
                return BROKEN
        if hit == STUCK:
            return CHATTER
        if hit < 0:
            floats[TAU] = until_tau
            known_events(drive, x, ints, floats)
        else:
            floats[TAU] = min(floats[TAU] + at, until_tau)
            ints[EVENTS] += 1
            if ints[EVENTS] > MOST_EVENTS:
                return CHATTER
            if hit == book.watched[mode]:
                end_pulse(drive, ints, floats)
            else:
                ints[KEY] += book.steps[mode, hit]
        ints[SETTLED] = 0
    return DONE


def next_known(drive: Drive, ints: Indices, floats: Floats) -> float:
    """Return the next instant in this period at which something is known to happen."""
    found = drive.period
    if ints[EDGE] < len(drive.edge_tau):
        found = min(found, drive.edge_tau[ints[EDGE]])
    if ints[PENDING] >= 0:
        found = min(found, floats[PENDING_TAU])
    if ints[BREAK] < len(drive.break_t):
        found = min(found, drive.break_t[ints[BREAK]] - ints[CYCLE] * drive.period)
    at: float = max(found, floats[TAU])
    return at


def known_events(drive: Drive, x: Floats, ints: Indices, floats: Floats) -> None:
    """Apply all that is due at this instant, and the start of the next period where it is reached."""
    tau = floats[TAU]
    while ints[BREAK] < len(drive.break_t) and drive.break_t[ints[BREAK]] - ints[CYCLE] * drive.period <= tau:
        place = drive.break_place[ints[BREAK]]
        if place < 0:
            value = drive.break_value[ints[BREAK]]
            set_gate(ints, int(abs(value)), value > 0.0)
        else:
            x[place] = drive.break_value[ints[BREAK]]
            x[place + 1] = drive.break_slope[ints[BREAK]]
        ints[BREAK] += 1
    if ints[PENDING] >= 0 and floats[PENDING_TAU] <= tau:
        set_gate(ints, ints[PENDING], True)
        ints[PENDING] = -1
    if tau >= drive.period:
        ints[CYCLE] += 1
        ints[EDGE] = 0
        ints[EVENTS] = 0
        floats[TAU] = 0.0
        tau = 0.0
        if drive.ramp >= 0:
            start_pulse(drive, x, ints, floats)
    while ints[EDGE] < len(drive.edge_tau) and drive.edge_tau[ints[EDGE]] <= tau:
        bit = drive.edge_bit[ints[EDGE]]
        set_gate(ints, abs(bit), bit > 0)
        ints[EDGE] += 1


def set_gate(ints: Indices, bit: int, on: bool) -> None:
    """Set or clear one gate's bit (1, 2, 4 …) in the key."""
    was = (ints[KEY] // bit) % 2 == 1
    if on and not was:
        ints[KEY] += bit
    elif was and not on:
        ints[KEY] -= bit


def start_pulse(drive: Drive, x: Floats, ints: Indices, floats: Floats) -> None:
    """Begin the modulator's pulse with the clock; a pulse that never ended goes on."""
    x[drive.ramp] = 0.0
    if ints[COMPARE] == 0:
        set_gate(ints, drive.sync, False)
        ints[COMPARE] = 1
        ints[PENDING] = drive.main
        floats[PENDING_TAU] = drive.dead


def end_pulse(drive: Drive, ints: Indices, floats: Floats) -> None:
    """End the modulator's pulse: the main switch opens, the other closes after the dead time."""
    set_gate(ints, drive.main, False)
    ints[COMPARE] = 0
    ints[PENDING] = drive.sync
    floats[PENDING_TAU] = floats[TAU] + drive.dead


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


def run_to(
    book: Book, mode: int, x: Floats, span: float, compare: bool, scratch: Floats, ahead: Floats, values: Floats
) -> tuple[int, float]:
    """Move x by `span` in one mode, or to the first event; return the watched row that ended it (or -1) and when."""
    rows, dots = book.rows[mode], book.dots[mode]
    watched = book.watched[mode] + (1 if compare else 0)
    levels(rows, dots, watched, x, values[0], values[1])
    for j in range(len(book.leaps)):
        if book.leap_ok[mode, j] and abs(book.leaps[j] - span) <= SAME * span:
            times(book.leap[mode, j], x, ahead)
            levels(rows, dots, watched, ahead, values[2], values[3])
            if clear(values, watched, span):
                x[:] = ahead
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
            hit, share = first_zero(rows, watched, values, h, x, scratch, terms)
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

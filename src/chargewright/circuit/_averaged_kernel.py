"""The averaged circuit in time, in scalar code that runs plain or compiled and gives the same numbers.

x' = Σ share·A·x over the modes of one period: see `_averaged_shares`. Each step is as long as its own error allows
(`_averaged_step`) and ends at the first event in it (`_averaged_events`).
"""

import numpy as np

from chargewright.base.compiled import merged
from chargewright.circuit._averaged_algebra import copy
from chargewright.circuit._averaged_book import (
    BREAK,
    ERROR,
    FLIPS,
    KEY,
    SAMPLES,
    STAGES,
    STEP,
    STEPS,
    TIME,
    WINDOW,
    WRITTEN,
    Book,
    Breaks,
    Desk,
    Floats,
    Indices,
    Tape,
)
from chargewright.circuit._averaged_events import apply_break, first_event, violation
from chargewright.circuit._averaged_shares import shares
from chargewright.circuit._averaged_step import dense, functionals, jacobian, rates, try_step

DONE, FULL, NEED_FRAME, CHATTER, BROKEN, STUCK = range(6)
FLOOR = 1e-2
"""Least size of a state to which the tolerance is relative [A, V]."""
BEYOND = 1e12
"""Size of a state at which it counts as running away [A, V]."""
MOST_FLIPS = 200
MOST_STEPS = 1500
"""In one period; a cold start takes some fifty, a slow transient a tenth of one."""


def advance(
    book: Book, breaks: Breaks, x: Floats, most: Floats, ints: Indices, floats: Floats, t_end: float, tape: Tape,
    desk: Desk
) -> int:  # fmt: skip
    """Run from the carried state to `t_end`; return why it stopped. `most` is the largest size of each state so far."""
    while floats[TIME] < t_end:
        if ints[WRITTEN] >= len(tape.t):
            return FULL
        while ints[BREAK] < len(breaks.t) and breaks.t[ints[BREAK]] <= floats[TIME]:
            apply_break(breaks, ints, x)
            floats[STEP] = min(floats[STEP], 0.01 * book.period)
        f = book.number[ints[KEY]] - 1
        if f < 0:
            return NEED_FRAME
        worst = violation(book, f, x, desk)
        if worst >= 0:
            ints[KEY] += book.steps[f, worst, 0]
            if book.steps[f, worst, 1] >= 0:
                x[book.steps[f, worst, 1]] = 0.0
            ints[FLIPS] += 1
            if ints[FLIPS] > MOST_FLIPS:
                return CHATTER
            continue
        ints[FLIPS] = 0
        until = t_end
        if ints[BREAK] < len(breaks.t):
            until = min(until, breaks.t[ints[BREAK]])
        why = one_step(book, f, x, most, ints, floats, until, tape, desk)
        if why != DONE:
            return why
    return DONE


@merged
def one_step(
    book: Book, f: int, x: Floats, most: Floats, ints: Indices, floats: Floats, until: float, tape: Tape, desk: Desk
) -> int:  # fmt: skip
    """Take one accepted step, up to the first event in it at most."""
    rates(book, f, x, desk, desk.here)
    jacobian(book, f, x, desk.here, desk)
    error = desk.stages[STAGES - 1]
    k = ints[WRITTEN]
    t = floats[TIME]
    if t - floats[WINDOW] > book.period:
        floats[WINDOW] = t
        ints[STEPS] = 0
    while True:
        ints[STEPS] += 1
        left = until - t
        h = min(floats[STEP], left)
        # A sliver at the end is worth no step of its own.
        if left - h < 0.1 * h:
            h = left
        if ints[STEPS] > MOST_STEPS or h <= 4e-16 * until:
            return STUCK
        try_step(book, f, x, h, desk, tape, k)
        size = 0.0
        for i in range(len(x)):
            scale = floats[ERROR] * max(most[i], abs(tape.end[k, i]))
            size = max(size, abs(error[i]) / scale)
        if not np.isfinite(size):
            size = 1e4
            if h < 1e-9 * book.period:
                return BROKEN
        factor = min(max(0.9 * max(size, 1e-12) ** -0.25, 0.1), 5.0)
        if size > 1.0:
            floats[STEP] = h * factor
            continue
        tape.t[k], tape.h[k], tape.key[k] = t, h, ints[KEY]
        share = first_event(book, f, tape, k, desk)
        for sample in range(SAMPLES):
            keep(book, f, tape, k, sample, desk)
        ints[WRITTEN] = k + 1
        if share < 1.0:
            dense(tape, k, share, x)
            floats[TIME] = t + share * h
            floats[STEP] = max(share * h, 0.02 * h)
        else:
            copy(x, tape.end[k])
            floats[TIME] = until if h == left else t + h
            floats[STEP] = h * factor
        for i in range(len(x)):
            most[i] = max(most[i], abs(x[i]))
            if most[i] > BEYOND:
                return BROKEN
        return DONE


@merged
def keep(book: Book, f: int, tape: Tape, k: int, sample: int, desk: Desk) -> None:
    """Write down what the period is made of at one sample of a step."""
    parts = desk.parts
    dense(tape, k, sample / SAMPLES, desk.ahead)
    functionals(book, f, desk.ahead, desk.u)
    count = shares(book, f, desk.u, parts)
    for p in range(len(parts.share)):
        used = p < count
        tape.mode[k, sample, p] = parts.mode[p] if used else 0
        tape.share[k, sample, p] = parts.share[p] if used else 0.0
        tape.current[k, sample, p] = parts.current[p] if used else 0.0

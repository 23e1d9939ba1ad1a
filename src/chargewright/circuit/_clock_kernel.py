"""What happens at known instants, and at crossings: gates, breaks of waves, the clock and its pulses."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from chargewright.circuit._zero_kernel import Floats

Indices = npt.NDArray[np.int64]

CYCLE, KEY, EDGE, BREAK, SETTLED, FLIPS, EVENTS, SEGMENTS, PENDING = range(9)
"""Whole numbers that the loop carries: period, key of the mode, next known edge, next break of a wave or timed gate,
whether the mode is known to hold, tries of that, events of the period, segments written; for each of two legs the gate
that waits for its dead time."""
TAU, PENDING_TAU = range(2)
"""Instant in the period, and for each of two legs that of the gate that waits."""
LEGS = 2
"""Most legs of a modulator."""


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
    legs: int
    main: tuple[int, int]
    """Bits of the legs' switches, and the strides of their pulses in the key; not arrays, which are slow to hand on."""
    sync: tuple[int, int]
    pulse: tuple[int, int]
    dead: float
    skip: int
    """Stride of the comparator that skips pulses; 0 without one."""


def next_known(drive: Drive, ints: Indices, floats: Floats) -> float:
    """Return the next instant in this period at which something is known to happen."""
    found = drive.period
    if ints[EDGE] < len(drive.edge_tau):
        found = min(found, drive.edge_tau[ints[EDGE]])
    for leg in range(drive.legs):
        if ints[PENDING + leg] >= 0:
            found = min(found, floats[PENDING_TAU + leg])
    if ints[BREAK] < len(drive.break_t):
        found = min(found, drive.break_t[ints[BREAK]] - ints[CYCLE] * drive.period)
    at: float = max(found, floats[TAU])
    return at


def known_events(drive: Drive, x: Floats, ints: Indices, floats: Floats) -> bool:
    """Apply all that is due at this instant; return whether the clock has struck for the legs."""
    tau = floats[TAU]
    struck = False
    while ints[BREAK] < len(drive.break_t) and drive.break_t[ints[BREAK]] - ints[CYCLE] * drive.period <= tau:
        place = drive.break_place[ints[BREAK]]
        if place < 0:
            value = drive.break_value[ints[BREAK]]
            set_gate(ints, int(abs(value)), value > 0.0)
        else:
            x[place] = drive.break_value[ints[BREAK]]
            x[place + 1] = drive.break_slope[ints[BREAK]]
        ints[BREAK] += 1
    for leg in range(drive.legs):
        if ints[PENDING + leg] >= 0 and floats[PENDING_TAU + leg] <= tau:
            set_gate(ints, ints[PENDING + leg], True)
            ints[PENDING + leg] = -1
    if tau >= drive.period:
        ints[CYCLE] += 1
        ints[EDGE] = 0
        ints[EVENTS] = 0
        floats[TAU] = 0.0
        tau = 0.0
        if drive.legs > 0:
            floats[PENDING_TAU] -= drive.period
            floats[PENDING_TAU + 1] -= drive.period
            x[drive.ramp] = 0.0
            struck = True
    while ints[EDGE] < len(drive.edge_tau) and drive.edge_tau[ints[EDGE]] <= tau:
        bit = drive.edge_bit[ints[EDGE]]
        set_gate(ints, abs(bit), bit > 0)
        ints[EDGE] += 1
    return struck


def set_gate(ints: Indices, bit: int, on: bool) -> None:
    """Set or clear one gate's bit (1, 2, 4 …) in the key."""
    was = (ints[KEY] // bit) % 2 == 1
    if on and not was:
        ints[KEY] += bit
    elif was and not on:
        ints[KEY] -= bit


def clock_legs(drive: Drive, rows: Floats, watched: int, x: Floats, ints: Indices, floats: Floats) -> None:
    """Begin the legs' pulses with the clock; a pulse that never ended goes on, one without length is left out.

    rows : of the mode that ends here, by columns; the legs' comparators stand after the watched ones
    """
    if drive.skip > 0 and (ints[KEY] // drive.skip) % 2 == 1:
        return
    for leg in range(drive.legs):
        if (ints[KEY] // drive.pulse[leg]) % 2 == 1:
            continue
        ahead = 0.0
        for j in range(len(x)):
            ahead += rows[j, watched + leg] * x[j]
        if ahead > 0.0:
            begin_pulse(drive, leg, ints, floats)
        elif ints[PENDING + leg] < 0:
            set_gate(ints, drive.sync[leg], True)


def begin_pulse(drive: Drive, leg: int, ints: Indices, floats: Floats) -> None:
    """Begin a leg's pulse: one switch opens, the main one closes after the dead time."""
    set_gate(ints, drive.sync[leg], False)
    ints[KEY] += drive.pulse[leg]
    ints[PENDING + leg] = drive.main[leg]
    floats[PENDING_TAU + leg] = floats[TAU] + drive.dead


def happen(drive: Drive, step: int, after: int, x: Floats, ints: Indices, floats: Floats) -> None:
    """Let a watched row's crossing have its consequence."""
    ints[KEY] += step
    if after >= 0:
        x[after] = 0.0
    elif after < -1:
        leg = -2 - after
        ints[PENDING + leg] = drive.sync[leg]
        floats[PENDING_TAU + leg] = floats[TAU] + drive.dead

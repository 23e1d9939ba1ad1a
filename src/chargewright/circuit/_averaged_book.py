"""What the averaged circuit runs on: its frames as arrays, the modes of one period, the tape of its steps."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

PLUS, MINUS, IDLE = range(3)
"""Directions of the coil's current."""
OPEN, MAIN, OTHER = range(3)
"""What a leg of the modulator does."""
COIL, FIRST_SLOPE = 2, 3
"""Places of the functionals: comparators of two legs, coil current, slopes."""
KEY, BREAK, FLIPS, STEPS, WRITTEN = range(5)
"""Whole numbers that the loop carries: key of the frame, next break, tries of a frame, steps of a period, all steps."""
TIME, STEP, WINDOW, ERROR = range(4)
"""The last is the error of a step over the largest value that the state has had."""
STAGES = 6
"""Of the method, see `_averaged_step`."""
SAMPLES = 4
"""Instants of each step at which the tape keeps what the period is made of: at its beginning and evenly on."""


class Book(NamedTuple):
    """The circuit's frames as arrays, see `_averaged_layout`; all matrices by their columns."""

    number: Indices
    """1 + the frame by slow key; 0 where it has not been met."""
    a: Floats
    rows: Floats
    steps: Indices
    """For each watched row what is added to the key, and which state is set to zero (-1 for none)."""
    watched: Indices
    mode: Indices
    """Mode by frame, pattern and direction."""
    column: Indices
    """Which functional is the coil's slope, by frame, pattern and direction."""
    one_way: Flags
    u: Floats
    """The few combinations of states that the shares depend on: comparator, coil current, slopes of the coil."""
    used: Indices
    edges: Floats
    period: float
    height: float
    """Of the ramp over one period [V]."""
    dead: float
    """Dead time over the period."""
    legs: int
    held: Flags
    """Frames in which pulses are left out."""
    coil: int
    with_coil: bool
    small: float


class Breaks(NamedTuple):
    """Known instants at which a wave breaks or a switch is set."""

    t: Floats
    place: Indices
    value: Floats
    slope: Floats


class Parts(NamedTuple):
    """The modes of one period with their shares, and the coil's mean current in each."""

    mode: Indices
    share: Floats
    current: Floats
    pattern: Indices
    push: Indices
    width: Floats
    flows: Floats
    starts: Floats
    scratch: Floats
    ends: Floats


class Tape(NamedTuple):
    """Every step: where it begins, its whole length, its state and the three vectors of its dense output."""

    t: Floats
    h: Floats
    key: Indices
    x: Floats
    end: Floats
    bow: Floats
    twist: Floats
    mode: Indices
    """Modes of the period by step, sample and part; their shares and the coil's current in each stand beside."""
    share: Floats
    current: Floats


class Desk(NamedTuple):
    """Room to work on: a loop that makes no arrays of its own is compiled without counting references."""

    parts: Parts
    u: Floats
    """The combinations of states that the shares depend on."""
    y: Floats
    """A state whose coil current is that of one part of the period."""
    ahead: Floats
    here: Floats
    rate: Floats
    value: Floats
    """Of the watched rows; the size of their terms stands beside."""
    size: Floats
    slope: Floats
    """∂x'/∂x, by columns."""
    inverse: Floats
    swaps: Indices
    stages: Floats


def desk_for(book: Book, patterns: int) -> Desk:
    """Return room to work on a circuit of so many patterns of the gates."""
    _, n, rows = book.rows.shape
    y, ahead, here, rate = np.zeros((4, n))
    value, size = np.zeros((2, rows))
    slope, inverse = np.zeros((2, n, n))
    return Desk(parts_for(patterns), np.zeros(book.u.shape[2]), y, ahead, here, rate, value, size, slope, inverse,
                np.zeros(n, np.int64), np.zeros((STAGES, n)))  # fmt: skip


def parts_for(patterns: int) -> Parts:
    """Return room for the modes of one period."""
    room = 2 * (patterns + 8)
    real = np.zeros((6, room))
    mode, pattern, push = np.zeros((3, room), np.int64)
    return Parts(mode, real[0], real[1], pattern, push, real[2], real[3], real[4], real[5], np.zeros((2, 4)))

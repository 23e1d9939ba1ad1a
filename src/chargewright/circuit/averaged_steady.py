"""The averaged steady state: Newton on x' = 0, reached by implicit steps in time that grow until they are Newton's."""

import numpy as np

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.circuit import _clock_kernel as clock
from chargewright.circuit._assembly import Floats
from chargewright.circuit._averaged_book import BREAK, KEY, WRITTEN, Breaks, desk_for
from chargewright.circuit._averaged_events import apply_break, violation
from chargewright.circuit._averaged_kernel import MOST_FLIPS
from chargewright.circuit._averaged_layout import Frames, frames_of
from chargewright.circuit._averaged_step import jacobian, rates
from chargewright.circuit.averaged import moment_at
from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import Capacitor, Coil, PassSwitch
from chargewright.circuit.run import Moment, engine_of

MOST_STEPS = 400
SHORTEST, FIRST, GROWTH, LONGEST = 1e-9, 0.1, 2.0, 1e12
"""Length of a step over the period: the least, the first, by how much it grows, and where it is Newton's own."""
FARTHEST = 10.0
"""Longest move over 1 + the size of the state."""
CLOSED = 1e-10
"""Newton's last step over 1 + the size of the state."""


def averaged_steady(circuit: Circuit, *, at: float = 0.0) -> Moment:
    """Return the averaged steady state under what waves and timed switches say at an instant [s], to run on from there.

    A pack's own charge is held: its slow rise is no part of the state. Raises NoSolution where nothing holds a state,
    such as the output of an amplifier that does not rule and that no clamp holds, or where no steady state is found.
    """
    if not 0.0 <= at < np.inf:
        raise OutOfRange(f"a steady state at {at} s: an instant is 0 or later, and finite")
    engine = engine_of(circuit, compiled=False)
    frames, moment, drive = frames_of(engine.layout), engine.beginning(), engine.drive
    x, ints = moment.x.copy(), np.zeros(WRITTEN + 1, np.int64)
    ints[KEY] = frames.slow(int(moment.ints[clock.KEY]))
    breaks = Breaks(drive.break_t, drive.break_place, drive.break_value, drive.break_slope)
    since: dict[int, float] = {}
    while ints[BREAK] < len(breaks.t) and breaks.t[ints[BREAK]] <= at:
        k = int(ints[BREAK])
        since[int(breaks.place[k])] = float(breaks.t[k])
        apply_break(breaks, ints, x)
    for place, t in since.items():
        if place >= 0:
            x[place] += x[place + 1] * (at - t)
    _settle(circuit, frames, x, ints)
    return moment_at(circuit, x, ints, at)


def _settle(circuit: Circuit, frames: Frames, x: Floats, ints: np.ndarray) -> None:
    """Move the free states to where they stand still; the key goes with them."""
    states = frames.layout.states
    held = {e.name for e in circuit.elements if isinstance(e, Capacitor) and e.cell}
    moving = [e.name for e in circuit.elements if isinstance(e, Coil | PassSwitch | Capacitor)]
    free = np.array([states[name] for name in moving if name not in held], dtype=int)
    step, size = FIRST, np.inf
    frame = _frame(circuit, frames, x, ints)
    for _ in range(MOST_STEPS):
        book, h = frames.book(), step * circuit.period
        desk = desk_for(book, len(frames.patterns))
        rates(book, frame, x, desk, desk.here)
        jacobian(book, frame, x, desk.here, desk)
        slope, rate = desk.slope.T[np.ix_(free, free)], desk.here
        move = _solved(np.eye(len(free)) / h - slope, rate[free])
        size = float(np.max(np.abs(move) / (1.0 + np.abs(x[free])), initial=0.0))
        ahead, key = x.copy(), ints.copy()
        ahead[free] += move
        if size < FARTHEST:
            over = _frame(circuit, frames, ahead, key)
            rates(frames.book(), over, ahead, desk, desk.rate)
            missed = move / h - desk.rate[free]
            wrong = float(np.max(np.abs(_solved(np.eye(len(free)) / h - slope, missed)) / (1.0 + np.abs(x[free])),
                                 initial=0.0))  # fmt: skip
        # A step whose linear answer is not nearly the true one was too long.
        if not (size < FARTHEST and wrong <= max(0.5 * size, CLOSED)):
            if step <= SHORTEST:
                break
            step *= 0.25
            continue
        x[:], ints[:], frame = ahead, key, over
        if size < CLOSED and step >= LONGEST:
            return
        step = min(step * (GROWTH if wrong > 0.1 * size else GROWTH**3), LONGEST)
    raise NoSolution(
        f"no averaged steady state of {circuit.title}: the last step still moves a state by {size:.1e} of its size."
        " Look for a loop or load that is unstable, or a state that nothing holds."
    )


def _solved(m: Floats, right: Floats) -> Floats:
    try:
        return np.asarray(np.linalg.solve(m, right))
    except np.linalg.LinAlgError:
        return np.full(len(right), np.inf)


def _frame(circuit: Circuit, frames: Frames, x: Floats, ints: np.ndarray) -> int:
    """Return the frame that holds at a state."""
    for _ in range(MOST_FLIPS):
        key = int(ints[KEY])
        frame = frames.keys.index(key) if key in frames.keys else frames.add(key, x)
        book = frames.book()
        worst = violation(book, frame, x, desk_for(book, len(frames.patterns)))
        if worst < 0:
            return frame
        ints[KEY] += book.steps[frame, worst, 0]
    raise NoSolution(f"{circuit.title} chatters on the way to its steady state: no frame of it holds")

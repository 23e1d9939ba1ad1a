"""One step of the averaged circuit: x' and its slope, and the implicit method that follows it.

The method is an L-stable Rosenbrock method of order 4 with six stages and dense output (E. Hairer, G. Wanner, Solving
Ordinary Differential Equations II, Springer 1996, section VI.4, method RODAS; coefficients from memory. On a closed
loop halving the step divides the error by 2^4.0; tests hold the whole to an exact solution.)
"""

import numpy as np

from chargewright.base.compiled import apart, merged
from chargewright.circuit._averaged_algebra import add, add_matrix, add_outer, add_times, copy, invert
from chargewright.circuit._averaged_book import COIL, STAGES, Book, Desk, Floats, Tape
from chargewright.circuit._averaged_shares import shares

NUDGE = 1e-7
LAST = (1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950)
AHEAD = np.array([
    (0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
    (1.544, 0.0, 0.0, 0.0, 0.0, 0.0),
    (0.9466785280815826, 0.2557011698983284, 0.0, 0.0, 0.0, 0.0),
    (3.314825187068521, 2.896124015972201, 0.9986419139977817, 0.0, 0.0, 0.0),
    (*LAST, 0.0, 0.0),
    (*LAST, 1.0, 0.0),
    (*LAST, 1.0, 1.0),
])  # fmt: skip
"""Where each stage is evaluated, and the end of the step; the last stage is the error."""
MIXED = np.array([
    (0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
    (-5.6688, 0.0, 0.0, 0.0, 0.0, 0.0),
    (-2.430093356833875, -0.2063599157091915, 0.0, 0.0, 0.0, 0.0),
    (-0.1073529058151375, -9.594562251023355, -20.47028614809616, 0.0, 0.0, 0.0),
    (7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160, 0.0, 0.0),
    (8.083246795921522, -7.981132988064893, -31.52159432874371, 16.31930543123136, -6.058818238834054, 0.0),
])  # fmt: skip
BOW = np.array([10.12623508344586, -7.487995877610167, -34.80091861555747, -7.992771707568823, 1.025137723295662, 0.0])
TWIST = np.array(
    [-0.6762803392801253, 6.087714651680015, 16.43084320892478, 24.76722511418386, -6.594389125716872, 0.0]
)
"""Dense output, of order 3."""


def functionals(book: Book, f: int, x: Floats, u: Floats) -> None:
    """Write the combinations of states that the shares depend on."""
    u[:] = 0.0
    add_times(u, 1.0, book.u[f], x)


def rates_of(book: Book, f: int, x: Floats, desk: Desk, out: Floats) -> None:
    """Write x' for the functionals on the desk."""
    parts, y = desk.parts, desk.y
    count = shares(book, f, desk.u, parts)
    copy(y, x)
    out[:] = 0.0
    for k in range(count):
        y[book.coil] = parts.current[k]
        add_times(out, parts.share[k], book.a[parts.mode[k]], y)


@apart
def rates(book: Book, f: int, x: Floats, desk: Desk, out: Floats) -> None:
    """Write x'."""
    functionals(book, f, x, desk.u)
    rates_of(book, f, x, desk, out)


@merged
def jacobian(book: Book, f: int, x: Floats, here: Floats, desk: Desk) -> None:
    """Write ∂x'/∂x: the shares' own matrices, and a column for each functional that the shares depend on."""
    u, parts, slope, moved = desk.u, desk.parts, desk.slope, desk.rate
    functionals(book, f, x, u)
    count = shares(book, f, u, parts)
    slope[:] = 0.0
    for k in range(count):
        add_matrix(slope, parts.share[k], book.a[parts.mode[k]])
    # The coil's own column comes with its functional.
    slope[book.coil, :] = 0.0
    for m in range(book.used[f]):
        if book.legs <= m < COIL:
            continue
        nudge = NUDGE * (1.0 + abs(u[m]))
        kept = u[m]
        u[m] = kept + nudge
        rates_of(book, f, x, desk, moved)
        u[m] = kept
        add(moved, -1.0, here)
        add_outer(slope, 1.0 / nudge, moved, book.u[f, :, m])


@apart
def dense(tape: Tape, k: int, share: float, out: Floats) -> None:
    """Write the state inside a step, at a share of it."""
    left = 1.0 - share
    out[:] = 0.0
    add(out, left, tape.x[k])
    add(out, share, tape.end[k])
    add(out, share * left, tape.bow[k])
    add(out, share * left * share, tape.twist[k])


@merged
def try_step(book: Book, f: int, x: Floats, h: float, desk: Desk, tape: Tape, k: int) -> None:
    """Try one step from the slope on the desk; the tape takes its end and dense output, the last stage is its error."""
    stages, ahead, rate = desk.stages, desk.ahead, desk.rate
    invert(desk.slope, 4.0 / h, desk.inverse, desk.swaps)
    stages[:] = 0.0
    add_times(stages[0], 1.0, desk.inverse, desk.here)
    for s in range(1, STAGES):
        copy(ahead, x)
        add_times(ahead, 1.0, stages, AHEAD[s])
        rates(book, f, ahead, desk, rate)
        add_times(rate, 1.0 / h, stages, MIXED[s])
        add_times(stages[s], 1.0, desk.inverse, rate)
    copy(tape.x[k], x)
    copy(tape.end[k], x)
    add_times(tape.end[k], 1.0, stages, AHEAD[STAGES])
    tape.bow[k, :] = 0.0
    add_times(tape.bow[k], 1.0, stages, BOW)
    tape.twist[k, :] = 0.0
    add_times(tape.twist[k], 1.0, stages, TWIST)

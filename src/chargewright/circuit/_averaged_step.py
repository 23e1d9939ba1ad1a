"""One step of the averaged circuit: x' and its slope, and the implicit method that follows it.

The method is an L-stable Rosenbrock method of order 4 with six stages and dense output (E. Hairer, G. Wanner, Solving
Ordinary Differential Equations II, Springer 1996, section VI.4, method RODAS; coefficients from memory. On a closed
loop halving the step divides the error by 2^4.0; tests hold the whole to an exact solution.)
"""

import numpy as np

from chargewright.circuit._averaged_book import COIL, Book, Floats, Parts, Tape
from chargewright.circuit._averaged_shares import shares

NUDGE = 1e-7
STAGES = 6
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


def rates_of(book: Book, f: int, x: Floats, u: Floats, parts: Parts) -> Floats:
    """Return x' for given functionals."""
    count = shares(book, f, u, parts)
    found = np.zeros(len(x))
    for k in range(count):
        a = book.a[parts.mode[k]]
        found += parts.share[k] * (np.dot(a, x) + (parts.current[k] - x[book.coil]) * a[:, book.coil])
    return found


def rates(book: Book, f: int, x: Floats, parts: Parts) -> Floats:
    """Return x'."""
    return rates_of(book, f, x, np.dot(book.u[f], x), parts)


def jacobian(book: Book, f: int, x: Floats, here: Floats, parts: Parts) -> Floats:
    """Return ∂x'/∂x: the shares' own matrices, and a column for each functional that the shares depend on."""
    u = np.dot(book.u[f], x)
    count = shares(book, f, u, parts)
    found = np.zeros((len(x), len(x)))
    for k in range(count):
        found += parts.share[k] * book.a[parts.mode[k]]
    # The coil's own column comes with its functional.
    found[:, book.coil] = 0.0
    for m in range(book.used[f]):
        if book.legs <= m < COIL:
            continue
        nudge = NUDGE * (1.0 + abs(u[m]))
        kept = u[m]
        u[m] = kept + nudge
        moved = rates_of(book, f, x, u, parts)
        u[m] = kept
        found += np.outer((moved - here) / nudge, book.u[f, m])
    return found


def dense(tape: Tape, k: int, share: float) -> Floats:
    """Return the state inside a step, at a share of it."""
    left = 1.0 - share
    found: Floats = left * tape.x[k] + share * (tape.end[k] + left * (tape.bow[k] + share * tape.twist[k]))
    return found


def try_step(
    book: Book, f: int, x: Floats, h: float, j: Floats, here: Floats, parts: Parts, tape: Tape, k: int
) -> Floats:
    """Try one step; the tape takes its end and its dense output. Returns the error of each state."""
    n = len(x)
    inv = np.linalg.inv(np.eye(n) * (4.0 / h) - j)
    # One column for each stage.
    stages = np.zeros((n, STAGES))
    stages[:, 0] = np.dot(inv, here)
    for s in range(1, STAGES):
        rate = rates(book, f, x + np.dot(stages, AHEAD[s]), parts)
        stages[:, s] = np.dot(inv, rate + np.dot(stages, MIXED[s]) / h)
    tape.x[k] = x
    tape.end[k] = x + np.dot(stages, AHEAD[STAGES])
    tape.bow[k] = np.dot(stages, BOW)
    tape.twist[k] = np.dot(stages, TWIST)
    return stages[:, STAGES - 1].copy()

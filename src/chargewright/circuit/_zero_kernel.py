"""Inside one short step: the Taylor series of the state, and the first zero of a watched row on it."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

ORDER = 14
SLICES = 8
ARRIVED = 2e-15
"""Share of a step to which an event is found."""
ROUNDING = 1e-6
"""How far below zero a watched row may start, over the size of its terms: an off-resistance of 1 MΩ beside an
on-resistance of 1 mΩ makes a microvolt of what rounding leaves of a diode's current at its zero."""
NOISE = 1e-14
"""What rounding makes of two equal voltages or currents [V, A]."""


def times(columns: Floats, x: Floats, out: Floats) -> None:
    """out = matrix·x, the matrix by its columns: adding columns keeps the processor busy, a dot product waits."""
    n = len(x)
    for i in range(n):
        out[i] = columns[0, i] * x[0]
    for j in range(1, n):
        part = x[j]
        for i in range(n):
            out[i] += columns[j, i] * part


def stays(values: Floats, k: int, h: float) -> bool:
    """Return whether one watched row stays positive on a step: the control points of its cubic do."""
    a, b = values[0, k], values[2, k]
    far_a, far_b = a + h * values[1, k] / 3.0, b - h * values[3, k] / 3.0
    least: float = min(min(a, b), min(far_a, far_b))
    # A row that starts below zero, within rounding, may stay there: it ends the mode only when it falls further.
    limit: float = min(2.0 * a, 0.0) - NOISE
    return least > limit


def series(columns: Floats, x: Floats, h: float, scratch: Floats) -> int:
    """Write the terms of exp(a·h)·x; return the number of the last one that counts."""
    n = len(x)
    size = 0.0
    for i in range(n):
        scratch[0, i] = x[i]
        size = max(size, abs(x[i]))
    for k in range(1, ORDER + 1):
        times(columns, scratch[k - 1], scratch[k])
        largest = 0.0
        for i in range(n):
            scratch[k, i] *= h / k
            largest = max(largest, abs(scratch[k, i]))
        if largest <= 1e-18 * size:
            return k
    return ORDER


def at_share(scratch: Floats, terms: int, share: float, x: Floats) -> None:
    """Evaluate the series at a share of its step."""
    for j in range(len(x)):
        total = 0.0
        for k in range(terms, -1, -1):
            total = total * share + scratch[k, j]
        x[j] = total


def first_zero(
    rows: Floats, watched: int, values: Floats, h: float, x: Floats, scratch: Floats, terms: int, c: Floats
) -> tuple[int, float]:
    """Return which watched row first falls below zero on the step, and at which share of it; -1 if none does."""
    hit = -1
    earliest = 2.0
    for k in range(watched):
        if stays(values, k, h):
            continue
        size = 0.0
        for i in range(terms + 1):
            total = 0.0
            for j in range(len(x)):
                total += rows[j, k] * scratch[i, j]
                if i == 0:
                    size += abs(rows[j, k] * scratch[i, j])
            c[i] = total
        share = zero_of(c, terms, ROUNDING * (1.0 + size))
        if 0.0 <= share < earliest:
            hit, earliest = k, share
    return hit, earliest


def zero_of(c: Floats, terms: int, rounding: float) -> float:
    """Return the first share in 0 … 1 at which the polynomial falls below zero, or -1."""
    if c[0] < -rounding:
        return 0.0
    # A row that starts at its zero has to leave it by more than rounding.
    if c[0] <= 0.0:
        c[0] += rounding
    low, slope_low = 0.0, c[1]
    for s in range(1, SLICES + 1):
        high = s / SLICES
        value, slope = polynomial(c, terms, high)
        if value < 0.0:
            return falling_zero(c, terms, low, high)
        if slope_low < 0.0 < slope:
            bottom = turning_point(c, terms, low, high)
            if polynomial(c, terms, bottom)[0] < 0.0:
                return falling_zero(c, terms, low, bottom)
        low, slope_low = high, slope
    return -1.0


def polynomial(c: Floats, terms: int, s: float) -> tuple[float, float]:
    """Return the value and the slope of Σ c[k]·s^k."""
    value, slope = 0.0, 0.0
    for k in range(terms, -1, -1):
        slope = slope * s + value
        value = value * s + c[k]
    return value, slope


def turning_point(c: Floats, terms: int, low: float, high: float) -> float:
    """Return where the polynomial is least between a falling and a rising end."""
    for _ in range(60):
        middle = 0.5 * (low + high)
        if polynomial(c, terms, middle)[1] < 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def falling_zero(c: Floats, terms: int, low: float, high: float) -> float:
    """Return the zero between a share where the polynomial is not negative and one where it is, from beyond it."""
    s = high
    for _ in range(100):
        value, slope = polynomial(c, terms, s)
        if value < 0.0:
            high = s
        else:
            low = s
        if high - low <= ARRIVED:
            break
        aim = s - value / slope if slope != 0.0 else low
        # Where Newton has arrived, look just beyond the zero and just before it, so that the bracket closes.
        if abs(aim - s) < ARRIVED:
            aim = s + 0.5 * ARRIVED if value >= 0.0 else s - 0.5 * ARRIVED
        s = aim if low < aim < high else 0.5 * (low + high)
    return high

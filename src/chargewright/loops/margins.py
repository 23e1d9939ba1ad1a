"""Margins of many loops at once: every crossing, counted from low frequency on, none lost to a wrapped phase.

A coarse sweep brackets each crossing of unit gain and of the negative real axis; each bracket is then narrowed with the
loop's own gain, not with the samples. Turns are counted by crossings of the negative real axis, so the phase is the
unwrapped one. Delay is exact: the loops are complex functions, not polynomials.

Source of the criterion: H. Nyquist, Regeneration theory, Bell System Technical Journal 11, 1932; H. W. Bode, Network
analysis and feedback amplifier design, Van Nostrand 1945 (from memory).
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Gain = Callable[[Floats, Any], Complexes]
"""Loop gain at frequencies [Hz] for chosen points: f (f,) or (m, 1) and a slice or m indices to (m, f) or (m, 1)."""
BLOCK = 256
"""Points swept at once: their arrays stay in a core's cache."""
_STEPS = 40
_CLOSE = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class Margins:
    """Margins of n loops; arrays (n,). Negative feedback; the closed loop divides by 1 + T."""

    f_cross: Floats
    """Frequency of the unit-gain crossing with the least phase margin [Hz]; nan where the gain never crosses 1."""
    phase: Floats
    """Least phase margin over all unit-gain crossings, in radians [1]; inf where there is none."""
    f_gain: Floats
    """Where the phase is half a turn, for the gain margin [Hz]; nan where it never is."""
    gain: Floats
    """By how much the gain may rise before a crossing of −1 [1]; inf where nothing limits it."""
    gain_down: Floats
    """To which share it may fall [1]; 0 where nothing limits it (a conditionally stable loop has a limit)."""
    modulus: Floats
    """Least distance of the loop gain from −1 [1]."""
    f_modulus: Floats
    crossings: Floats
    """How often the gain crosses 1 [1]."""
    stable: npt.NDArray[np.bool_]
    """Nyquist: −1 is encircled as often as the open loop has unstable poles."""


def frequencies(f_low: float, f_high: float, per_decade: int = 16) -> Floats:
    """Return frequencies [Hz] evenly spread on a logarithmic scale."""
    return np.geomspace(f_low, f_high, max(int(np.ceil(np.log10(f_high / f_low) * per_decade)) + 1, 3))


def margins(gain: Gain, n: int, f: Floats, *, unstable_poles: int = 0, block: int = BLOCK, workers: int = 1) -> Margins:
    """Return the margins of `n` loops.

    gain           : see `Gain`
    f              : frequencies of the sweep [Hz], rising; dense enough that no resonance hides between two of them
    unstable_poles : right-half-plane poles of the open loop, the same for all points [1]
    """
    blocks = [slice(k, min(k + block, n)) for k in range(0, n, block)]

    def one(which: slice) -> Margins:
        return _block(gain, which, f, unstable_poles)

    if workers > 1 and len(blocks) > 1:
        with ThreadPoolExecutor(workers) as pool:
            found = list(pool.map(one, blocks))
    else:
        found = [one(b) for b in blocks]
    return Margins(**{k.name: np.concatenate([getattr(m, k.name) for m in found]) for k in fields(Margins)})


def _block(gain: Gain, which: slice, f: Floats, unstable_poles: int) -> Margins:
    t = np.asarray(gain(f, which), dtype=complex)
    n = which.stop - which.start
    t = np.broadcast_to(t, (n, len(f)))
    re, im = t.real, t.imag
    over = re * re + im * im > 1.0
    above = im >= 0.0
    turn = above[:, 1:] != above[:, :-1]
    rows, cols = np.nonzero(turn)
    # A sign change of the imaginary part is one of the phase's half turns where the chord passes left of zero.
    left = _axis(re, im, rows, cols) < 0.0
    rows, cols = rows[left], cols[left]
    down = np.where(above[rows, cols], 1.0, -1.0)
    turns = np.zeros((n, len(f)))
    np.add.at(turns, (rows, cols + 1), down)
    turns = np.cumsum(turns, axis=1)

    c_rows, c_cols = np.nonzero(over[:, 1:] != over[:, :-1])
    f_c, t_c = _narrow(gain, which, f, c_rows, c_cols, _log_size)
    f_g, t_g = _narrow(gain, which, f, rows, cols, _imaginary)
    phase = _unwrapped(t_c, t[c_rows, c_cols], turns[c_rows, c_cols])
    margin = np.pi - np.abs(phase)

    least, f_cross = _least(margin, f_c, c_rows, n)
    at_axis = -t_g.real
    up = 1.0 / at_axis
    most, f_gain = _least(np.where(at_axis < 1.0, up, np.inf), np.where(at_axis < 1.0, f_g, np.nan), rows, n)
    fall, _ = _least(np.where(at_axis >= 1.0, -up, 0.0), f_g, rows, n)
    inside = np.zeros(n)
    np.add.at(inside, rows, np.where(at_axis > 1.0, down, 0.0))
    modulus, f_modulus = _nearest(gain, which, f, re, im)
    return Margins(
        f_cross=f_cross,
        phase=least,
        f_gain=f_gain,
        gain=most,
        gain_down=-np.where(np.isfinite(fall), fall, 0.0),
        modulus=modulus,
        f_modulus=f_modulus,
        crossings=np.bincount(c_rows, minlength=n).astype(float),
        stable=np.asarray(2.0 * inside == unstable_poles),
    )


def _axis(re: Floats, im: Floats, rows: Any, cols: Any) -> Floats:
    x_1, x_2, y_1, y_2 = re[rows, cols], re[rows, cols + 1], im[rows, cols], im[rows, cols + 1]
    return np.asarray((x_1 * y_2 - x_2 * y_1) / (y_2 - y_1))


def _log_size(t: Complexes) -> Floats:
    return np.log(t.real**2 + t.imag**2)


def _imaginary(t: Complexes) -> Floats:
    return np.asarray(t.imag / np.abs(t))


def _narrow(
    gain: Gain, which: slice, f: Floats, rows: Any, cols: Any, of: Callable[[Complexes], Floats]
) -> tuple[Floats, Complexes]:
    """Return where `of` is zero inside each bracket and the gain there: false position, Illinois form, in log f."""
    points = rows + which.start
    x_1, x_2 = np.log(f[cols]), np.log(f[cols + 1])

    def at(x: Floats, k: Any) -> Complexes:
        return np.asarray(gain(np.exp(x)[:, None], points[k]), dtype=complex).reshape(-1)

    if len(points) == 0:
        return np.zeros(0), np.zeros(0, dtype=complex)
    everything = np.arange(len(points))
    y_1, y_2 = of(at(x_1, everything)), of(at(x_2, everything))
    x, t = x_1.copy(), np.zeros(len(points), dtype=complex)
    open_ = everything
    side = np.zeros(len(points))
    for _ in range(_STEPS):
        k = open_
        span = np.where(y_2[k] == y_1[k], 1.0, y_2[k] - y_1[k])
        new = x_2[k] - y_2[k] * (x_2[k] - x_1[k]) / span
        found = at(new, k)
        y = of(found)
        x[k], t[k] = new, found
        same = (y > 0.0) == (y_2[k] > 0.0)
        halve_1, halve_2 = same & (side[k] == 1.0), ~same & (side[k] == -1.0)
        y_1[k] = np.where(same, np.where(halve_1, 0.5 * y_1[k], y_1[k]), y)
        x_1[k] = np.where(same, x_1[k], new)
        y_2[k] = np.where(same, y, np.where(halve_2, 0.5 * y_2[k], y_2[k]))
        x_2[k] = np.where(same, new, x_2[k])
        side[k] = np.where(same, 1.0, -1.0)
        open_ = k[np.abs(y) > _CLOSE]
        if len(open_) == 0:
            break
    return np.exp(x), t


def _unwrapped(t: Complexes, before: Complexes, turns: Floats) -> Floats:
    """Return the unwrapped phase [rad] of `t`, which lies between the sample `before` and the next one."""
    start = np.angle(before)
    return np.asarray(start + 2.0 * np.pi * turns + np.angle(t / before))


def _least(values: Floats, at: Floats, rows: Any, n: int) -> tuple[Floats, Floats]:
    """Return for each row the least of its values and what belongs to it."""
    least, where = np.full(n, np.inf), np.full(n, np.nan)
    order = np.lexsort((-values, rows))
    least[rows[order]] = values[order]  # the last one written is the least
    where[rows[order]] = at[order]
    return least, where


def _nearest(gain: Gain, which: slice, f: Floats, re: Floats, im: Floats) -> tuple[Floats, Floats]:
    """Return the least |1 + T| and its frequency: the sample, then a parabola through it and its neighbours."""
    n = len(re)
    row = np.arange(n)
    square = (1.0 + re) ** 2 + im**2
    k = np.clip(np.argmin(square, axis=1), 1, len(f) - 2)
    y_0, y_1, y_2 = (square[row, k + j] for j in (-1, 0, 1))
    bend = y_0 - 2.0 * y_1 + y_2
    shift = np.where(bend > 0.0, np.clip(0.5 * (y_0 - y_2) / np.where(bend > 0.0, bend, 1.0), -1.0, 1.0), 0.0)
    step = np.log(f[k + 1] / f[k])
    best = f[k] * np.exp(shift * step)
    t = np.asarray(gain(best[:, None], row + which.start), dtype=complex).reshape(-1)
    there = np.abs(1.0 + t)
    sample = np.sqrt(square[row, np.argmin(square, axis=1)])
    better = there < sample
    return np.where(better, there, sample), np.where(better, best, f[np.argmin(square, axis=1)])

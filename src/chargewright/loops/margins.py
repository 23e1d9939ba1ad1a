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
BLOCK = 12_288
"""Points whose crossings are narrowed together."""
_SWEEP = 768
"""Points swept at once: their arrays stay in a core's cache."""
_STEPS = 40
_CLOSE = 1e-6
_CHORDS = 3
_PARABOLAS = 4
_NEAR = 1.0
"""How far from zero (of |T|² − 1, and of the imaginary part) a turning point between samples is looked at."""


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


def margins(gain: Gain, n: int, f: Floats, *, unstable_poles: Any = 0, block: int = BLOCK, workers: int = 1) -> Margins:
    """Return the margins of `n` loops.

    gain           : see `Gain`
    f              : frequencies of the sweep [Hz], rising; dense enough that no resonance hides between two of them
    unstable_poles : right-half-plane poles of the open loop, one number or (n,) [1]; see `loops.open_loop`
    """
    poles = np.broadcast_to(np.asarray(unstable_poles), (n,))
    blocks = [slice(k, min(k + block, n)) for k in range(0, n, block)]

    def one(which: slice) -> Margins:
        return _block(gain, which, f, poles[which])

    if workers > 1 and len(blocks) > 1:
        with ThreadPoolExecutor(workers) as pool:
            found = list(pool.map(one, blocks))
    else:
        found = [one(b) for b in blocks]
    return Margins(**{k.name: np.concatenate([getattr(m, k.name) for m in found]) for k in fields(Margins)})


def _block(gain: Gain, which: slice, f: Floats, poles: Any) -> Margins:
    n = which.stop - which.start
    t = np.empty((n, len(f)), dtype=complex)
    for k in range(0, n, _SWEEP):
        t[k : k + _SWEEP] = gain(f, slice(which.start + k, min(which.start + k + _SWEEP, which.stop)))
    re, im = t.real, t.imag
    above = im >= 0.0
    turn = above[:, 1:] != above[:, :-1]
    rows, cols = np.nonzero(turn)
    # A sign change of the imaginary part is one of the phase's half turns where the chord passes left of zero.
    left = _axis(re, im, rows, cols) < 0.0
    rows, cols = rows[left], cols[left]
    size = re * re + im * im
    over = size > 1.0
    c_rows, c_cols = np.nonzero(over[:, 1:] != over[:, :-1])
    f_c, t_c, c_rows, c_cols = _crossings(gain, which, f, size - 1.0, c_rows, c_cols, _log_size)
    half = np.where(re < 0.0, im, np.nan)
    lone = len(rows)
    f_g, t_g, rows, cols = _crossings(gain, which, f, half, rows, cols, _imaginary)
    # What looked like a half turn on the chord may pass zero on the right.
    really = t_g.real < 0.0
    down = np.where(really & (np.arange(len(rows)) < lone), np.where(above[rows, cols], 1.0, -1.0), 0.0)
    turns = np.zeros((n, len(f)))
    np.add.at(turns, (rows, cols + 1), down)
    turns = np.cumsum(turns, axis=1)
    # Two crossings between the same samples come as a pair of opposite ways: only the lone ones turn.
    inside = np.bincount(rows, np.where(-t_g.real > 1.0, down, 0.0), minlength=n)
    stable = np.asarray(2.0 * inside == poles)
    phase = _unwrapped(t_c, t[c_rows, c_cols], turns[c_rows, c_cols])
    # With an unstable open loop a forward turn is what closing the loop needs: there only the distance counts.
    plain = np.pi - np.abs(np.angle(t_c))
    margin = np.where(poles[c_rows] == 0, np.pi - np.abs(phase), np.where(stable[c_rows], plain, -plain))
    f_g, t_g, rows = f_g[really], t_g[really], rows[really]

    least, f_cross = _least(margin, f_c, c_rows, n)
    at_axis = -t_g.real
    up = 1.0 / at_axis
    most, f_gain = _least(np.where(at_axis < 1.0, up, np.inf), np.where(at_axis < 1.0, f_g, np.nan), rows, n)
    fall, _ = _least(np.where(at_axis >= 1.0, -up, 0.0), f_g, rows, n)
    modulus, f_modulus = _nearest(gain, which, f, re, im)
    # Between coarse samples a crossing may lie nearer than where the chords led: it is known exactly, so it counts too.
    for at, where, of in ((t_c, f_c, c_rows), (t_g, f_g, rows)):
        there, f_there = _least(np.abs(1.0 + at), where, of, n)
        modulus, f_modulus = np.where(there < modulus, there, modulus), np.where(there < modulus, f_there, f_modulus)
    return Margins(
        f_cross=f_cross,
        phase=least,
        f_gain=f_gain,
        gain=most,
        gain_down=np.where(np.isfinite(fall), np.abs(fall), 0.0),
        modulus=modulus,
        f_modulus=f_modulus,
        crossings=np.bincount(c_rows, minlength=n).astype(float),
        stable=stable,
    )


def _axis(re: Floats, im: Floats, rows: Any, cols: Any) -> Floats:
    x_1, x_2, y_1, y_2 = re[rows, cols], re[rows, cols + 1], im[rows, cols], im[rows, cols + 1]
    return np.asarray((x_1 * y_2 - x_2 * y_1) / (y_2 - y_1))


def _log_size(t: Complexes) -> Floats:
    return np.log(t.real**2 + t.imag**2)


def _imaginary(t: Complexes) -> Floats:
    return np.asarray(t.imag / np.abs(t))


def _crossings(
    gain: Gain, which: slice, f: Floats, y: Floats, rows: Any, cols: Any, of: Callable[[Complexes], Floats]
) -> tuple[Floats, Complexes, Any, Any]:
    """Return frequency, gain, row and column of every zero of `of`: those between samples of unlike sign, then pairs.

    A pair hides between samples of like sign: there `y` turns back shortly before zero, so the turning point is tried.
    """
    here, left, right = y[:, 1:-1], y[:, :-2], y[:, 2:]
    with np.errstate(invalid="ignore"):
        near = (np.abs(here) < _NEAR) & (here * left > 0.0) & (here * right > 0.0)
        near &= (np.abs(here) < np.abs(left)) & (np.abs(here) < np.abs(right))
    h_rows, h_cols = np.nonzero(near)
    x_1, x_2 = np.log(f[cols]), np.log(f[cols + 1])
    if len(h_rows):
        h_rows, x = _turned(gain, which, f, h_rows, h_cols + 1, of)
        lower = np.clip(np.searchsorted(f, np.exp(x)) - 1, 0, len(f) - 2)
        rows, cols = np.concatenate([rows, h_rows, h_rows]), np.concatenate([cols, lower, lower])
        x_1, x_2 = np.concatenate([x_1, np.log(f[lower]), x]), np.concatenate([x_2, x, np.log(f[lower + 1])])
    f_0, t_0 = _narrow(gain, which, rows, x_1, x_2, of)
    return f_0, t_0, rows, cols


def _turned(
    gain: Gain, which: slice, f: Floats, rows: Any, cols: Any, of: Callable[[Complexes], Floats]
) -> tuple[Any, Floats]:
    """Return rows and log f of those turning points near samples that lie beyond zero: parabolas, closing in."""

    def at(x: Floats) -> Floats:
        return of(np.asarray(gain(np.exp(x)[:, None], rows + which.start), dtype=complex).reshape(-1))

    x = [np.log(f[cols + j]) for j in (-1, 0, 1)]
    y = [at(one) for one in x]
    sign = np.where(y[1] > 0.0, 1.0, -1.0)
    y = [one * sign for one in y]
    for _ in range(_PARABOLAS):
        left, right = (x[1] - x[0]) * (y[1] - y[2]), (x[1] - x[2]) * (y[1] - y[0])
        down = np.where(left == right, np.inf, left - right)
        new = np.clip(x[1] - 0.5 * ((x[1] - x[0]) * left - (x[1] - x[2]) * right) / down, x[0], x[2])
        found = at(new) * sign
        lower, before = found < y[1], new < x[1]
        x, y = (
            [
                np.where(before, np.where(lower, p[0], q), np.where(lower, p[1], p[0])),
                np.where(lower, q, p[1]),
                np.where(before, np.where(lower, p[1], p[2]), np.where(lower, p[2], q)),
            ]
            for p, q in ((x, new), (y, found))
        )
    beyond = y[1] < 0.0
    return rows[beyond], x[1][beyond]


def _narrow(
    gain: Gain, which: slice, rows: Any, x_1: Floats, x_2: Floats, of: Callable[[Complexes], Floats]
) -> tuple[Floats, Complexes]:
    """Return where `of` is zero inside each bracket and the gain there: false position, Illinois form, in log f."""
    points = rows + which.start

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
    """Return the least |1 + T| and its frequency: the best sample, then along chords."""
    row = np.arange(len(re))
    square = (1.0 + re) ** 2 + im**2
    k = np.argmin(square, axis=1)
    x, t = np.log(f[k]), re[row, k] + 1j * im[row, k]
    least, x_least = np.sqrt(square[row, k]), x
    side = np.where(square[row, np.minimum(k + 1, len(f) - 1)] < square[row, k - 1], 1, -1)
    side = np.where(k == 0, 1, np.where(k == len(f) - 1, -1, side))
    x_0, t_0 = np.log(f[k + side]), re[row, k + side] + 1j * im[row, k + side]
    low, high = np.log(f[np.maximum(k - 1, 0)]), np.log(f[np.minimum(k + 1, len(f) - 1)])
    for _ in range(_CHORDS):
        way = t - t_0
        size = way.real**2 + way.imag**2
        share = np.where(size > 0.0, (way.conj() * (-1.0 - t)).real / np.where(size > 0.0, size, 1.0), 0.0)
        x_0, t_0, x = x, t, np.clip(x + share * (x - x_0), low, high)
        t = np.asarray(gain(np.exp(x)[:, None], row + which.start), dtype=complex).reshape(-1)
        there = np.abs(1.0 + t)
        better = there < least
        least, x_least = np.where(better, there, least), np.where(better, x, x_least)
    return least, np.exp(x_least)

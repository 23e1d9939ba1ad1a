"""The modes of a circuit as arrays for the event loop, made when first met: one matrix per mode and step length.

Steps are the period over powers of two. The finest is short against every time constant, so that a Taylor series there
is exact to rounding; each coarser one is the square of the one before, kept as exp(A·h) − 1 so that nothing is lost.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.circuit._assembly import Floats, Mode, mode_of
from chargewright.circuit._layout import Layout
from chargewright.circuit._monitors import Monitor, comparator_rows, monitors_of

SHORT = 0.5
"""Greatest product of the finest step and the fastest rate: 14 terms of the series then leave 1e-16."""
TERMS = 14
LEAP = 2.0
"""Greatest product of a known interval and the fastest rate that is taken in one step."""
MOST_LEVELS = 48
MOST_MODES = 4_000_000


@dataclass(slots=True)
class Tables:
    """Arrays over modes (grown as modes are met); the event loop reads nothing else."""

    layout: Layout
    leaps: Floats
    """Intervals between the known gate edges [s]."""
    index: np.ndarray = field(default_factory=lambda: np.zeros(0, np.int64))
    """Mode number by key; -1 where a mode has not been met."""
    modes: list[Mode] = field(default_factory=list)
    monitors: list[list[Monitor]] = field(default_factory=list)
    columns: Floats = field(default_factory=lambda: np.zeros(0))
    phi: Floats = field(default_factory=lambda: np.zeros(0))
    finest: np.ndarray = field(default_factory=lambda: np.zeros(0, np.int64))
    coarsest: np.ndarray = field(default_factory=lambda: np.zeros(0, np.int64))
    leap: Floats = field(default_factory=lambda: np.zeros(0))
    leap_ok: np.ndarray = field(default_factory=lambda: np.zeros(0, np.bool_))
    rows: Floats = field(default_factory=lambda: np.zeros(0))
    dots: Floats = field(default_factory=lambda: np.zeros(0))
    steps: np.ndarray = field(default_factory=lambda: np.zeros(0, np.int64))
    watched: np.ndarray = field(default_factory=lambda: np.zeros(0, np.int64))

    def add(self, key: int) -> int:
        """Assemble a mode that is met for the first time; return its number."""
        mode = mode_of(self.layout, key)
        number, n = len(self.modes), self.layout.n
        watch = monitors_of(mode)
        self.modes.append(mode)
        self.monitors.append(watch)
        if number == 0:
            most = sum(d.size + 2 for d in self.layout.digits) + len(self.layout.circuit.gated) + 2
            self._allocate(16, n, most)
        elif number == len(self.columns):
            self._grow()
        rates = np.linalg.eigvals(mode.a)
        if not np.all(np.isfinite(rates)):
            raise NoSolution(
                "a mode of the circuit has a rate without bound; look for an inductance or capacitance near 0"
            )
        period = self.layout.circuit.period
        fastest, ringing = float(np.max(np.abs(rates))), float(np.max(np.abs(rates.imag)))
        finest = max(2, math.ceil(math.log2(max(fastest * period / SHORT, 1.0))))
        if finest >= MOST_LEVELS:
            raise NoSolution(
                f"a time constant of {1.0 / fastest:.1e} s cannot be told from zero beside the period of {period:.1e}"
                " s; give the smallest inductance or capacitance a value a circuit can have, or leave the element out"
            )
        coarsest = min(finest, max(0, math.ceil(math.log2(max(ringing * period, 1.0)))))
        self.columns[number], self.finest[number], self.coarsest[number] = mode.a.T, finest, coarsest
        self.phi[number, coarsest : finest + 1] = ladder(mode.a, period, finest)[coarsest:].transpose(0, 2, 1)
        for j, h in enumerate(self.leaps):
            self.leap_ok[number, j] = fastest * h <= LEAP
            self.leap[number, j] = exponential(mode.a, float(h)).T
        for k, w in enumerate(watch):
            self.rows[number, :, k], self.dots[number, :, k] = w.row, w.row @ mode.a
            self.steps[number, k] = w.step, w.after
        for k, row in enumerate(comparator_rows(mode), start=len(watch)):
            self.rows[number, :, k] = row
        self.watched[number] = len(watch)
        self.index[key] = number
        return number

    def _allocate(self, room: int, n: int, most: int) -> None:
        self.index = np.full(self.layout.modes, -1, np.int64)
        self.columns = np.zeros((room, n, n))
        self.phi = np.zeros((room, MOST_LEVELS, n, n))
        self.finest, self.coarsest, self.watched = (np.zeros(room, np.int64) for _ in range(3))
        self.leap = np.zeros((room, len(self.leaps), n, n))
        self.leap_ok = np.zeros((room, len(self.leaps)), np.bool_)
        self.rows, self.dots = np.zeros((room, n, most)), np.zeros((room, n, most))
        self.steps = np.zeros((room, most, 2), np.int64)

    def _grow(self) -> None:
        names = ("columns", "phi", "finest", "coarsest", "watched", "leap", "leap_ok", "rows", "dots", "steps")
        for name in names:
            old = getattr(self, name)
            setattr(self, name, np.concatenate([old, np.zeros_like(old)]))


def tables_of(layout: Layout, leaps: Floats) -> Tables:
    """Return empty tables; raises OutOfRange for a circuit with more modes than can be told apart."""
    if layout.modes > MOST_MODES:
        raise OutOfRange(
            f"the circuit can be in {layout.modes} modes, more than {MOST_MODES}: use fewer bends or fewer loops"
        )
    return Tables(layout, leaps)


def ladder(a: Floats, period: float, finest: int) -> Floats:
    """Return exp(a·period/2^k) for k = 0 … finest."""
    found = np.empty((finest + 1, *a.shape))
    less_one = _series(a * (period / 2.0**finest))
    for level in range(finest, -1, -1):
        found[level] = less_one
        less_one = 2.0 * less_one + less_one @ less_one
    return found + np.eye(len(a))


def exponential(a: Floats, h: float) -> Floats:
    """Return exp(a·h) by scaling and squaring of exp − 1."""
    size = float(np.max(np.abs(np.linalg.eigvals(a)))) * h
    halvings = max(0, math.ceil(math.log2(max(size / SHORT, 1.0))))
    less_one = _series(a * (h / 2.0**halvings))
    for _ in range(halvings):
        less_one = 2.0 * less_one + less_one @ less_one
    return np.asarray(less_one + np.eye(len(a)))


def _series(small: Floats) -> Floats:
    term = small.copy()
    total = term.copy()
    for k in range(2, TERMS + 4):
        term = term @ small / k
        total += term
    return total

"""Means, ripple, rms, losses and the energy balance of a run, from the exact flow inside each segment.

Integrals take Gauss points inside each segment, on panels that are short against the circuit's rates: eight points
integrate what an exponential does there to rounding. Extremes are found among these points and the segments' ends and
refined on the exact flow.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from chargewright.base.errors import OutOfRange
from chargewright.circuit._assembly import Floats
from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import (
    Capacitor,
    Coil,
    Drain,
    Element,
    PowerLoad,
    Quantity,
    Resistor,
    Source,
    i_of,
    v_of,
)
from chargewright.circuit.flow import states_at
from chargewright.circuit.run import Run

POINTS, WEIGHTS = (a.copy() for a in np.polynomial.legendre.leggauss(8))
PANEL = 3.0
"""Longest panel times the fastest rate that is alive in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A stretch of whole periods with its integration points: segment, time after its beginning, weight [s]."""

    run: Run
    first: int
    last: int
    segment: np.ndarray
    after: Floats
    weight: Floats
    mode: np.ndarray
    x: Floats
    _rows: dict[tuple[Quantity, int], Floats] = field(default_factory=dict)

    @property
    def duration(self) -> float:
        """Length of the window [s]."""
        return (self.last - self.first) * self.run.circuit.period

    def of(self, q: Quantity) -> Floats:
        """Return a quantity at every integration point."""
        return _values(self, q, self.mode, self.x)

    def mean(self, q: Quantity) -> float:
        """Return the mean of a quantity over the window."""
        return float(self.weight @ self.of(q)) / self.duration

    def rms(self, q: Quantity) -> float:
        """Return the root mean square of a quantity over the window."""
        return float(np.sqrt(self.weight @ self.of(q) ** 2 / self.duration))

    def product(self, p: Quantity, q: Quantity) -> float:
        """Return the mean of a product, such as a power."""
        return float(self.weight @ (self.of(p) * self.of(q))) / self.duration

    def per_cycle(self, q: Quantity) -> Floats:
        """Return the mean of a quantity over each period of the window."""
        number = self.run.cycle[self.segment] - self.first
        sums = np.bincount(number, weights=self.weight * self.of(q), minlength=self.last - self.first)
        return np.asarray(sums / self.run.circuit.period)

    def extremes(self, q: Quantity) -> tuple[float, float]:
        """Return the least and the greatest value of a quantity in the window."""
        low, high = self._extreme(q, -1.0), self._extreme(q, 1.0)
        return -low, high

    def ripple(self, q: Quantity) -> float:
        """Return the peak-to-peak value of a quantity in the window."""
        low, high = self.extremes(q)
        return high - low

    def _extreme(self, q: Quantity, sign: float) -> float:
        """Return the greatest of sign·q: the best point, then ever finer instants around it."""
        inside = np.unique(self.segment)
        ends = np.concatenate([inside, inside])
        after = np.concatenate([np.zeros(len(inside)), self.run.length[inside]])
        segment, times = np.concatenate([self.segment, ends]), np.concatenate([self.after, after])
        x = np.concatenate([self.x, states_at(self.run, ends, after)])
        found = sign * _values(self, q, self.run.mode[segment], x)
        best = int(np.argmax(found))
        s, centre, span = int(segment[best]), float(times[best]), float(self.run.length[segment[best]]) / 8.0
        top = float(found[best])
        for _ in range(8):
            near = np.clip(centre + span * np.linspace(-1.0, 1.0, 17), 0.0, self.run.length[s])
            many = np.full(len(near), s)
            values = sign * _values(self, q, self.run.mode[many], states_at(self.run, many, near))
            centre, top = float(near[int(np.argmax(values))]), max(top, float(np.max(values)))
            span /= 8.0
        return top


def window(run: Run, first: int | None = None, last: int | None = None) -> Window:
    """Return periods first … last of a run, ready for integrals; all of it by default."""
    begins = int(run.cycle[0])
    lo = begins if first is None else first
    hi = begins + run.cycles if last is None else last
    if not begins <= lo < hi <= begins + run.cycles:
        raise OutOfRange(f"periods {lo} to {hi} are not within the run, which has {begins} to {begins + run.cycles}")
    inside = np.flatnonzero((run.cycle >= lo) & (run.cycle < hi) & (run.length > 0.0))
    rates = [_rates(run, m) for m in range(len(run.tables.modes))]
    edges = [_panels(float(run.length[k]), *rates[int(run.mode[k])]) for k in inside]
    panels = np.array([len(e) - 1 for e in edges])
    start = np.repeat(np.concatenate([e[:-1] for e in edges]), len(POINTS))
    width = np.repeat(np.concatenate([np.diff(e) for e in edges]), len(POINTS))
    segment = np.repeat(inside, panels * len(POINTS))
    after = start + 0.5 * width * (1.0 + np.tile(POINTS, int(np.sum(panels))))
    weight = 0.5 * width * np.tile(WEIGHTS, int(np.sum(panels)))
    x = states_at(run, segment, after)
    return Window(run=run, first=lo, last=hi, segment=segment, after=after, weight=weight, mode=run.mode[segment], x=x)


def _rates(run: Run, mode: int) -> tuple[float, float]:
    """Return the fastest rate of a mode and the fastest at which it rings [1/s]."""
    rates = np.linalg.eigvals(run.tables.modes[mode].a)
    return float(np.max(np.abs(rates))), float(np.max(np.abs(rates.imag)))


def _panels(length: float, fastest: float, ringing: float) -> Floats:
    """Return the edges of a segment's panels [s].

    The first is short against the fastest rate; each later one is as long as all before it, because what is faster than
    that has died away by then; none is long against the ringing.
    """
    most = length if ringing == 0.0 else min(length, PANEL / ringing)
    edges = [0.0, min(most, PANEL / fastest) if fastest > 0.0 else most]
    while edges[-1] < length:
        edges.append(min(edges[-1] + min(edges[-1], most), length))
    edges[-1] = length
    return np.array(edges)


def _values(w: Window, q: Quantity, mode: np.ndarray, x: Floats) -> Floats:
    found = np.empty(len(mode))
    for m in np.unique(mode):
        here = mode == m
        row = w._rows.get((q, int(m)))
        if row is None:
            row = w._rows[q, int(m)] = w.run.tables.modes[int(m)].row(q)
        found[here] = x[here] @ row
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Energies:
    """Where the energy of a window went, all as mean power [W]; a loss is positive, as everywhere."""

    sources: dict[str, float]
    """What each source gave."""
    loads: dict[str, float]
    losses: dict[str, float]
    stored: float
    """What coils and capacitors took up."""

    @property
    def unaccounted(self) -> float:
        """What is left over; zero to rounding."""
        given, taken = sum(self.sources.values()), sum(self.loads.values()) + sum(self.losses.values())
        return given - taken - self.stored

    @property
    def turnover(self) -> float:
        """All power that changed hands, to judge the rest by."""
        every = [*self.sources.values(), *self.loads.values(), *self.losses.values()]
        return 0.5 * sum(abs(p) for p in every)


def energies(w: Window) -> Energies:
    """Return where the energy went, by element; the control is left out."""

    def taken(e: Coil | Capacitor) -> float:
        return (stored_energy(w.run, e, w.last) - stored_energy(w.run, e, w.first)) / w.duration

    return balance(w.run.circuit, lambda e: w.product(v_of(e.name), i_of(e.name)), taken)


def balance(
    circuit: Circuit, power: Callable[[Element], float], taken: Callable[[Coil | Capacitor], float]
) -> Energies:  # fmt: skip
    """Sort the elements' powers [W] into sources, loads and losses; `taken` is what a coil or capacitor took up."""
    sources: dict[str, float] = {}
    loads: dict[str, float] = {}
    losses: dict[str, float] = {}
    stored = 0.0
    for e in circuit.elements:
        if e.name in circuit.signals:
            continue
        if isinstance(e, Coil | Capacitor):
            if isinstance(e, Capacitor) and e.cell:
                sources[e.name] = -taken(e)
            else:
                stored += taken(e)
            continue
        if isinstance(e, Source):
            sources[e.name] = -power(e)
        elif isinstance(e, Drain | PowerLoad) or (isinstance(e, Resistor) and e.load):
            loads[e.name] = power(e)
        else:
            losses[e.name] = power(e)
    return Energies(sources=sources, loads=loads, losses=losses, stored=stored)


def stored_energy(run: Run, e: Element, cycle: int) -> float:
    """Return the energy [J] in a coil or capacitor at the start of a period."""
    if not isinstance(e, Coil | Capacitor):
        return 0.0
    x = run.end.x if cycle >= run.cycle[0] + run.cycles else run.x[int(np.searchsorted(run.cycle, cycle))]
    return energy_in(e, float(x[run.tables.layout.states[e.name]]))


def energy_in(e: Coil | Capacitor, x: float) -> float:
    """Return the energy [J] in a coil or capacitor at a current or voltage: ∫ x·(l or c) dx over its pieces."""
    value = abs(x) if isinstance(e, Coil) else x
    first = e.l if isinstance(e, Coil) else e.c
    edges = [0.0, *(at for at, _ in e.bends)]
    total, base = 0.0, 0.0
    for k, size in enumerate([first, *(s for _, s in e.bends)]):
        top = edges[k + 1] if k + 1 < len(edges) else value
        upto = min(value, top) if k + 1 < len(edges) else value
        if upto > base or k == 0:
            total += 0.5 * size * (upto**2 - base**2)
            base = upto
    return total

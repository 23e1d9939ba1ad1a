"""Run a circuit in time: segments of one mode each, exact in between."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from chargewright.base.compiled import compiled_bare, numba_module
from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.circuit import _clock_kernel, _kernel
from chargewright.circuit._assembly import Floats
from chargewright.circuit._checks import check
from chargewright.circuit._clock_kernel import Drive
from chargewright.circuit._kernel import Book, Desk, Tape, desk_of
from chargewright.circuit._layout import Layout, layout_of, level_of, tripped
from chargewright.circuit._tables import Tables, tables_of
from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import Capacitor, Coil, PassSwitch, Wave

CHUNK = 20_000
"""Segments that one call of the event loop may write."""
MOST_SEGMENTS = 20_000_000
COMPILE_FROM = 600
"""Periods from which on the compiled loop pays for its start-up."""


@dataclass(slots=True, kw_only=True)
class Moment:
    """The circuit at one instant: all that is needed to go on from there."""

    x: Floats
    ints: np.ndarray
    floats: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What happened: where each segment began, in which mode, with which state."""

    circuit: Circuit
    tables: Tables
    cycle: np.ndarray
    tau: Floats
    """Instant in the period at which the segment begins [s]."""
    mode: np.ndarray
    x: Floats
    end: Moment
    length: Floats
    """Of each segment [s]."""

    @property
    def cycles(self) -> int:
        """Periods from the beginning to the end of the run."""
        return int(self.end.ints[_clock_kernel.CYCLE]) - (int(self.cycle[0]) if len(self.cycle) else 0)

    @property
    def t(self) -> Floats:
        """Instant at which each segment begins [s]."""
        return np.asarray(self.cycle * self.circuit.period + self.tau)


@dataclass(slots=True)
class Engine:
    """A circuit with the tables of its modes, ready for any number of runs."""

    circuit: Circuit
    layout: Layout
    tables: Tables
    drive: Drive
    compiled: bool | None = None
    """Whether the event loop is compiled; None lets the number of periods decide."""
    _tape: Tape | None = field(default=None, repr=False)
    _desk: Desk | None = field(default=None, repr=False)

    def beginning(self) -> Moment:
        """Return the circuit at its start: coils and capacitors as given, every gate as it is just after the clock."""
        x = np.zeros(self.layout.n)
        for e in self.circuit.elements:
            if isinstance(e, Coil | Capacitor):
                x[self.layout.states[e.name]] = e.start
            elif isinstance(e, PassSwitch):
                x[self.layout.states[e.name]] = e.gate_start
        x[self.layout.states["one"]] = 1.0
        ints = np.zeros(_clock_kernel.PENDING + _clock_kernel.LEGS, np.int64)
        floats = np.zeros(_clock_kernel.PENDING_TAU + _clock_kernel.LEGS)
        ints[_clock_kernel.PENDING :] = -1
        ints[_clock_kernel.KEY] = _first_key(self.layout)
        for leg in range(self.drive.legs):
            _clock_kernel.begin_pulse(self.drive, leg, ints, floats)
        return Moment(x=x, ints=ints, floats=floats)

    def advance(self, moment: Moment, cycles: int) -> Run:
        """Run `cycles` periods on from a moment at the start of a period; the moment itself is left as it is."""
        loop = self._loop(cycles)
        ints, floats, x = moment.ints.copy(), moment.floats.copy(), moment.x.copy()
        until = int(ints[_clock_kernel.CYCLE]) + cycles
        pieces: list[tuple[np.ndarray, ...]] = []
        written = 0
        while True:
            tape = self._tape_of()
            ints[_clock_kernel.SEGMENTS] = 0
            book = self._book()
            why = loop(book, self.drive, x, ints, floats, until, tape, self._desk_of())
            k = int(ints[_clock_kernel.SEGMENTS])
            pieces.append((tape.cycle[:k].copy(), tape.tau[:k].copy(), tape.mode[:k].copy(), tape.x[:k].copy()))
            written += k
            if why == _kernel.DONE:
                break
            if why == _kernel.NEED_MODE:
                self.tables.add(int(ints[_clock_kernel.KEY]))
            elif why != _kernel.FULL or written > MOST_SEGMENTS:
                raise self._trouble(why, ints, floats)
        cycle, tau, mode, states = (np.concatenate([p[j] for p in pieces]) for j in range(4))
        begins = cycle * self.circuit.period + tau
        length = np.diff(begins, append=until * self.circuit.period)
        same = np.diff(cycle, append=until) == 0
        length[:-1] = np.where(same[:-1], np.diff(tau), self.circuit.period - tau[:-1])
        if len(length):
            length[-1] = self.circuit.period - tau[-1]
        return Run(circuit=self.circuit, tables=self.tables, cycle=cycle, tau=tau, mode=mode, x=states,
                   end=Moment(x=x, ints=ints, floats=floats), length=length)  # fmt: skip

    def _loop(self, cycles: int) -> Any:
        wanted = cycles >= COMPILE_FROM if self.compiled is None else self.compiled
        return (
            compiled_bare(_kernel.advance_periods) if wanted and numba_module() is not None else _kernel.advance_periods
        )

    def _tape_of(self) -> Tape:
        if self._tape is None:
            self._tape = Tape(np.zeros(CHUNK, np.int64), np.zeros(CHUNK), np.zeros(CHUNK, np.int64),
                              np.zeros((CHUNK, self.layout.n)))  # fmt: skip
        return self._tape

    def _desk_of(self) -> Desk:
        if self._desk is None:
            self._desk = desk_of(self.layout.n, self.tables.rows.shape[2])
        return self._desk

    def _book(self) -> Book:
        t = self.tables
        if not t.modes:
            t.add(_first_key(self.layout))
        matrices = (t.columns, t.phi, t.finest, t.coarsest, t.leaps, t.leap, t.leap_ok)
        return Book(t.index, *matrices, t.rows, t.dots, t.steps, t.watched)

    def _trouble(self, why: int, ints: np.ndarray, floats: Floats) -> NoSolution:
        t = ints[_clock_kernel.CYCLE] * self.circuit.period + floats[_clock_kernel.TAU]
        if why == _kernel.BROKEN:
            return NoSolution(
                f"at {t:.6e} s a current or voltage grew without bound; look for an unstable loop or load"
            )
        if why == _kernel.FULL:
            return NoSolution(f"at {t:.6e} s the run had more than {MOST_SEGMENTS} events: run fewer periods at once")
        number = self.tables.index[ints[_clock_kernel.KEY]]
        names = sorted({m.what for m in self.tables.monitors[number]}) if number >= 0 else []
        return NoSolution(
            f"at {t:.6e} s the circuit chatters: more than {_kernel.MOST_EVENTS} events in one period, no mode of it"
            f" holds, or one rings too fast to follow; among {', '.join(names) or 'its gates'}."
            " Look for a comparator without hysteresis or a limit at a limit."
        )


def engine_of(circuit: Circuit, *, compiled: bool | None = None) -> Engine:
    """Check a circuit and make it ready to run; raises OutOfRange and NoSolution with words."""
    check(circuit)
    layout = layout_of(circuit)
    drive, leaps = _drive(circuit, layout)
    return Engine(circuit, layout, tables_of(layout, leaps), drive, compiled)


def run(
    circuit: Circuit, *, cycles: int | None = None, t_end: float | None = None, compiled: bool | None = None
) -> Run:
    """Run a circuit from its start for a number of periods, or until `t_end` [s] (the next whole period)."""
    if (cycles is None) == (t_end is None):
        raise OutOfRange("say how long to run: either a number of periods or an end time")
    n = int(np.ceil((t_end or 0.0) / circuit.period - 1e-9)) if cycles is None else cycles
    if n < 1:
        raise OutOfRange(f"a run needs at least one period; {n} were asked for")
    engine = engine_of(circuit, compiled=compiled)
    return engine.advance(engine.beginning(), n)


def _first_key(layout: Layout) -> int:
    circuit = layout.circuit
    bits = _bits(circuit)
    on = {event.switch: event.on for event in circuit.timeline if event.t == 0.0}
    for gate in circuit.gates:
        at_clock = gate.on == 0.0 or gate.on > gate.off
        on[gate.switch] = at_clock and gate.on != gate.off
    held = sum(layout.place(t).stride * tripped(t) for t in circuit.trips if t.held)
    return held + sum(bits[switch] for switch, closed in on.items() if closed)


def _bits(circuit: Circuit) -> dict[str, int]:
    return {s.name: 1 << k for k, s in enumerate(circuit.gated)}


def _drive(circuit: Circuit, layout: Layout) -> tuple[Drive, Floats]:
    bits = _bits(circuit)
    edges = []
    for gate in circuit.gates:
        if gate.on != gate.off:
            always = gate.on == 0.0 and gate.off == 1.0
            if not always:  # what ends with the period ends at the next one's beginning
                edges.append((gate.on * circuit.period, bits[gate.switch]))
                edges.append((gate.off % 1.0 * circuit.period, -bits[gate.switch]))
    edges.sort()
    breaks = [(e.t, -1, float(bits[e.switch] if e.on else -bits[e.switch]), 0.0) for e in circuit.timeline]
    for e in circuit.elements:
        wave = level_of(e)
        if isinstance(wave, Wave):
            breaks += [(t, layout.states[e.name], v, s) for t, v, s in _legs(wave)]
    breaks.sort(key=lambda b: b[0])
    m = circuit.modulator
    drive = Drive(
        float(circuit.period),
        np.array([t for t, _ in edges], dtype=float),
        np.array([b for _, b in edges], dtype=np.int64),
        np.array([b[0] for b in breaks], dtype=float),
        np.array([b[1] for b in breaks], dtype=np.int64),
        np.array([b[2] for b in breaks], dtype=float),
        np.array([b[3] for b in breaks], dtype=float),
        layout.states["ramp"] if m else -1,
        len(layout.legs),
        _two([bits[leg.main] for leg in layout.legs]),
        _two([bits[leg.sync] for leg in layout.legs]),
        _two([layout.place(leg).stride for leg in layout.legs]),
        float(m.dead) if m else 0.0,
        layout.place(m.skip).stride if m and m.skip else 0,
    )
    instants = np.unique(np.concatenate([[0.0, circuit.period], drive.edge_tau]))
    known = set(np.diff(instants).tolist()) | ({m.dead} if m and m.dead > 0.0 else set())
    return drive, np.array([*sorted(known - {circuit.period}), circuit.period])


def _two(found: list[int]) -> tuple[int, int]:
    """Return what the legs have as a pair; what is missing is never read."""
    one, other = [*found, 0, 0][:2]
    return one, other


def _legs(wave: Wave) -> list[tuple[float, float, float]]:
    """Return (instant, value, slope from there on) of a wave; only the last of points at one instant counts."""
    points = wave.points
    found = []
    for k, (t, v) in enumerate(points):
        if k + 1 < len(points) and points[k + 1][0] == t:
            continue
        slope = (points[k + 1][1] - v) / (points[k + 1][0] - t) if k + 1 < len(points) else 0.0
        found.append((t, v, slope))
    return found

"""The averaged circuit's tables: one exact mode for each pattern of the gates and each direction of the coil's current.

A period is a row of stretches, each with one pattern of the gates. The body diodes beside the driven switches follow
the coil's current within the period, so their digits belong to the pattern: current forwards, backwards, or none (both
diodes open, the coil cut off). All other digits - a wire's diode, a bend, a selection - hold for the whole period and
make the `frame`, which ends when one of their rows, as a mean over the period, crosses zero.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise, product

import numpy as np

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.circuit._assembly import Floats, Mode, inductance, mode_of
from chargewright.circuit._averaged_book import COIL, FIRST_SLOPE, IDLE, PLUS, Book, Indices
from chargewright.circuit._averaged_shares import pulse_of
from chargewright.circuit._layout import Layout
from chargewright.circuit._monitors import Monitor, comparator_rows, monitors_of
from chargewright.circuit._tables import MOST_MODES
from chargewright.circuit.circuit import Circuit, Gate
from chargewright.circuit.elements import GROUND, Coil, Diode, Element, Resistor, Switch

PROBE = 1e-3
"""Current [A] that is sent through the coil to see which body diodes take it."""
CUT = 1e3
"""Resistance [Ω] from which on a coil's loop counts as open."""
SMALL = 1e-3
"""Coil current below which it counts as none, over the current that 1 V builds up in one period."""
FASTEST = 2.0**48
"""Greatest rate of a mode times the period that can be told from one without bound."""
MOST_FLIPS = 50


@dataclass(slots=True)
class Frames:
    """What is known of the circuit so far; frames are added as they are met."""

    layout: Layout
    coil: Coil | None
    """The coil that the driven switches feed; None where there is none or more than one."""
    patterns: tuple[int, ...]
    """Bits of the driven switches. For each stretch of the fixed gates 3 or, with two legs, 9: each leg open, main,
    other; the first leg counts first."""
    edges: Floats
    """Instants over the period between which the fixed gates stand still, from 0 to 1."""
    driven: int
    """Bits of all driven switches."""
    diodes: tuple[int, ...]
    """Strides of the stage's own diodes, and of the pulses."""
    gates: int
    """Keys below this are of gates alone."""
    keys: list[int] = field(default_factory=list)
    """Slow key of each frame."""
    watch: list[list[Monitor]] = field(default_factory=list)
    _exact: dict[int, Mode] = field(default_factory=dict)
    _ends: dict[int, list[Monitor]] = field(default_factory=dict)
    _own: dict[int, list[Monitor]] = field(default_factory=dict)
    _numbers: dict[tuple[int, bool], int] = field(default_factory=dict)
    modes: list[Mode] = field(default_factory=list)
    _a: list[Floats] = field(default_factory=list)
    _watched: list[list[Monitor]] = field(default_factory=list)
    _rows: list[Floats] = field(default_factory=list)
    _frames: list[dict[str, np.ndarray]] = field(default_factory=list)
    _book: Book | None = None
    _frame_of: Indices | None = None

    def slow(self, key: int) -> int:
        """Return a key without the gates and diodes of the stage."""
        for stride in self.diodes:
            key -= stride * (key // stride % 2)
        return key & ~self.driven

    def add(self, slow: int, x: Floats) -> int:
        """Make the frame of a slow key that is met for the first time, at a state; return its number."""
        count = len(self.patterns)
        mode, one_way = np.zeros((count, 3), np.int64), np.zeros(count, np.bool_)
        functionals: dict[int, int] = {}
        column = np.zeros((count, 2), np.int64)
        place = 0 if self.coil is None else self.layout.states[self.coil.name]
        for p, bits in enumerate(self.patterns):
            keys = [slow + bits] * 3
            if self.coil is not None:
                keys[:2] = [self._settled(slow + bits, x, place, sign) for sign in (1.0, -1.0)]
                idle = self._idle(slow + bits)
                one_way[p] = self._cut(idle)
                keys[IDLE] = idle if one_way[p] else keys[0]
            for c, key in enumerate(keys):
                mode[p, c] = self._number(key, c == IDLE and bool(one_way[p]))
                if c < IDLE and self.coil is not None:
                    column[p, c] = functionals.setdefault(int(mode[p, c]), len(functionals) + FIRST_SLOPE)
        u = np.zeros((FIRST_SLOPE + 2 * count, self.layout.n))
        u[COIL, place] = 1.0
        for number, k in functionals.items():
            u[k] = self._a[number][place]
        for leg in range(len(self.layout.legs)):
            u[leg] = comparator_rows(self.modes[mode[pulse_of(leg, len(self.layout.legs)), PLUS]])[leg]
        watch = self._watched[mode[0, PLUS]]
        steps = np.array([(w.step, w.after) for w in watch], dtype=np.int64).reshape(-1, 2)
        skip = self.layout.circuit.modulator.skip if self.layout.circuit.modulator else None
        held = bool(skip and self.layout.digit(slow, skip))
        self._frames.append({"mode": mode, "one_way": one_way, "column": column, "u": u, "steps": steps,
                             "used": np.array(FIRST_SLOPE + len(functionals)), "held": np.array(held)})  # fmt: skip
        if self._frame_of is None:
            self._frame_of = np.zeros(self.layout.modes, np.int64)
        self.keys.append(slow)
        self._frame_of[slow] = len(self.keys)
        self.watch.append(watch)
        self._book = None
        return len(self.keys) - 1

    def book(self) -> Book:
        """Return all of it as arrays."""
        if self._book is None:
            self._book = self._made()
        return self._book

    def _made(self) -> Book:
        circuit, frames = self.layout.circuit, self._frames
        number = self._frame_of
        assert number is not None, "a book is made of frames"
        most = max(len(f["steps"]) for f in frames) + 1
        rows = np.zeros((len(self._a), self.layout.n, most))
        for k, some in enumerate(self._rows):
            rows[k, :, : len(some)] = some.T
        steps = np.zeros((len(frames), most, 2), np.int64)
        for k, f in enumerate(frames):
            steps[k, : len(f["steps"])] = f["steps"]
        m, coil = circuit.modulator, self.coil
        return Book(
            number=number, a=np.array([a.T for a in self._a]), rows=rows, steps=steps,
            watched=np.array([len(f["steps"]) for f in frames], np.int64),
            mode=np.array([f["mode"] for f in frames]), column=np.array([f["column"] for f in frames]),
            one_way=np.array([f["one_way"] for f in frames]), u=np.array([f["u"].T for f in frames]),
            used=np.array([int(f["used"]) for f in frames], np.int64), edges=self.edges, period=circuit.period,
            held=np.array([bool(f["held"]) for f in frames]),
            height=m.slope * circuit.period if m else 0.0, dead=m.dead / circuit.period if m else 0.0,
            legs=len(self.layout.legs), coil=self.layout.states[coil.name] if coil else 0, with_coil=coil is not None,
            small=SMALL * circuit.period / coil.l if coil else 0.0,
        )  # fmt: skip

    def _mode(self, key: int) -> Mode:
        if key not in self._exact:
            self._exact[key] = mode_of(self.layout, key)
        return self._exact[key]

    def _number(self, key: int, cut: bool) -> int:
        if (key, cut) in self._numbers:
            return self._numbers[key, cut]
        mode = self._without_current(key) if cut else self._mode(key)
        a = mode.a.copy()
        if "ramp" in self.layout.states:
            a[self.layout.states["ramp"]] = 0.0
        fastest = _fastest(a, FASTEST / self.layout.circuit.period)
        if fastest * self.layout.circuit.period > FASTEST:
            raise NoSolution(
                f"a time constant of {1.0 / fastest:.1e} s cannot be told from zero beside the period of"
                f" {self.layout.circuit.period:.1e} s; give the smallest inductance or capacitance a value a circuit"
                " can have, or leave the element out"
            )
        self._numbers[key, cut] = len(self._a)
        self._a.append(a)
        self.modes.append(mode)
        ends = monitors_of(mode) if cut else self._ends_of(key)
        self._watched.append([w for w in ends if not self._of_stage(w)])
        rows = [w.row for w in self._watched[-1]]
        self._rows.append(np.array(rows) if rows else np.zeros((0, self.layout.n)))
        return self._numbers[key, cut]

    def _without_current(self, key: int) -> Mode:
        """Return a mode whose coil is cut off at rest: it carries the leakage that leaves it without voltage."""
        assert self.coil is not None, "only a stage with a coil is cut off"
        exact, place = self._mode(key), self.layout.states[self.coil.name]
        leak = -exact.a[place] / exact.a[place, place]
        leak[place] = 0.0
        a, y = exact.a + np.outer(exact.a[:, place], leak), exact.y + np.outer(exact.y[:, place], leak)
        a[place], a[:, place], y[:, place] = 0.0, 0.0, 0.0
        return Mode(self.layout, key, a, y)

    def _ends_of(self, key: int) -> list[Monitor]:
        if key not in self._ends:
            self._ends[key] = monitors_of(self._mode(key))
        return self._ends[key]

    def _of_stage(self, w: Monitor) -> bool:
        size = abs(w.step)
        return bool(size & self.driven) if size < self.gates else size in self.diodes

    def _mine(self, key: int) -> list[Monitor]:
        """Return the rows of the stage's own diodes in a mode."""
        if key not in self._own:
            self._own[key] = [w for w in self._ends_of(key) if self._of_stage(w)]
        return self._own[key]

    def _settled(self, key: int, x: Floats, place: int, sign: float) -> int:
        """Return the key in which the stage's own diodes carry a coil current of this sign."""
        probe = x.copy()
        probe[place] = sign * PROBE
        for _ in range(MOST_FLIPS):
            mine = self._mine(key)
            values = [float(w.row @ probe) for w in mine]
            if not values or min(values) >= -1e-9 * (1.0 + float(np.max(np.abs(probe)))):
                break
            key += mine[int(np.argmin(values))].step
        return key

    def _idle(self, key: int) -> int:
        for k, s in enumerate(self.layout.circuit.gated):
            if isinstance(s, Switch) and s.emulate and self.driven >> k & 1:
                key &= ~(1 << k)
        return key

    def _cut(self, key: int) -> bool:
        if self.coil is None:
            return False
        place = self.layout.states[self.coil.name]
        return bool(-self._mode(key).a[place, place] * inductance(self.layout, key, self.coil) > CUT)


def _fastest(a: Floats, most: float) -> float:
    """Return the greatest rate of a mode, or a bound of it where that is below `most` [1/s]."""
    if not np.all(np.isfinite(a)):
        return np.inf
    bound = float(np.max(np.sum(np.abs(a), axis=1)))
    return bound if bound < most else float(np.max(np.abs(np.linalg.eigvals(a))))


def frames_of(layout: Layout) -> Frames:
    """Return empty tables of a circuit; raises OutOfRange for one with more modes than can be told apart."""
    if layout.modes > MOST_MODES:
        raise OutOfRange(
            f"the circuit can be in {layout.modes} modes, more than {MOST_MODES}: use fewer bends or fewer loops"
        )
    circuit = layout.circuit
    bits = {s.name: 1 << k for k, s in enumerate(circuit.gated)}
    legs = layout.legs
    driven = {g.switch for g in circuit.gates} | {name for leg in legs for name in (leg.main, leg.sync)}
    edges = sorted({0.0, 1.0} | {t for g in circuit.gates if g.on != g.off for t in (g.on, g.off)})
    patterns = []
    for begin, end in pairwise(edges):
        fixed = sum(bits[g.switch] for g in circuit.gates if _is_on(g, 0.5 * (begin + end)))
        patterns += [fixed + sum(way) for way in product(*([0, bits[leg.main], bits[leg.sync]] for leg in legs))]
    coil, switches = _stage_of(circuit, driven)
    diodes = [d.stride for d in layout.digits if isinstance(d.element, Diode)
              and any({d.element.a, d.element.b} == {s.a, s.b} for s in switches)]  # fmt: skip
    diodes += [layout.place(leg).stride for leg in legs]
    mask = sum(bits[name] for name in driven | ({s.name for s in switches} - _timed(circuit)))
    gates = 2 ** len(circuit.gated)
    return Frames(layout, coil, tuple(patterns), np.array(edges), mask, tuple(diodes), gates)


def _timed(circuit: Circuit) -> set[str]:
    return {event.switch for event in circuit.timeline}


def _is_on(gate: Gate, at: float) -> bool:
    if gate.on == gate.off:
        return False
    return gate.on <= at < gate.off if gate.on < gate.off else at >= gate.on or at < gate.off


def _stage_of(circuit: Circuit, driven: set[str]) -> tuple[Coil | None, list[Switch]]:
    """Return the one coil that driven switches feed, and all switches at its ends."""
    found = []
    for coil in circuit.elements:
        if isinstance(coil, Coil):
            switches = [s for end in (coil.a, coil.b) for s in _switches_at(circuit, coil, end)]
            if any(s.name in driven for s in switches):
                found.append((coil, switches))
    return found[0] if len(found) == 1 else (None, [])


def _switches_at(circuit: Circuit, coil: Coil, node: str) -> list[Switch]:
    """Return the switches at a node that has nothing but switches and diodes beside the coil (or its resistance)."""
    came: Element = coil
    while True:
        others = [e for e in _touching(circuit, node) if e is not came]
        if len(others) == 1 and isinstance(others[0], Resistor):
            came = others[0]
            node = came.b if came.a == node else came.a
            continue
        if node == GROUND or not all(isinstance(e, Switch | Diode) for e in others):
            return []
        return [e for e in others if isinstance(e, Switch)]


def _touching(circuit: Circuit, node: str) -> Iterator[Element]:
    return (e for e in circuit.elements if node in (e.a, e.b))

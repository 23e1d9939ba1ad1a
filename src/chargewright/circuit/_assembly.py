"""One mode of a circuit as matrices: node equations solved for x' = A·x and for every voltage and current."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import NoSolution
from chargewright.circuit._layout import (
    CHANNEL,
    CUT,
    FOLLOWS,
    HOLDS,
    WAITS,
    Layout,
    SetsVoltage,
    level_of,
)
from chargewright.circuit.circuit import Leg, Skip
from chargewright.circuit.elements import (
    GROUND,
    Amplifier,
    Capacitor,
    Coil,
    Diode,
    Drain,
    Element,
    Follower,
    Lowest,
    PassSwitch,
    PowerLoad,
    Quantity,
    Resistor,
    Source,
    Switch,
    Wave,
    v_node,
)

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]
SINGULAR = 1e-14
"""Reciprocal condition of scaled node equations below which they have no answer worth the name."""


@dataclass(frozen=True, slots=True)
class Mode:
    """x' = a·x, and the rows that give node voltages and branch currents from x."""

    layout: Layout
    key: int
    a: Floats
    y: Floats

    def row(self, quantity: Quantity) -> Floats:
        """Return the row that gives a quantity from the state vector."""
        return _row(self.layout, self.key, self.y, quantity)


def mode_of(layout: Layout, key: int) -> Mode:
    """Assemble and solve the node equations of one mode; raises NoSolution where they have no single answer."""
    blank = _blank_of(layout)
    y = _unknowns(layout, blank, key)
    a, one = np.zeros((layout.n, layout.n)), layout.states["one"]
    mode = Mode(layout, key, a, y)
    a[blank.coils] = _rows_at(y, blank.ends[0]) - _rows_at(y, blank.ends[1])
    a[blank.coils] /= np.array([[inductance(layout, key, e)] for e in blank.wound]).reshape(-1, 1)
    a[blank.capacitors] = y[blank.currents]
    a[blank.capacitors] /= np.array([[capacitance(layout, key, e)] for e in blank.charged]).reshape(-1, 1)
    for e in blank.rest:
        if isinstance(e, PassSwitch):
            a[layout.states[e.name]] = _gate_rate(mode, e)
        elif isinstance(level_of(e), Wave):
            a[layout.states[e.name], layout.states[e.name] + 1] = 1.0
    for trip in layout.circuit.trips:
        if layout.digit(key, trip) in (WAITS, HOLDS):
            a[layout.states[trip.name], one] = 1.0
    if layout.circuit.modulator is not None:
        a[layout.states["ramp"], one] = layout.circuit.modulator.slope
    return mode


@dataclass(frozen=True, slots=True)
class Blank:
    """Node equations with the elements that are the same in every mode; the others; and where rates are found.

    The unknowns are in two groups: what senses, amplifies and selects, and the rest, which feels nothing of that. Each
    group is solved once for each set of its own digits.
    """

    m: Floats
    rhs: Floats
    groups: tuple["Group", "Group"]
    wound: tuple[Coil, ...]
    coils: Whole
    """Places of coils among the states, and of the nodes at their ends (-1 for ground)."""
    ends: tuple[Whole, Whole]
    charged: tuple[Capacitor, ...]
    capacitors: Whole
    currents: Whole
    """Places of the capacitors' currents among the unknowns."""
    rest: tuple[Element, ...]
    """Elements with a state of another kind."""


@dataclass(frozen=True, slots=True)
class Group:
    """Unknowns that are solved together, the elements among them that depend on the mode, and what is solved."""

    unknowns: Whole
    others: tuple[Element, ...]
    foreign: tuple[tuple[int, int], ...]
    """Strides and sizes of the digits that this group feels nothing of; the gates count as one digit."""
    solved: dict[int, tuple[Floats, Floats]] = field(default_factory=dict)


def _unknowns(layout: Layout, blank: Blank, key: int) -> Floats:
    """Return every node voltage and branch current as a row over the state vector."""
    y = np.zeros_like(blank.rhs)
    for group in blank.groups:
        if not len(group.unknowns):
            continue
        own = key - sum(key // stride % size * stride for stride, size in group.foreign)
        if own not in group.solved:
            group.solved[own] = _group_solved(layout, blank, group, key)
        by_states, by_others = group.solved[own]
        # The first group's part of `y` is still zero when it is solved itself.
        y[group.unknowns] = by_states + by_others @ y
    return y


def _group_solved(layout: Layout, blank: Blank, group: Group, key: int) -> tuple[Floats, Floats]:
    """Return a group's unknowns as rows over the state vector and over the unknowns of the group before it."""
    m, rhs = blank.m.copy(), blank.rhs.copy()
    for e in group.others:
        _put(layout, key, m, rhs, e)
    mine = group.unknowns
    inverse = _inverse(m[np.ix_(mine, mine)])
    coupled = -m[mine]
    coupled[:, mine] = 0.0
    return inverse @ rhs[mine], inverse @ coupled


def _groups_of(layout: Layout) -> tuple[Group, Group]:
    """Part the unknowns: the islands of nodes in which something senses, amplifies or selects come second."""
    elements = layout.circuit.elements
    island = {node: node for node in layout.nodes}

    def root(node: str) -> str:
        while island[node] != node:
            island[node] = node = island[island[node]]
        return node

    for e in elements:
        if GROUND not in (e.a, e.b):
            island[root(e.a)] = root(e.b)
    senses = {
        root(n) for e in elements if isinstance(e, Amplifier | Follower | Lowest) for n in (e.a, e.b) if n != GROUND
    }

    def second(e: Element) -> bool:
        return any(root(n) in senses for n in (e.a, e.b) if n != GROUND)

    apart = [second(e) for e in elements]
    place = [root(node) in senses for node in layout.nodes]
    place += [second(layout.circuit.element(name)) for name in layout.branches]
    others = [(e, behind) for e, behind in zip(elements, apart, strict=True) if _changes(layout, e)]
    # What senses the current of something that changes feels that as well.
    open_ended = any(behind and not isinstance(e, Lowest | Diode) for e, behind in others)
    behind_them = {id(e) for e, behind in zip(elements, apart, strict=True) if behind}
    drive, first_own, second_own = [], [], []
    for d in layout.digits:
        if isinstance(d.element, Leg | Skip):
            drive.append((d.stride, d.size))
        elif id(d.element) in behind_them:
            second_own.append((d.stride, d.size))
        else:
            first_own.append((d.stride, d.size))
    gates = (1, 2 ** len(layout.circuit.gated))
    mine, rest = np.flatnonzero(~np.array(place, bool)), np.flatnonzero(np.array(place, bool))
    return (
        Group(mine, tuple(e for e, behind in others if not behind), (*second_own, *drive)),
        Group(rest, tuple(e for e, behind in others if behind), () if open_ended else (*first_own, *drive, gates)),
    )


def _blank_of(layout: Layout) -> Blank:
    if not layout.blank:
        size = len(layout.nodes) + len(layout.branches)
        m, rhs = np.zeros((size, size)), np.zeros((size, layout.n))
        for e in layout.circuit.elements:
            if not _changes(layout, e):
                _put(layout, 0, m, rhs, e)
        layout.blank.append(_with_rates(layout, m, rhs))
    found: Blank = layout.blank[0]
    return found


def _with_rates(layout: Layout, m: Floats, rhs: Floats) -> Blank:
    elements, states = layout.circuit.elements, layout.states
    wound = tuple(e for e in elements if isinstance(e, Coil))
    charged = tuple(e for e in elements if isinstance(e, Capacitor))

    def node(name: str) -> int:
        return -1 if name == GROUND else layout.nodes[name]

    def places(found: list[int]) -> Whole:
        return np.array(found, dtype=np.int64)

    return Blank(
        m=m, rhs=rhs, groups=_groups_of(layout), wound=wound, charged=charged,
        coils=places([states[e.name] for e in wound]),
        ends=(places([node(e.a) for e in wound]), places([node(e.b) for e in wound])),
        capacitors=places([states[e.name] for e in charged]),
        currents=places([layout.branches[e.name] for e in charged]),
        rest=tuple(e for e in elements if isinstance(e, PassSwitch) or isinstance(level_of(e), Wave)),
    )  # fmt: skip


def _rows_at(y: Floats, nodes: Whole) -> Floats:
    """Return the rows of nodes' voltages; zero for ground."""
    return np.where((nodes < 0)[:, None], 0.0, y[nodes])


def _changes(layout: Layout, e: Element) -> bool:
    """Return whether what an element gives to the node equations depends on the mode."""
    if isinstance(e, Amplifier | Follower):
        sensed = [layout.circuit.element(q.name) for _, q in e.terms if q.kind == "current"]
        return any(_changes(layout, other) for other in sensed)
    return isinstance(e, Switch | PassSwitch | Diode | Lowest | PowerLoad)


def _put(layout: Layout, key: int, m: Floats, rhs: Floats, e: Element) -> None:
    """Put one element into the node equations."""
    one = layout.states["one"]
    conductance, offset = straight_line(layout, key, e)
    if conductance is not None:
        _stamp(layout, m, e, conductance)
        _inject(layout, rhs, e, one, offset)
    elif isinstance(e, Coil):
        _inject(layout, rhs, e, layout.states[e.name], 1.0)
    elif isinstance(e, Drain):
        _inject(layout, rhs, e, *_level(layout, e))
    elif isinstance(e, Amplifier):
        column, value = _level(layout, e)
        _inject(layout, rhs, e, column, -e.gm * value)
        for gain, quantity in e.terms:
            of_y, of_x = _expression(layout, key, quantity)
            _inject_rows(layout, m, rhs, e, e.gm * gain * of_y, e.gm * gain * of_x)
    elif isinstance(e, PassSwitch):
        _inject_rows(layout, m, rhs, e, *_follows(layout, key, e))
    elif isinstance(e, SetsVoltage):
        _voltage_equation(layout, key, m, rhs, e)


def inductance(layout: Layout, key: int, e: Coil) -> float:
    """Return a coil's inductance [H] on its present piece."""
    piece = abs(layout.digit(key, e) - len(e.bends)) if e.bends else 0
    return e.bends[piece - 1][1] if piece else e.l


def capacitance(layout: Layout, key: int, e: Capacitor) -> float:
    """Return a capacitor's capacitance [F] on its present piece."""
    piece = layout.digit(key, e) if e.bends else 0
    return e.bends[piece - 1][1] if piece else e.c


def straight_line(layout: Layout, key: int, e: Element) -> tuple[float | None, float]:
    """Return conductance [S] and constant current [A] of an element whose current follows from its voltage."""
    if isinstance(e, Resistor):
        return 1.0 / e.r, 0.0
    if isinstance(e, Switch):
        return 1.0 / (e.r_on if layout.is_on(key, e) else e.r_off), 0.0
    if isinstance(e, PassSwitch):
        piece = layout.digit(key, e)
        if piece == CUT:
            return 0.0, 0.0
        return (1.0 / e.r_on, 0.0) if piece == CHANNEL else (None, 0.0)
    if isinstance(e, Diode):
        on = layout.digit(key, e)
        return (1.0 / e.r_on, -e.v_f / e.r_on) if on else (0.0, 0.0)
    if isinstance(e, PowerLoad):
        piece = layout.digit(key, e) if len(e.chords) > 1 else 0
        if piece == 0:
            return e.p / e.chords[0] ** 2, 0.0
        low, high = e.chords[piece - 1], e.chords[piece]
        slope = (e.p / high - e.p / low) / (high - low)
        return slope, e.p / low - slope * low
    return None, 0.0


def _follows(layout: Layout, key: int, e: PassSwitch) -> tuple[Floats, Floats]:
    """Return the current of a pass switch that follows its gate, as rows over the unknowns and the state vector."""
    of_y = np.zeros(len(layout.nodes) + len(layout.branches))
    of_x = np.zeros(layout.n)
    forward = layout.digit(key, e) == FOLLOWS
    sign, side = (1.0, e.b) if forward else (-1.0, e.a)
    if side != GROUND:
        of_y[layout.nodes[side]] = -sign / e.r_follow
    of_x[layout.states[e.name]] = sign / e.r_follow
    return of_y, of_x


def _gate_rate(mode: Mode, e: PassSwitch) -> Floats:
    """Return the row that gives the rate of a pass switch's gate level."""
    layout = mode.layout
    own = np.zeros(layout.n)
    own[layout.states[e.name]] = 1.0
    unit = np.zeros(layout.n)
    unit[layout.states["one"]] = 1.0
    if not layout.is_on(mode.key, e):
        return np.asarray((mode.row(v_node(e.b)) - e.threshold * unit - own) / e.t_fall)
    if layout.digit(mode.key, e) != CHANNEL:
        return e.slew * unit
    return np.asarray((mode.row(v_node(e.a)) + e.drive * unit - own) * (e.slew / e.drive))


def _level(layout: Layout, e: Source | Drain | Amplifier) -> tuple[int, float]:
    """Return the column of what an element imposes, and the factor."""
    level = level_of(e)
    if isinstance(level, Wave):
        return layout.states[e.name], 1.0
    return layout.states["one"], float(level or 0.0)


def _stamp(layout: Layout, m: Floats, e: Element, conductance: float) -> None:
    for node, sign in ((e.a, 1.0), (e.b, -1.0)):
        if node != GROUND:
            for other, other_sign in ((e.a, 1.0), (e.b, -1.0)):
                if other != GROUND:
                    m[layout.nodes[node], layout.nodes[other]] += sign * other_sign * conductance


def _inject(layout: Layout, rhs: Floats, e: Element, column: int, current: float) -> None:
    """Add a current from a to b that is proportional to one state; the sum of currents out of a node is zero."""
    for node, sign in ((e.a, -1.0), (e.b, 1.0)):
        if node != GROUND:
            rhs[layout.nodes[node], column] += sign * current


def _inject_rows(layout: Layout, m: Floats, rhs: Floats, e: Element, of_y: Floats, of_x: Floats) -> None:
    for node, sign in ((e.a, 1.0), (e.b, -1.0)):
        if node != GROUND:
            m[layout.nodes[node]] += sign * of_y
            rhs[layout.nodes[node]] -= sign * of_x


def _voltage_equation(layout: Layout, key: int, m: Floats, rhs: Floats, e: SetsVoltage) -> None:
    own = layout.branches[e.name]
    one = layout.states["one"]
    for node, sign in ((e.a, 1.0), (e.b, -1.0)):
        if node != GROUND:
            m[layout.nodes[node], own] += sign
            m[own, layout.nodes[node]] += sign
    if isinstance(e, Capacitor):
        rhs[own, layout.states[e.name]] = 1.0
    elif isinstance(e, Source):
        column, value = _level(layout, e)
        rhs[own, column] = value
    elif isinstance(e, Follower):
        rhs[own, one] = e.offset
        for gain, quantity in e.terms:
            of_y, of_x = _expression(layout, key, quantity)
            m[own] -= gain * of_y
            rhs[own] += gain * of_x
    else:
        digit, ways = layout.digit(key, e), len(e.inputs)
        if digit < ways:
            m[own, layout.nodes[e.inputs[digit]]] -= 1.0
        else:
            rhs[own, one] = e.low if digit < 2 * ways else e.high


def _row(layout: Layout, key: int, y: Floats, q: Quantity) -> Floats:
    """Return the row that gives a quantity from the state vector, for solved unknowns."""
    if q.kind == "node":
        return _at(layout, y, q.name)
    e = layout.circuit.element(q.name)
    if q.kind == "current":
        if e.name in layout.branches:
            return np.array(y[layout.branches[e.name]])
        conductance, offset = straight_line(layout, key, e)
        if conductance is None:
            of_y, of_x = _expression(layout, key, q)
            return np.asarray(of_y @ y + of_x)
        found = conductance * (_at(layout, y, e.a) - _at(layout, y, e.b))
        found[layout.states["one"]] += offset
        return found
    return _at(layout, y, e.a) - _at(layout, y, e.b)


def _at(layout: Layout, y: Floats, node: str) -> Floats:
    """Return the row of a node's voltage."""
    return np.zeros(layout.n) if node == GROUND else np.array(y[layout.nodes[node]])


def _expression(layout: Layout, key: int, q: Quantity) -> tuple[Floats, Floats]:
    """Return a quantity as rows over the unknowns and over the state vector."""
    of_y = np.zeros(len(layout.nodes) + len(layout.branches))
    of_x = np.zeros(layout.n)
    if q.kind == "node":
        if q.name != GROUND:
            of_y[layout.nodes[q.name]] = 1.0
        return of_y, of_x
    e = layout.circuit.element(q.name)
    for node, sign in ((e.a, 1.0), (e.b, -1.0)):
        if node != GROUND:
            of_y[layout.nodes[node]] += sign
    if q.kind == "voltage":
        return of_y, of_x
    conductance, offset = straight_line(layout, key, e)
    if conductance is not None:
        of_x[layout.states["one"]] = offset
        return conductance * of_y, of_x
    of_y[:] = 0.0
    if e.name in layout.branches:
        of_y[layout.branches[e.name]] = 1.0
    elif isinstance(e, Coil):
        of_x[layout.states[e.name]] = 1.0
    elif isinstance(e, PassSwitch):
        return _follows(layout, key, e)
    elif isinstance(e, Drain):
        column, value = _level(layout, e)
        of_x[column] = value
    return of_y, of_x


def _inverse(m: Floats) -> Floats:
    # Conductances run from 1e-6 to 1e3 S, so rows are scaled before the condition is judged.
    scale = np.max(np.abs(m), axis=1)
    words = (
        "the node equations of the circuit have no single answer: a loop of capacitors or sources without any"
        " resistance, or a node that hangs on coils alone. Give the capacitor its ESR, or the node a resistance."
    )
    if not np.all(np.isfinite(m)) or np.any(scale == 0.0):
        raise NoSolution(words)
    try:
        inverse = np.linalg.inv(m / scale[:, None])
    except np.linalg.LinAlgError:
        raise NoSolution(words) from None
    size = np.max(np.sum(np.abs(inverse), axis=1)) * np.max(np.sum(np.abs(m / scale[:, None]), axis=1))
    if not np.isfinite(size) or size > 1.0 / SINGULAR:
        raise NoSolution(words)
    return np.asarray(inverse / scale[None, :], dtype=float)

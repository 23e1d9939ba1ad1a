"""One mode of a circuit as matrices: node equations solved for x' = A·x and for every voltage and current."""

from dataclasses import dataclass

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
from chargewright.circuit.elements import (
    GROUND,
    Amplifier,
    Capacitor,
    Coil,
    Diode,
    Drain,
    Element,
    Follower,
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
        of_y, of_x = _expression(self.layout, self.key, quantity)
        return np.asarray(of_y @ self.y + of_x, dtype=float)


def mode_of(layout: Layout, key: int) -> Mode:
    """Assemble and solve the node equations of one mode; raises NoSolution where they have no single answer."""
    size = len(layout.nodes) + len(layout.branches)
    m = np.zeros((size, size))
    rhs = np.zeros((size, layout.n))
    one = layout.states["one"]
    for e in layout.circuit.elements:
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
    y = _solved(m, rhs)
    a = np.zeros((layout.n, layout.n))
    mode = Mode(layout, key, a, y)
    for e in layout.circuit.elements:
        if isinstance(e, Coil):
            a[layout.states[e.name]] = mode.row(Quantity(kind="voltage", name=e.name)) / inductance(layout, key, e)
        elif isinstance(e, Capacitor):
            a[layout.states[e.name]] = mode.row(Quantity(kind="current", name=e.name)) / capacitance(layout, key, e)
        elif isinstance(e, PassSwitch):
            a[layout.states[e.name]] = _gate_rate(mode, e)
        elif isinstance(level_of(e), Wave):
            a[layout.states[e.name], layout.states[e.name] + 1] = 1.0
    for trip in layout.circuit.trips:
        if layout.digit(key, trip) in (WAITS, HOLDS):
            a[layout.states[trip.name], one] = 1.0
    if layout.circuit.modulator is not None:
        a[layout.states["ramp"], one] = layout.circuit.modulator.slope
    return mode


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


def _solved(m: Floats, rhs: Floats) -> Floats:
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
    return np.asarray(inverse @ (rhs / scale[:, None]), dtype=float)

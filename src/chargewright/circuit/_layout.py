"""Where everything stands: states in the state vector, unknowns in the node equations, digits in the mode's key.

The state vector ends with a constant one, so that a mode is one matrix: x' = A·x. A value in time takes two places,
itself and its slope; a ramp takes one. The key of a mode is a whole number: one bit for each gate, then one digit for
each diode, bend and lowest-wins selection.
"""

from dataclasses import dataclass

from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import (
    GROUND,
    Amplifier,
    Capacitor,
    Coil,
    Diode,
    Drain,
    Element,
    Follower,
    Level,
    Lowest,
    PowerLoad,
    Source,
    Wave,
)

SetsVoltage = Source | Capacitor | Follower | Lowest


@dataclass(frozen=True, slots=True)
class Digit:
    """One element's place in the key."""

    element: Element
    stride: int
    size: int


@dataclass(frozen=True, slots=True)
class Layout:
    """Places of states, unknowns and digits of one circuit."""

    circuit: Circuit
    states: dict[str, int]
    """Coils and capacitors by name; waves by the name of their element (the slope follows); `ramp`; `one`."""
    nodes: dict[str, int]
    branches: dict[str, int]
    """Elements that set a voltage; their currents are unknowns after the nodes."""
    digits: tuple[Digit, ...]
    modes: int
    """How many keys there can be."""

    @property
    def n(self) -> int:
        """Length of the state vector."""
        return self.states["one"] + 1

    def digit(self, key: int, element: Element) -> int:
        """Return an element's digit in a key."""
        d = self.place(element)
        return key // d.stride % d.size

    def place(self, element: Element) -> Digit:
        """Return where an element's digit stands."""
        return next(d for d in self.digits if d.element is element)


def level_of(e: Element) -> Level | None:
    """Return what an element imposes in time, if it imposes anything."""
    if isinstance(e, Source):
        return e.v
    if isinstance(e, Drain):
        return e.i
    return e.reference if isinstance(e, Amplifier) else None


def pieces_of(e: Element) -> int:
    """Return how many straight pieces an element has; 1 for one without a digit."""
    if isinstance(e, Diode):
        return 2
    if isinstance(e, Lowest):
        return 2 * len(e.inputs) + 1
    if isinstance(e, Coil):
        return 2 * len(e.bends) + 1
    if isinstance(e, Capacitor):
        return len(e.bends) + 1
    return len(e.chords) if isinstance(e, PowerLoad) else 1


def layout_of(circuit: Circuit) -> Layout:
    """Give every state, unknown and digit its place."""
    states: dict[str, int] = {}
    for kind in (Coil, Capacitor):
        for e in circuit.elements:
            if isinstance(e, kind):
                states[e.name] = len(states)
    place = len(states)
    for e in circuit.elements:
        if isinstance(level_of(e), Wave):
            states[e.name] = place
            place += 2
    if circuit.modulator is not None:
        states["ramp"] = place
        place += 1
    states["one"] = place
    nodes: dict[str, int] = {}
    for e in circuit.elements:
        for node in (e.a, e.b):
            if node != GROUND:
                nodes.setdefault(node, len(nodes))
    setters = [e.name for e in circuit.elements if isinstance(e, SetsVoltage)]
    branches = {name: len(nodes) + k for k, name in enumerate(setters)}
    stride = 2 ** len(circuit.switches)
    digits = []
    for e in circuit.elements:
        if pieces_of(e) > 1:
            digits.append(Digit(e, stride, pieces_of(e)))
            stride *= pieces_of(e)
    return Layout(circuit, states, nodes, branches, tuple(digits), stride)

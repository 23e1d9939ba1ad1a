"""Where everything stands: states in the state vector, unknowns in the node equations, digits in the mode's key.

The state vector ends with a constant one, so that a mode is one matrix: x' = A·x. A value in time takes two places,
itself and its slope; a ramp takes one. The key of a mode is a whole number: one bit for each gate, then one digit for
each diode, bend, pass switch, lowest-wins selection, modulator's pulse, comparator that skips pulses, and trip.
"""

from dataclasses import dataclass, field
from typing import Any

from chargewright.circuit.circuit import Circuit, Leg, Skip, Trip
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
    PassSwitch,
    PowerLoad,
    Source,
    Switch,
    Wave,
)

SetsVoltage = Source | Capacitor | Follower | Lowest
HasDigit = Element | Leg | Skip | Trip

CUT, FOLLOWS, CHANNEL, FOLLOWS_BACK = range(4)
"""Pieces of a pass switch: open, `b` follows the gate, a resistance, `a` follows it."""
WATCHES, WAITS, HOLDS, HOLDS_ON = range(4)
"""Pieces of a trip: nothing happened, crossed and in its delay, open for a time, open until the quantity falls."""


@dataclass(frozen=True, slots=True)
class Digit:
    """The place in the key of an element or of a part of the drive."""

    element: HasDigit
    stride: int
    size: int


@dataclass(frozen=True, slots=True)
class Layout:
    """Places of states, unknowns and digits of one circuit."""

    circuit: Circuit
    states: dict[str, int]
    """Coils, capacitors and gates of pass switches by name; waves by the name of their element (the slope follows);
    a trip's timer by its name; `ramp`; `one`."""
    nodes: dict[str, int]
    branches: dict[str, int]
    """Elements that set a voltage; their currents are unknowns after the nodes."""
    digits: tuple[Digit, ...]
    modes: int
    """How many keys there can be."""
    legs: tuple[Leg, ...]
    places: dict[int, Digit]
    """Digits by the identity of what they belong to."""
    blank: list[Any] = field(default_factory=list, compare=False, repr=False)
    """What is the same in all of its node equations, once it is made."""

    @property
    def n(self) -> int:
        """Length of the state vector."""
        return self.states["one"] + 1

    def digit(self, key: int, element: HasDigit) -> int:
        """Return an element's digit in a key."""
        d = self.place(element)
        return key // d.stride % d.size

    def place(self, element: HasDigit) -> Digit:
        """Return where an element's digit stands."""
        return self.places[id(element)]

    def is_on(self, key: int, switch: Switch | PassSwitch) -> bool:
        """Return whether a switch is on: its gate is, and no trip holds it open."""
        if not key >> self.circuit.gated.index(switch) & 1:
            return False
        return not any(switch.name in t.holds and self.digit(key, t) >= HOLDS for t in self.circuit.trips)


def level_of(e: Element) -> Level | None:
    """Return what an element imposes in time, if it imposes anything."""
    if isinstance(e, Source):
        return e.v
    if isinstance(e, Drain):
        return e.i
    return e.reference if isinstance(e, Amplifier) else None


def tripped(trip: Trip) -> int:
    """Return the piece of a trip in which it first holds its switches open."""
    return HOLDS if trip.retry is not None else HOLDS_ON


def pieces_of(e: HasDigit) -> int:
    """Return how many straight pieces an element has; 1 for one without a digit."""
    if isinstance(e, Diode | Leg | Skip):
        return 2
    if isinstance(e, PassSwitch | Trip):
        return 4
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
    for kind in (Coil, Capacitor, PassSwitch):
        for e in circuit.elements:
            if isinstance(e, kind):
                states[e.name] = len(states)
    for trip in circuit.trips:
        states[trip.name] = len(states)
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
    m = circuit.modulator
    legs = m.legs if m else ()
    stride = 2 ** len(circuit.gated)
    digits = []
    skip = (m.skip,) if m and m.skip else ()
    for thing in (*circuit.elements, *legs, *skip, *circuit.trips):
        if pieces_of(thing) > 1:
            digits.append(Digit(thing, stride, pieces_of(thing)))
            stride *= pieces_of(thing)
    places = {id(d.element): d for d in digits}
    return Layout(circuit, states, nodes, branches, tuple(digits), stride, legs, places)

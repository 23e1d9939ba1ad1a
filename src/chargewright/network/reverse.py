"""Reverse paths: which routes lead current where it must not go, per state, found from the graph alone.

Three threats are searched: the pack feeding the inlet, the bus feeding the inlet, and the source feeding a pack past
what should hold it back. Every simple route between the two nodes is followed element by element. Closed switches and
resistors conduct both ways, an open switch only along its body diode, and the stage as its legs allow:

    two switches        b to a through the inductor and the body diode of the high switch; a to b only while it switches
    four switches       b to a needs the b-side high switch, a to b the a-side one; behind either, the other's diode

From source to pack a stage at work is held by its control: with its high switch shorted, it no longer is.

What stops a route is listed. A route that one element alone stops is open after a single fault of that element.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from chargewright.network.graph import PowerPath, State, StateKey, Wire, WireKind

Threat = Literal["pack-to-inlet", "bus-to-inlet", "source-to-pack"]
"""What a route threatens: pack or bus feeds the inlet, or the source feeds the pack past what holds it back."""
How = Literal["conducts", "body diode", "converts", "held by control", "open switch"]
"""How a route gets through an element; the last two stop it."""

_STOPS: frozenset[How] = frozenset(("held by control", "open switch"))
_SWITCHES: frozenset[WireKind] = frozenset(("blocking-pair", "battery-switch"))
_PLUGGED: frozenset[WireKind] = frozenset(("source", "cable", "pack"))
"""What is not there at all while a state has it open; what is neither switch nor plugged conducts always."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """One element on a route."""

    element: str
    """Wire key, or place in the stage: "a_high", "b_high", "stage"."""
    name: str
    how: How

    @property
    def stops(self) -> bool:
        """Whether the route ends here as long as this element is sound."""
        return self.how in _STOPS


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """One way from where current may come to where it must not go, in one state."""

    path: str
    state: StateKey
    threat: Threat
    nodes: tuple[str, ...]
    passages: tuple[Passage, ...]

    @property
    def stopped_by(self) -> tuple[Passage, ...]:
        """What stops the route; empty if nothing does but the order of the voltages."""
        return tuple(p for p in self.passages if p.stops)

    @property
    def single_fault(self) -> bool:
        """Whether exactly one element stops the route."""
        return len(self.stopped_by) == 1

    @property
    def diodes(self) -> tuple[Passage, ...]:
        """Body diodes on the route: it conducts only while its start lies above its end by their drops."""
        return tuple(p for p in self.passages if p.how == "body diode")


def reverse_routes(path: PowerPath, state: State) -> tuple[Route, ...]:
    """Return every route of the three threats in a state, stopped or not, in the order of the threats.

    A pack feeds the inlet and a bus feeds the inlet in any state that has them: with no source, contacts that can be
    touched come alive; with one, current flows back when it sags. The way of the charge itself is among the routes
    from source to pack, stopped by the control of the stage.
    """
    ends: list[tuple[Threat, str, str]] = [("bus-to-inlet", path.load_at, "inlet")]
    if state.pack:
        ends.insert(0, ("pack-to-inlet", "cells", "inlet"))
    if state.source and state.pack:
        ends.append(("source-to-pack", "source", "cells"))
    return tuple(
        Route(path=path.key, state=state.key, threat=threat, nodes=nodes, passages=passages)
        for threat, start, end in ends
        for nodes, passages in _routes(path, state, start, end)
    )


def _routes(
    path: PowerPath, state: State, start: str, end: str
) -> Iterator[tuple[tuple[str, ...], tuple[Passage, ...]]]:
    """Yield every route from start to end that meets no node twice."""
    here: list[tuple[tuple[str, ...], tuple[Passage, ...]]] = [((start,), ())]
    while here:
        nodes, passages = here.pop()
        if nodes[-1] == end:
            yield nodes, passages
            continue
        for node, through in _neighbours(path, state, nodes[-1]):
            if node not in nodes:
                here.append(((*nodes, node), passages + through))


def _neighbours(path: PowerPath, state: State, node: str) -> Iterator[tuple[str, tuple[Passage, ...]]]:
    for wire in path.wires:
        if node in (wire.a, wire.b) and not (wire.key in _PLUGGED and wire.key in state.open):
            forward = node == wire.a
            yield (wire.b if forward else wire.a), (_through_wire(state, wire, forward),)
    slot = path.stage
    if node == slot.a:
        yield slot.b, _through_stage(path, state, forward=True)
    elif node == slot.b:
        yield slot.a, _through_stage(path, state, forward=False)


def _through_wire(state: State, wire: Wire, forward: bool) -> Passage:
    how: How = "conducts"
    if wire.key in _SWITCHES and wire.key in state.open:
        along = "a-to-b" if forward else "b-to-a"
        how = "body diode" if wire.diode == along else "open switch"
    elif wire.key == state.linear:
        how = "held by control" if forward else "body diode"
    return Passage(element=wire.key, name=wire.name, how=how)


def _through_stage(path: PowerPath, state: State, *, forward: bool) -> tuple[Passage, ...]:
    """Return how current gets from a to b (`forward`) or back, in the order in which it meets the switches."""
    four = path.stage.legs == "four-switch"
    a_high, b_high = "source-side high switch", "pack-side high switch"
    if state.stage == "through":
        return (_in_stage("a_high", a_high, "conducts"), _in_stage("b_high", b_high, "conducts"))
    if state.stage == "reverse" and not forward:
        return (_in_stage("stage", "stage at work", "converts"),)
    if forward:
        stopped = _in_stage("a_high", a_high, "open switch" if state.stage == "off" else "held by control")
        return (stopped, _in_stage("b_high", b_high, "body diode")) if four else (stopped,)
    back = _in_stage("a_high", a_high, "body diode")
    if not four:
        return (back,)
    return (_in_stage("b_high", b_high, "open switch" if state.stage == "off" else "held by control"), back)


def _in_stage(element: str, name: str, how: How) -> Passage:
    return Passage(element=element, name=name, how=how)

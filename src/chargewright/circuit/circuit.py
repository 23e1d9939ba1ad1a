"""A circuit ready to run: its elements, how its gates are driven, and the names of what matters.

Signs: as everywhere, current into the pack is positive.
"""

from dataclasses import dataclass

from chargewright.base.errors import OutOfRange
from chargewright.circuit.elements import (
    Amplifier,
    Capacitor,
    Coil,
    Diode,
    Drain,
    Element,
    PowerLoad,
    Quantity,
    Resistor,
    Source,
    Switch,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """When a switch is on in each period, as instants over the period [1]; `on` 0 and `off` 1 is always on.

    `off` before `on` means that the pulse runs over the period's end. Equal instants mean never.
    """

    switch: str
    on: float
    off: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Modulator:
    """A comparator that drives one pair of switches: `main` from the clock until the ramp passes the control voltage.

    The compared signal is slope·t + Σ gain·quantity: with no terms this is voltage mode, with a coil or switch current
    among them it is peak-current mode and the slope its compensation.
    """

    main: str
    sync: str
    control: str
    """Node of the control voltage."""
    slope: float
    """Of the ramp [V/s]."""
    dead: float
    """Dead time [s] on both edges."""
    terms: tuple[tuple[float, Quantity], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """A switch set on or off at one instant [s] from the start: plugging, a battery switch, a load that connects.

    A switch with such events is off before the first of them; it has no gate and no part in the modulator.
    """

    switch: str
    t: float
    on: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """Elements and drive of one circuit. `period` is the switching period, or the step of reporting without one."""

    elements: tuple[Element, ...]
    period: float
    gates: tuple[Gate, ...] = ()
    modulator: Modulator | None = None
    signals: frozenset[str] = frozenset()
    """Elements of the control, whose power is none of the power stage's."""
    title: str = "switched circuit"
    timeline: tuple[Timed, ...] = ()
    """Switches set at instants from the start, in any order; of events of one switch at one instant the last counts."""

    @property
    def switches(self) -> tuple[Switch, ...]:
        """The switches in the order of their gates."""
        return tuple(e for e in self.elements if isinstance(e, Switch))

    def element(self, name: str) -> Element:
        """Return an element by its name."""
        for e in self.elements:
            if e.name == name:
                return e
        raise OutOfRange(f"the circuit has no element called {name}; it has {', '.join(e.name for e in self.elements)}")


def check(circuit: Circuit) -> None:
    """Refuse what has no meaning before anything is computed; raises OutOfRange."""
    names = [e.name for e in circuit.elements]
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        raise OutOfRange(f"element names must differ; given more than once: {', '.join(twice)}")
    if not 0.0 < circuit.period < float("inf"):
        raise OutOfRange(f"the switching period is {circuit.period} s and must be above zero and finite")
    for e in circuit.elements:
        for what, value in _must_be_positive(e):
            if not 0.0 < value < float("inf"):
                raise OutOfRange(f"{what} of {e.name} is {value} and must be above zero and finite")
    for e in circuit.elements:
        for what, value in _must_be_finite(e):
            if not -float("inf") < value < float("inf"):
                raise OutOfRange(f"{what} of {e.name} is {value} and must be finite")
    for gate in circuit.gates:
        if not (0.0 <= gate.on <= 1.0 and 0.0 <= gate.off <= 1.0):
            raise OutOfRange(
                f"the gate of {gate.switch} switches at {gate.on} and {gate.off} of the period, not in 0 to 1"
            )
    driven = [g.switch for g in circuit.gates]
    if circuit.modulator is not None:
        driven += [circuit.modulator.main, circuit.modulator.sync]
        if not 0.0 <= circuit.modulator.dead < circuit.period:
            raise OutOfRange(f"the dead time is {circuit.modulator.dead} s, not below the period {circuit.period} s")
    for name in driven:
        if not isinstance(circuit.element(name), Switch):
            raise OutOfRange(f"{name} has a gate but is no switch")
    timed = {event.switch for event in circuit.timeline}
    for event in circuit.timeline:
        if not isinstance(circuit.element(event.switch), Switch):
            raise OutOfRange(f"{event.switch} is switched at {event.t} s but is no switch")
        if not 0.0 <= event.t < float("inf"):
            raise OutOfRange(f"{event.switch} is switched at {event.t} s; an instant is 0 or later, and finite")
    driven += sorted(timed)
    if sorted(set(driven)) != sorted(driven):
        raise OutOfRange("a switch is driven twice")


def _must_be_positive(e: Element) -> list[tuple[str, float]]:
    if isinstance(e, Resistor):
        return [("the resistance", e.r)]
    if isinstance(e, Coil):
        return [("the inductance", e.l), *(("the inductance", value) for _, value in e.bends)]
    if isinstance(e, Capacitor):
        return [("the capacitance", e.c), *(("the capacitance", value) for _, value in e.bends)]
    if isinstance(e, Switch):
        return [("the on-resistance", e.r_on), ("the off-resistance", e.r_off)]
    if isinstance(e, Diode):
        return [("the resistance", e.r_on)]
    if isinstance(e, PowerLoad):
        return [("the power", e.p), *(("a chord's voltage", v) for v in e.chords)]
    return []


def _must_be_finite(e: Element) -> list[tuple[str, float]]:
    if isinstance(e, Source | Drain | Amplifier):
        what = {Source: "the voltage", Drain: "the current", Amplifier: "the reference"}[type(e)]
        level = e.v if isinstance(e, Source) else e.i if isinstance(e, Drain) else e.reference
        return [(what, level)] if isinstance(level, int | float) else [(what, v) for p in level.points for v in p]
    if isinstance(e, Coil | Capacitor):
        return [("the value at the start", e.start)]
    return [("the forward drop", e.v_f)] if isinstance(e, Diode) else []

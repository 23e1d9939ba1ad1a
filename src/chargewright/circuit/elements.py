"""What a switched circuit is made of: two-terminal elements between named nodes, and the few that carry signals.

Everything is linear, or linear in pieces: a switch is one of two resistances, a diode is open or v = v_f + r·i, a
bent coil or capacitor has a value for each piece of its own current or voltage, a bent load a straight line for each
piece of its voltage. Between two events the circuit is therefore linear and can be solved exactly.

The node `0` is ground. Voltages count from `a` to `b`, currents from `a` through the element to `b`.
"""

from dataclasses import dataclass

GROUND = "0"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wave:
    """A value in time: straight lines between points (t [s], value). Two points at one instant are a step."""

    points: tuple[tuple[float, float], ...]

    @property
    def start(self) -> float:
        """Value at the beginning."""
        return self.points[0][1]


def ramp_to(value: float, duration: float) -> Wave:
    """Return a soft start: from zero to `value` in `duration` [s]."""
    return Wave(points=((0.0, 0.0), (duration, value)))


Level = float | Wave


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """What is sensed or recorded: the voltage of a node, or the current or voltage of an element."""

    kind: str
    """`node`, `current` or `voltage`"""
    name: str


def v_node(node: str) -> Quantity:
    """Return the voltage of a node against ground."""
    return Quantity(kind="node", name=node)


def i_of(element: str) -> Quantity:
    """Return the current through an element, from its `a` to its `b`."""
    return Quantity(kind="current", name=element)


def v_of(element: str) -> Quantity:
    """Return the voltage across an element."""
    return Quantity(kind="voltage", name=element)


@dataclass(frozen=True, slots=True, kw_only=True)
class Resistor:
    """v = r·i. `load` marks what uses the power rather than loses it."""

    name: str
    a: str
    b: str
    r: float
    load: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Coil:
    """di/dt = v/l. `bends` gives (|i| from which on, l) for a coil that saturates, the same for both signs."""

    name: str
    a: str
    b: str
    l: float  # noqa: E741 - the trade's letter for inductance
    start: float = 0.0
    bends: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Capacitor:
    """dv/dt = i/c. `bends` gives (v from which on, c): a capacitor with bends is also a cell's rest voltage."""

    name: str
    a: str
    b: str
    c: float
    start: float = 0.0
    bends: tuple[tuple[float, float], ...] = ()
    cell: bool = False
    """Whether what it stores counts as delivered to a pack rather than stored in the circuit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A voltage from `a` to `b`, constant or in time."""

    name: str
    a: str
    b: str
    v: Level


@dataclass(frozen=True, slots=True, kw_only=True)
class Drain:
    """A current from `a` to `b`, constant or in time."""

    name: str
    a: str
    b: str
    i: Level


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerLoad:
    """A load of constant power, i = p/v, as chords between voltages; below the first it is a resistance."""

    name: str
    a: str
    b: str
    p: float
    chords: tuple[float, ...]
    """Rising voltages [V] between which the current is a straight line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """A resistance that its gate switches; the gates' order is the order of the switches in the circuit."""

    name: str
    a: str
    b: str
    r_on: float
    r_off: float = 1e6
    emulate: bool = False
    """Whether its driver opens it when its current falls through zero, as a diode would."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PassSwitch:
    """A blocking pair (or a pass switch) whose gate driver limits how fast its far side rises.

    On, its gate level climbs at `slew`; the lower of the two sides follows that level, through `r_follow`, with the
    rest of the voltage across the pair, until what is left is the drop of the channel, from where it is `r_on`. It
    conducts both ways, and never more than the gate level allows. From the channel the gate level climbs on to `drive`
    above `a`; a side that then rises faster than the slew by more than that is limited again. Switched off, the gate
    falls with `t_fall` to `threshold` below what `b` needs: the channel holds until its current is more than the gate
    level allows, the current falls, and then both ways are blocked. A single switch has a `Diode` beside it, from `b`
    to `a`.

    Left out: the charge of the gate in detail, so current over gate level is a straight line of slope 1/r_follow where
    a real one bends, and the channel's resistance is the same until it limits; what two dies share of the heat; and
    whether they survive (their safe area), which is judged elsewhere from the energy and the pulse that come out here.
    """

    name: str
    a: str
    b: str
    r_on: float
    slew: float
    """Of the gate, hence of the side that follows it [V/s]."""
    r_follow: float
    """Gate voltage beyond threshold over current while it follows [Ω], at the current that counts; not below `r_on`."""
    drive: float = 5.0
    """Gate drive beyond threshold [V]."""
    threshold: float = 0.0
    """How far a discharged gate is from conducting [V]; over the slew, the time from the driver's start until then."""
    t_fall: float = 0.2e-6
    """Time constant with which the gate is pulled down [s]."""
    start: float | None = None
    """Gate level at the beginning, beyond threshold over ground [V]; None for a discharged gate over an empty bus."""

    @property
    def gate_start(self) -> float:
        """Gate level at the beginning, beyond threshold over ground [V]."""
        return -self.threshold if self.start is None else self.start


@dataclass(frozen=True, slots=True, kw_only=True)
class Diode:
    """Conducts from `a` to `b`: open below v_f, then v = v_f + r_on·i."""

    name: str
    a: str
    b: str
    v_f: float
    r_on: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Follower:
    """Sets the voltage of node `a` to offset + Σ gain·quantity; it draws nothing from what it senses."""

    name: str
    a: str
    terms: tuple[tuple[float, Quantity], ...]
    offset: float = 0.0
    b: str = GROUND


@dataclass(frozen=True, slots=True, kw_only=True)
class Amplifier:
    """Drives the current gm·(reference − Σ gain·quantity) into node `a`."""

    name: str
    a: str
    gm: float
    reference: Level
    terms: tuple[tuple[float, Quantity], ...]
    b: str = GROUND


@dataclass(frozen=True, slots=True, kw_only=True)
class Lowest:
    """Sets the voltage of node `a` to the lowest of the inputs, held between `low` and `high`."""

    name: str
    a: str
    inputs: tuple[str, ...]
    low: float
    high: float
    b: str = GROUND


Element = (
    Resistor
    | Coil
    | Capacitor
    | Source
    | Drain
    | PowerLoad
    | Switch
    | PassSwitch
    | Diode
    | Follower
    | Amplifier
    | Lowest
)

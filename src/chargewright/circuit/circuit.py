"""A circuit ready to run: its elements, how its gates are driven, and the names of what matters.

Signs: as everywhere, current into the pack is positive.
"""

from dataclasses import dataclass, field

from chargewright.base.errors import OutOfRange
from chargewright.circuit.elements import Element, PassSwitch, Quantity, Switch


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """When a switch is on in each period, as instants over the period [1]; `on` 0 and `off` 1 is always on.

    `off` before `on` means that the pulse runs over the period's end. Equal instants mean never.
    """

    switch: str
    on: float
    off: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """A pair of switches on a modulator: `main` is on from the clock until the ramp passes control − offset.

    Where the control voltage is below the offset at the clock there is no pulse and `sync` stays on; where the ramp
    never gets there `main` stays on. Two legs whose offsets are a little less than a ramp's height apart overlap: both
    switch in between; a little more leaves a gap in which neither does.
    """

    main: str
    sync: str
    offset: float = 0.0
    """[V]"""
    terms: tuple[tuple[float, Quantity], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Skip:
    """Pulses that are left out at light load: a comparator with hysteresis holds them back, clock by clock.

    Once Σ gain·quantity falls below `low` no pulse begins, until it passes `high`; a pulse that has begun is ended as
    any other. With no terms the control voltage is what is compared, which its lower clamp must let below `low`: the
    clamp then sets the size of the pulses. The other switch has to emulate a diode.
    """

    low: float
    high: float
    terms: tuple[tuple[float, Quantity], ...] = ()


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
    second: Leg | None = None
    """Another pair on the same ramp and control voltage, as in a stage of four switches."""
    skip: Skip | None = None

    @property
    def legs(self) -> tuple[Leg, ...]:
        """All pairs, the modulator's own first."""
        own = Leg(main=self.main, sync=self.sync, terms=self.terms)
        return (own,) if self.second is None else (own, self.second)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """A protection: once Σ gain·quantity has passed `level`, and `delay` later, it holds switches open.

    It latches at the crossing: the delay is that of a comparator and its driver, not a filter. Without `release` and
    `retry` it stays; with `retry` it lets go after that time [s]; with `release` only once the quantity has fallen
    below that level. What it holds stays open whatever gate or event asks for it, and obeys them again afterwards.
    """

    name: str
    terms: tuple[tuple[float, Quantity], ...]
    level: float
    holds: tuple[str, ...]
    delay: float = 0.0
    release: float | None = None
    retry: float | None = None
    held: bool = False
    """Whether it begins tripped: something that waits until a voltage stands."""


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
    trips: tuple[Trip, ...] = ()
    _gated: list[Switch | PassSwitch] = field(default_factory=list, init=False, repr=False, compare=False)
    _by_name: dict[str, Element] = field(default_factory=dict, init=False, repr=False, compare=False)
    """Both are filled at their first use: every mode of a circuit asks for them many times."""

    @property
    def switches(self) -> tuple[Switch, ...]:
        """The two-valued switches, in the order of the circuit."""
        return tuple(e for e in self.elements if isinstance(e, Switch))

    @property
    def gated(self) -> tuple[Switch | PassSwitch, ...]:
        """Everything that has a gate, in the order of the gates."""
        if not self._gated:
            self._gated.extend(e for e in self.elements if isinstance(e, Switch | PassSwitch))
        return tuple(self._gated)

    def element(self, name: str) -> Element:
        """Return an element by its name."""
        if not self._by_name:
            self._by_name.update({e.name: e for e in self.elements})
        if name in self._by_name:
            return self._by_name[name]
        raise OutOfRange(f"the circuit has no element called {name}; it has {', '.join(e.name for e in self.elements)}")

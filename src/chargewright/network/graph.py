"""A power path as a graph: nodes, wires, one converter stage, and for each state what conducts and what is held.

The same graph is solved (`solve`), drawn (`report`), searched for reverse paths (`reverse`) and ordered into the loss
table, so these cannot disagree. A path is data; a file in `paths/` defines one.

Signs: a wire's current is positive from `a` to `b`; the stage's power is positive from `a` to `b`; current into the
pack is positive.
"""

from dataclasses import dataclass
from typing import Literal

StateKey = Literal[
    "off",
    "source-only",
    "no-pack",
    "flat-pack",
    "charging",
    "shared",
    "supplement",
    "battery",
    "battery-boost",
    "pass-through",
]
STATES: dict[StateKey, str] = {
    "off": "off: nothing draws but the standby current",
    "source-only": "source only: the pack is full and rests",
    "no-pack": "no pack: the source alone carries the system",
    "flat-pack": "flat pack: precharge while the system starts",
    "charging": "charging: the system runs and the pack gets its full current",
    "shared": "shared: the charge is cut back to hold the source inside its limit",
    "supplement": "supplement: the pack helps the source",
    "battery": "battery: the pack alone carries the system",
    "battery-boost": "battery boost: the stage lifts the pack onto the bus",
    "pass-through": "pass-through: the stage stands still and the source goes straight to the bus",
}

WireKind = Literal["source", "cable", "blocking-pair", "sense-source", "sense-charge", "battery-switch", "pack"]
Held = Literal["pack-current", "source-current", "bus-voltage", "stage-current", "nothing"]
StageMode = Literal["forward", "reverse", "off", "through"]
Legs = Literal["buck", "four-switch"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wire:
    """A two-terminal element with a resistance; a switch when some state opens it."""

    key: WireKind
    name: str
    a: str
    b: str
    diode: Literal["", "a-to-b", "b-to-a"] = ""
    """Way in which current gets past an open channel (body diode); a blocking pair has none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StageSlot:
    """Where the converter stage sits. `a` is the source side; a buck needs `a` above `b` in both power directions."""

    a: str
    b: str
    legs: Legs


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """What conducts and what is held in one operating state."""

    key: StateKey
    stage: StageMode
    held: Held
    source: bool
    pack: bool
    open: frozenset[WireKind] = frozenset()
    linear: WireKind | None = None
    """A switch that is worked as a linear pass element and holds the precharge current."""
    fed_from: Literal["a", "b"] = "a"
    """Side that supplies the controller while the stage is off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerPath:
    """One architecture."""

    key: str
    title: str
    idea: str
    """How it works, for a reader who was not in the room; one paragraph."""
    nodes: dict[str, str]
    """Node key to label, in the order of the power flow. Keys `source`, `bus` and `cells` are in every path."""
    wires: tuple[Wire, ...]
    stage: StageSlot
    load_at: str
    states: tuple[State, ...]
    strengths: tuple[str, ...]
    weaknesses: tuple[str, ...]
    narrow: bool
    """Whether the stage sets the bus to the pack (True), or the source goes onto the bus (False)."""
    controller_cost: float
    """Cost index of a controller that can do this; 1 is a buck charger's with its path control (invented)."""

    def state(self, key: StateKey) -> State | None:
        """Return the state, or None if this path does not have it."""
        return next((s for s in self.states if s.key == key), None)

    def wire(self, key: WireKind) -> Wire | None:
        """Return the wire, or None."""
        return next((w for w in self.wires if w.key == key), None)

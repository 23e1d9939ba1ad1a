"""Power stages as circuits: the two-switch and the four-switch stage with source, capacitors, pack and load.

Node names: `source`, `in` (input capacitor), `sw` (two switches) or `swa`, `swb` (four), `coil`, `out` (output
capacitor), `pack`. A switch counts its current along its body diode, so that one that stands in for its diode has a
positive current.
"""

from dataclasses import dataclass

from chargewright.base.errors import OutOfRange
from chargewright.circuit.circuit import Leg, Modulator, Skip
from chargewright.circuit.elements import (
    GROUND,
    Capacitor,
    Coil,
    Diode,
    Drain,
    Element,
    Level,
    Resistor,
    Source,
    Switch,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceSide:
    """A source behind a resistance and an inductance (cable)."""

    v: Level
    r: float
    l: float  # noqa: E741 - the trade's letter for inductance


@dataclass(frozen=True, slots=True, kw_only=True)
class PackSide:
    """A pack: rest voltage, resistance, RC pairs (r, c), and the resistance on the way to it."""

    ocv: float
    r0: float
    pairs: tuple[tuple[float, float], ...] = ()
    r_sense: float | None = None
    i_start: float = 0.0
    """Current at which the RC pairs are settled at the beginning, charge positive [A]."""
    rest: Capacitor | None = None
    """The rest voltage as a capacitor (from node `rest` to ground) where the charge that flows moves it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bank:
    """A capacitor bank with its series resistance, and inductance where it counts."""

    c: float
    esr: float
    start: float
    esl: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchSide:
    """A switch position with its body diode."""

    r_on: float
    v_f: float
    r_d: float
    r_off: float = 1e6
    emulate: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CoilSide:
    """The inductor with its winding resistance."""

    l: float  # noqa: E741 - the trade's letter for inductance
    dcr: float
    start: float = 0.0
    bends: tuple[tuple[float, float], ...] = ()


def source_at(node: str, side: SourceSide) -> tuple[Element, ...]:
    """Return a source with its cable, onto a node."""
    return (
        Source(name="source", a="source", b=GROUND, v=side.v),
        Resistor(name="r_source", a="source", b="cable", r=side.r),
        Coil(name="l_source", a="cable", b=node, l=side.l),
    )


def bank_at(node: str, name: str, bank: Bank) -> tuple[Element, ...]:
    """Return a capacitor bank from a node to ground."""
    if bank.esl > 0.0:
        return (
            Coil(name=f"l_{name}", a=node, b=f"{name}_l", l=bank.esl),
            Resistor(name=f"r_{name}", a=f"{name}_l", b=f"{name}_c", r=bank.esr),
            Capacitor(name=f"c_{name}", a=f"{name}_c", b=GROUND, c=bank.c, start=bank.start),
        )
    return (
        Resistor(name=f"r_{name}", a=node, b=f"{name}_c", r=bank.esr),
        Capacitor(name=f"c_{name}", a=f"{name}_c", b=GROUND, c=bank.c, start=bank.start),
    )


def pack_at(node: str, side: PackSide) -> tuple[Element, ...]:
    """Return a pack onto a node; the current of `r_pack` is positive while it charges."""
    found: list[Element] = []
    at = node
    if side.r_sense is not None:
        found.append(Resistor(name="r_sense", a=node, b="pack", r=side.r_sense))
        at = "pack"
    found.append(Resistor(name="r_pack", a=at, b="pair1" if side.pairs else "rest", r=side.r0))
    for k, (r, c) in enumerate(side.pairs, start=1):
        after = f"pair{k + 1}" if k < len(side.pairs) else "rest"
        found.append(Resistor(name=f"r_pair{k}", a=f"pair{k}", b=after, r=r))
        found.append(Capacitor(name=f"c_pair{k}", a=f"pair{k}", b=after, c=c, start=r * side.i_start))
    if side.rest is not None:
        return (*found, side.rest)
    return (*found, Source(name="cells", a="rest", b=GROUND, v=side.ocv))


def leg(high: SwitchSide, low: SwitchSide, top: str, middle: str, names: tuple[str, str]) -> tuple[Element, ...]:
    """Return a half bridge: `high` from the middle to the top, `low` from ground to the middle, each with its diode."""
    found: list[Element] = []
    for side, name, a, b in ((high, names[0], middle, top), (low, names[1], GROUND, middle)):
        found.append(Switch(name=name, a=a, b=b, r_on=side.r_on, r_off=side.r_off, emulate=side.emulate))
        found.append(Diode(name=f"d_{name}", a=a, b=b, v_f=side.v_f, r_on=side.r_d))
    return tuple(found)


def coil_between(a: str, b: str, side: CoilSide) -> tuple[Element, ...]:
    """Return the inductor with its winding resistance; its current is positive from a to b."""
    return (
        Coil(name="coil", a=a, b="coil_r", l=side.l, start=side.start, bends=side.bends),
        Resistor(name="r_coil", a="coil_r", b=b, r=side.dcr),
    )


def two_switch(
    high: SwitchSide, low: SwitchSide, coil: CoilSide, at_in: Bank, at_out: Bank, *around: tuple[Element, ...]
) -> tuple[Element, ...]:
    """Return a buck from `in` to `out` (or a boost from `out` to `in`) with what is around it."""
    own = leg(high, low, "in", "sw", ("q_high", "q_low"))
    found = own + coil_between("sw", "out", coil) + bank_at("in", "in", at_in) + bank_at("out", "out", at_out)
    return sum(around, found)


def four_switch(
    q: tuple[SwitchSide, SwitchSide, SwitchSide, SwitchSide],
    coil: CoilSide,
    at_in: Bank,
    at_out: Bank,
    *around: tuple[Element, ...],
) -> tuple[Element, ...]:
    """Return the stage of four switches: a_high, a_low at the input; b_low, b_high at the output."""
    own = leg(q[0], q[1], "in", "swa", ("a_high", "a_low")) + leg(q[3], q[2], "out", "swb", ("b_high", "b_low"))
    found = own + coil_between("swa", "swb", coil) + bank_at("in", "in", at_in) + bank_at("out", "out", at_out)
    return sum(around, found)


def both_legs(
    direction: str, *, control: str, ramp: float, period: float, dead: float, overlap: float, skip: Skip | None = None
) -> Modulator:
    """Return the modulator of a stage of four switches, with one control voltage for both legs.

    From 0 up the control voltage first lengthens the pulses of the leg that takes the power in (step-down), then those
    of the leg that gives it out (step-up).

    direction : `forward` from `in` to `out`, `reverse` from `out` to `in`
    ramp      : height of the ramp over one period [V]
    overlap   : share of the ramp in which both legs switch; below 0 a gap in which neither does
    """
    a, b = ("a_high", "a_low"), ("b_high", "b_low")
    if direction not in ("forward", "reverse"):
        raise OutOfRange(f"a stage runs forward or in reverse, not {direction}")
    if not -1.0 < overlap < 1.0:
        raise OutOfRange(f"the legs overlap by {overlap} of the ramp, which must be within -1 and 1")
    into, out_of = (a, b) if direction == "forward" else (b, a)
    second = Leg(main=out_of[1], sync=out_of[0], offset=ramp * (1.0 - overlap))
    return Modulator(main=into[0], sync=into[1], control=control, slope=ramp / period, dead=dead, second=second,
                     skip=skip)  # fmt: skip


def load_resistor(node: str, r: float) -> tuple[Element, ...]:
    """Return a load that is a resistance."""
    return (Resistor(name="load", a=node, b=GROUND, r=r, load=True),)


def load_current(node: str, i: Level) -> tuple[Element, ...]:
    """Return a load that draws a current, constant or in time."""
    return (Drain(name="load", a=node, b=GROUND, i=i),)

"""Regulation loops as elements: one error amplifier with its compensation for each, the lowest output wins.

Each amplifier drives gm·(reference − sensed) into a resistor and capacitor in series, with a small capacitor across
both (type 2; without the small one it is proportional and integral). An amplifier that does not rule, or is clamped, is
held at most a margin above the control voltage: this is what its wind-up is.

In average-current mode the lowest of the outer loops is the demand that an inner amplifier holds the coil's current to.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import OutOfRange
from chargewright.circuit.elements import (
    GROUND,
    Amplifier,
    Capacitor,
    Diode,
    Element,
    Follower,
    Level,
    Lowest,
    Quantity,
    Resistor,
    Source,
    Wave,
    i_of,
    v_node,
)

CONTROL = "control"
"""Node of the control voltage, and name of the element that sets it."""
DEMAND = "demand"
"""Node of the current demand in average-current mode, and name of the element that sets it."""
R_FILTER = 1e3
"""Resistance of a sense filter [Ω]; only its product with the capacitance counts, nothing loads it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """One regulation loop. The amplifier sees gain·(Σ terms + offset), filtered, against gain·reference."""

    name: str
    terms: tuple[tuple[float, Quantity], ...]
    reference: Level
    """In the unit of what is sensed."""
    gain: float
    """Of the sensing [V per unit]."""
    gm: float
    r_z: float
    c_z: float
    c_p: float | None = None
    start: float = 0.0
    """Voltage of both capacitors at the beginning [V]."""
    tau: float = 0.0
    """Of the sense filter [s]; 0 without one."""
    offset: float = 0.0
    """Error of the sensing, in the unit of what is sensed."""
    lead: tuple[float, float] | None = None
    """Resistor and capacitor in series beside a resistor of 1/gm [Ω, F] in front of the amplifier: this makes it type
    3, an operational amplifier with 1/gm, `lead` at its input and r_z, c_z, c_p back."""
    settled: float | None = None
    """What is sensed at the beginning, in its unit: filter and lead then start settled at it; 0 V if None."""

    @property
    def node(self) -> str:
        """Node of the amplifier's output."""
        return f"loop_{self.name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Clamp:
    """Limits of the control voltage [V], and how an amplifier that does not rule is held."""

    low: float
    high: float
    margin: float
    """How far above the control voltage it may wind up [V]."""
    r: float
    """Resistance of the pull-down beyond it [Ω]."""
    margin_low: float | None = None
    """How far below the lower limit it may fall [V]; None lets it fall freely."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CurrentLoop:
    """The inner loop of average-current mode: it holds gain·current, filtered by its own network, to the demand."""

    current: Quantity
    gain: float
    """Of the current sensing [V/A]; the demand in volts over it is the current asked for."""
    gm: float
    r_z: float
    c_z: float
    c_p: float | None = None
    start: float = 0.0
    """Voltage of both capacitors at the beginning [V]."""


def control_of(loops: tuple[Loop, ...], clamp: Clamp, *, to: str = CONTROL) -> tuple[Element, ...]:
    """Return the elements of the control; all of them belong into `Circuit.signals`.

    to : node that the lowest loop sets, and name of the element that sets it
    """
    if not loops:
        raise OutOfRange("a control needs at least one loop")
    found: list[Element] = []
    for loop in loops:
        sensed = _sensed(loop, found)
        found.append(_amplifier(loop, sensed, found))
        found += _network(loop.name, loop.node, loop)
        found += _held(loop.name, loop.node, to, clamp)
    nodes = tuple(loop.node for loop in loops)
    found.append(Lowest(name=to, a=to, inputs=nodes, low=clamp.low, high=clamp.high))
    return tuple(found)


def average_current_of(loops: tuple[Loop, ...], limits: Clamp, inner: CurrentLoop, clamp: Clamp) -> tuple[Element, ...]:
    """Return the control of average-current mode; all of it belongs into `Circuit.signals`.

    limits : of the demand [V]: least and greatest current times the inner loop's gain
    clamp  : of the control voltage
    """
    node = "loop_current"
    if any(loop.node == node for loop in loops):
        raise OutOfRange("the inner loop is called current: give the outer one another name")
    asked = ((inner.gain, inner.current), (-1.0, v_node(DEMAND)))
    return (
        *control_of(loops, limits, to=DEMAND),
        Amplifier(name="gm_current", a=node, gm=inner.gm, reference=0.0, terms=asked),
        *_network("current", node, inner),
        *_held("current", node, CONTROL, clamp),
        Lowest(name=CONTROL, a=CONTROL, inputs=(node,), low=clamp.low, high=clamp.high),
    )


def _network(name: str, node: str, of: Loop | CurrentLoop) -> list[Element]:
    middle = f"zero_{name}"
    found: list[Element] = [
        Resistor(name=f"rz_{name}", a=node, b=middle, r=of.r_z),
        Capacitor(name=f"cz_{name}", a=middle, b=GROUND, c=of.c_z, start=of.start),
    ]
    if of.c_p is not None:
        found.append(Capacitor(name=f"cp_{name}", a=node, b=GROUND, c=of.c_p, start=of.start))
    return found


def _held(name: str, node: str, to: str, clamp: Clamp) -> list[Element]:
    found: list[Element] = [Diode(name=f"hold_{name}", a=node, b=to, v_f=clamp.margin, r_on=clamp.r)]
    if clamp.margin_low is not None:
        found.append(Diode(name=f"floor_{name}", a=to, b=node, v_f=clamp.margin_low, r_on=clamp.r))
    return found


def _sensed(loop: Loop, found: list[Element]) -> tuple[tuple[float, Quantity], ...]:
    scaled = tuple((loop.gain * k, q) for k, q in loop.terms)
    if loop.tau == 0.0 and loop.offset == 0.0:
        return scaled
    raw, smooth = f"raw_{loop.name}", f"sense_{loop.name}"
    found.append(Follower(name=f"amp_{loop.name}", a=raw, terms=scaled, offset=loop.gain * loop.offset))
    if loop.tau == 0.0:
        return ((1.0, v_node(raw)),)
    found.append(Resistor(name=f"rf_{loop.name}", a=raw, b=smooth, r=R_FILTER))
    found.append(Capacitor(name=f"cf_{loop.name}", a=smooth, b=GROUND, c=loop.tau / R_FILTER, start=_at_start(loop)))
    return ((1.0, v_node(smooth)),)


def _amplifier(loop: Loop, sensed: tuple[tuple[float, Quantity], ...], found: list[Element]) -> Amplifier:
    scaled = _scaled(loop)
    if loop.lead is None:
        return Amplifier(name=f"gm_{loop.name}", a=loop.node, gm=loop.gm, reference=scaled, terms=sensed)
    # The error drives the input network into ground; what flows there is what the amplifier puts into its way back.
    wanted, error, inner = f"wanted_{loop.name}", f"error_{loop.name}", f"lead_{loop.name}"
    found.append(Source(name=f"ref_{loop.name}", a=wanted, b=GROUND, v=scaled))
    against = tuple((-k, q) for k, q in sensed)
    found.append(Follower(name=f"err_{loop.name}", a=error, terms=((1.0, v_node(wanted)), *against)))
    found.append(Resistor(name=f"r1_{loop.name}", a=error, b=GROUND, r=1.0 / loop.gm))
    found.append(Resistor(name=f"r3_{loop.name}", a=error, b=inner, r=loop.lead[0]))
    found.append(Capacitor(name=f"c3_{loop.name}", a=inner, b=GROUND, c=loop.lead[1], start=_error(loop)))
    terms = ((-1.0, i_of(f"r1_{loop.name}")), (-1.0, i_of(f"r3_{loop.name}")))
    return Amplifier(name=f"gm_{loop.name}", a=loop.node, gm=1.0, reference=0.0, terms=terms)


def _at_start(loop: Loop) -> float:
    return 0.0 if loop.settled is None else loop.gain * (loop.settled + loop.offset)


def _error(loop: Loop) -> float:
    if loop.settled is None:
        return 0.0
    wanted = loop.reference.start if isinstance(loop.reference, Wave) else loop.reference
    return loop.gain * wanted - _at_start(loop)


def _scaled(loop: Loop) -> Level:
    if isinstance(loop.reference, Wave):
        return Wave(points=tuple((t, loop.gain * v) for t, v in loop.reference.points))
    return loop.gain * loop.reference


def names_of(elements: tuple[Element, ...]) -> frozenset[str]:
    """Return the names of elements, for `Circuit.signals`."""
    return frozenset(e.name for e in elements)


def rest_voltage(
    soc: npt.NDArray[np.float64], ocv: npt.NDArray[np.float64], charge: float, soc_start: float, node: str = "rest"
) -> Capacitor:
    """Return a pack's rest voltage that moves with its charge, as a capacitor with a bend at each point of the table.

    soc, ocv : rising state of charge [1] and rest voltage [V]; straight lines between
    charge   : between state of charge 0 and 1 [C]
    """
    if len(soc) < 2 or np.any(np.diff(soc) <= 0.0) or np.any(np.diff(ocv) <= 0.0):
        raise OutOfRange("the table of rest voltage needs two points or more, rising in both columns")
    sizes = charge * np.diff(soc) / np.diff(ocv)
    start = float(np.interp(soc_start, soc, ocv))
    bends = tuple((float(v), float(c)) for v, c in zip(ocv[1:-1], sizes[1:], strict=True))
    return Capacitor(name="cells", a=node, b=GROUND, c=float(sizes[0]), start=start, bends=bends, cell=True)

"""A circuit as a deck in the Berkeley SPICE language, so that a doubter can run it in a general simulator.

Written for ngspice, open loop only: gates switch at known instants, bends are behavioural sources. A diode is an
exponential one so steep that its knee is a few millivolts, in series with a voltage.
"""

import math
from itertools import pairwise

from chargewright.base.errors import OutOfRange
from chargewright.circuit.circuit import Circuit, Gate
from chargewright.circuit.elements import (
    GROUND,
    Capacitor,
    Coil,
    Diode,
    Drain,
    Element,
    Follower,
    Level,
    PowerLoad,
    Quantity,
    Resistor,
    Source,
    Switch,
    Wave,
)

EMISSION, THERMAL, SATURATION = 0.05, 0.0258649, 1e-12
"""Emission coefficient, thermal voltage at 27 °C [V] and saturation current [A] of the steep diodes."""
EDGE = 50e-12
"""Rise time of a gate [s]."""


def deck(
    circuit: Circuit,
    *,
    cycles: int,
    record: tuple[Quantity, ...] = (),
    i_knee: float = 4.0,
    step: float | None = None,
    tolerance: float = 1e-5,
    output: str = "out.raw",
) -> str:
    """Return the deck of a circuit that runs for `cycles` periods and writes `record` in binary to `output`.

    i_knee : current at which the steep diodes have the drop of the circuit's [A]
    tolerance : relative tolerance of the simulator [1]
    step   : longest internal step [s]; the period over 487.3 by default, no whole fraction of it
    """
    if circuit.modulator is not None or any(s.emulate for s in circuit.switches):
        raise OutOfRange("a deck has gates at known instants: give the circuit without modulator and diode emulation")
    lines = [f"* {circuit.title}", *_models(circuit)]
    for e in circuit.elements:
        lines += _lines(circuit, e, i_knee)
    for s in circuit.switches:
        lines.append(_gate(circuit, s, next((g for g in circuit.gates if g.switch == s.name), None)))
    if record:
        lines.append(".save " + " ".join(f"v(out{k})" for k in range(len(record))))
        lines += [f"Bout{k} out{k} 0 v={expression(circuit, q)}" for k, q in enumerate(record)]
    most = circuit.period / 487.3 if step is None else step
    lines += [
        f".options reltol={tolerance:.3g} abstol=1e-9 vntol=1e-7 method={_method(circuit)}",
        ".control",
        f"tran {most:.9g} {cycles * circuit.period:.12g} 0 {most:.9g} uic",
        f"write {output}",
        "quit",
        ".endc",
        ".end",
    ]
    return "\n".join(lines) + "\n"


def _method(circuit: Circuit) -> str:
    """Return the integration method; the trapezoidal rule rings in a leg that may rest with its coil open."""
    driven = {g.switch for g in circuit.gates if g.on != g.off}
    return "gear maxord=2" if any(s.name not in driven for s in circuit.switches) else "trap"


def expression(circuit: Circuit, q: Quantity) -> str:
    """Return a quantity as an expression of the deck."""
    if q.kind == "node":
        return "0" if q.name == GROUND else f"v({q.name})"
    e = circuit.element(q.name)
    across = _across(e)
    if q.kind == "voltage":
        return across
    if isinstance(e, Resistor):
        return f"({across})/{e.r!r}"
    if isinstance(e, Coil):
        return f"i(vm_{e.name})" if e.bends else f"i(l_{e.name})"
    if isinstance(e, Source):
        return f"i(v_{e.name})"
    return f"i(vm_{e.name})"


def _across(e: Element) -> str:
    if e.b == GROUND:
        return f"v({e.a})"
    return f"-v({e.b})" if e.a == GROUND else f"v({e.a},{e.b})"


def _level(level: Level) -> str:
    if isinstance(level, Wave):
        points: list[str] = []
        last = -1.0
        for t, v in level.points:
            at = t if t > last else last + 1e-12
            points.append(f"{at:.12g} {v!r}")
            last = at
        return f"pwl({' '.join(points)})"
    return repr(float(level))


def _lines(circuit: Circuit, e: Element, i_knee: float) -> list[str]:
    meter = f"vm_{e.name} {e.a} m_{e.name} 0"
    inner = f"m_{e.name} {e.b}"
    if isinstance(e, Resistor):
        return [f"r_{e.name} {e.a} {e.b} {e.r!r}"]
    if isinstance(e, Source):
        return [f"v_{e.name} {e.a} {e.b} {_level(e.v)}"]
    if isinstance(e, Drain):
        return [meter, f"i_{e.name} {inner} {_level(e.i)}"]
    if isinstance(e, Switch):
        return [meter, f"s_{e.name} {inner} g_{e.name} 0 m_{e.name}"]
    if isinstance(e, Diode):
        below = e.v_f - EMISSION * THERMAL * math.log(i_knee / SATURATION)
        return [meter, f"vf_{e.name} m_{e.name} k_{e.name} {below!r}", f"d_{e.name} k_{e.name} {e.b} m_{e.name}"]
    if isinstance(e, PowerLoad):
        points = [(0.0, 0.0)] + [(v, e.p / v) for v in e.chords]
        return [meter, f"b_{e.name} {inner} i={_pwl(f'v(m_{e.name},{e.b})', points)}"]
    if isinstance(e, Coil):
        if not e.bends:
            return [f"l_{e.name} {e.a} {e.b} {e.l!r} ic={e.start!r}"]
        points = _integral(e.l, e.bends, both=True)
        flux = [(x, i) for i, x in points]
        start = _interpolated(points, e.start)
        return [meter, f"b_{e.name} {inner} i={_pwl(f'v(x_{e.name})', flux)}",
                f"bx_{e.name} 0 x_{e.name} i={_across(e)}", f"cx_{e.name} x_{e.name} 0 1 ic={start!r}"]  # fmt: skip
    if isinstance(e, Capacitor):
        if not e.bends:
            return [meter, f"c_{e.name} {inner} {e.c!r} ic={e.start!r}"]
        # Counted from the start on the first piece's capacitance: beside a large charge a simulator's error estimate
        # drowns in rounding when its steps are short.
        table = _integral(e.c, e.bends, both=False)
        start = _interpolated(table, e.start)
        charge = [((x - start) / e.c, v) for v, x in table]
        return [meter, f"b_{e.name} {inner} v={_pwl(f'v(x_{e.name})', charge)}",
                f"fx_{e.name} 0 x_{e.name} vm_{e.name} 1", f"cx_{e.name} x_{e.name} 0 {e.c!r} ic=0"]  # fmt: skip
    if isinstance(e, Follower):
        terms = "".join(f"+({k!r})*({expression(circuit, q)})" for k, q in e.terms)
        return [f"b_{e.name} {e.a} {e.b} v={e.offset!r}{terms}"]
    raise OutOfRange(f"{e.name} belongs to a control loop, which is not written as a deck: write the open loop")


def _integral(first: float, bends: tuple[tuple[float, float], ...], *, both: bool) -> list[tuple[float, float]]:
    """Return (current, flux) of a bent coil or (voltage, charge) of a bent capacitor at its corners and beyond."""
    points = [(0.0, 0.0)]
    sizes = [first, *(s for _, s in bends)]
    far = 2.0 * bends[-1][0]
    for size, edge in zip(sizes, [*(at for at, _ in bends), far], strict=True):
        at, total = points[-1]
        points.append((edge, total + size * (edge - at)))
    return [(-a, -b) for a, b in reversed(points[1:])] + points if both else points


def _interpolated(points: list[tuple[float, float]], at: float) -> float:
    for (a, fa), (b, fb) in pairwise(points):
        if a <= at <= b:
            return fa + (fb - fa) * (at - a) / (b - a)
    raise OutOfRange(f"{at} lies beyond the table of a bent element")


def _pwl(x: str, points: list[tuple[float, float]]) -> str:
    """Return straight lines through points as one line and its bends: these converge where a table does not."""
    slopes = [(fb - fa) / (b - a) for (a, fa), (b, fb) in pairwise(points)]
    (at, value), *others = points
    bends = "".join(
        f"+({new - old!r})*max(0,{x}-({corner!r}))"
        for (corner, _), old, new in zip(others[:-1], slopes[:-1], slopes[1:], strict=True)
    )
    return f"{value!r}+({slopes[0]!r})*({x}-({at!r})){bends}"


def _models(circuit: Circuit) -> list[str]:
    lines = [f".model m_{s.name} sw(vt=0.5 vh=0 ron={s.r_on!r} roff={s.r_off!r})" for s in circuit.switches]
    for e in circuit.elements:
        if isinstance(e, Diode):
            lines.append(f".model m_{e.name} d(is={SATURATION!r} n={EMISSION!r} rs={e.r_on!r})")
    return lines


def _gate(circuit: Circuit, s: Switch, gate: Gate | None) -> str:
    name = f"vg_{s.name} g_{s.name} 0"
    if gate is None or gate.on == gate.off:
        return f"{name} 0"
    if gate.on == 0.0 and gate.off == 1.0:
        return f"{name} 1"
    period = circuit.period
    if gate.on < gate.off:
        width = (gate.off - gate.on) * period - EDGE
        return f"{name} pulse(0 1 {gate.on * period:.12g} {EDGE} {EDGE} {width:.12g} {period:.12g})"
    width = (gate.on - gate.off) * period - EDGE
    return f"{name} pulse(1 0 {gate.off * period:.12g} {EDGE} {EDGE} {width:.12g} {period:.12g})"

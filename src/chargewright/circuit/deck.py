"""A circuit as a deck in the Berkeley SPICE language, so that a doubter can run it in a general simulator.

Written for ngspice: bends, amplifiers and the lowest-wins selection are behavioural sources, a modulator and diode
emulation are event-driven logic (see `_deck_control`). A diode of the power stage is an exponential one so steep that
its knee is a few millivolts, in series with a voltage; one of the control is two straight lines.
"""

import math
from dataclasses import fields, replace
from itertools import pairwise
from typing import Any

import numpy as np

from chargewright.base.errors import OutOfRange
from chargewright.circuit import _deck_control as control
from chargewright.circuit._checks import check
from chargewright.circuit.circuit import Circuit, Gate, Leg, Timed
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
    Quantity,
    Resistor,
    Source,
    Switch,
    Wave,
    v_node,
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
    tolerance: float | None = None,
    output: str = "out.raw",
) -> str:
    """Return the deck of a circuit that runs for `cycles` periods and writes `record` in binary to `output`.

    i_knee    : current at which the steep diodes have the drop of the circuit's [A]
    step      : longest internal step [s]; by default a share of the period that is no whole fraction of it
    tolerance : relative tolerance of the simulator [1]; by default 1e-5, with logic 1e-4

    Raises OutOfRange for a circuit without meaning and for a record that a deck does not have.
    """
    check(circuit)
    control.refuse_what_has_no_deck(circuit)
    circuit, record = _renamed(circuit), tuple(_named(q) for q in record)
    logic = control.has_logic(circuit)
    lines = [f"* {circuit.title}", *_models(circuit)]
    for e in circuit.elements:
        lines += _lines(circuit, e, i_knee)
    lines += _drive(circuit)
    if record:
        lines.append(".save " + " ".join(f"v(out{k})" for k in range(len(record))))
        lines += [f"Bout{k} out{k} 0 v={expression(circuit, q)}" for k, q in enumerate(record)]
    most = circuit.period / (101.7 if logic else 487.3) if step is None else step
    fine = (1e-4 if logic else 1e-5) if tolerance is None else tolerance
    # Beside logic steps become so short that rounding in a current of some amperes shows: hence the wider `abstol`.
    close = control.OPTIONS if logic else "abstol=1e-9 vntol=1e-7"
    lines += [
        f".options reltol={fine:.3g} {close} method={_method(circuit)}",
        ".control",
        f"tran {most:.9g} {cycles * circuit.period:.12g} 0 {most:.9g} uic",
        f"write {output}",
        "quit",
        ".endc",
        ".end",
    ]
    return "\n".join(lines) + "\n"


def _renamed(circuit: Circuit) -> Circuit:
    """Return the circuit in Python's own numbers, its nodes named so that none can be taken for a function."""
    elements: list[Element] = []
    for e in circuit.elements:
        plain = {f.name: _plain(getattr(e, f.name)) for f in fields(e)}
        renamed = replace(e, **{**plain, "a": _node(e.a), "b": _node(e.b)})
        if isinstance(renamed, Follower | Amplifier):
            renamed = replace(renamed, terms=_terms(renamed.terms))
        if isinstance(renamed, Lowest):
            renamed = replace(renamed, inputs=tuple(_node(n) for n in renamed.inputs))
        elements.append(renamed)
    m = circuit.modulator
    return replace(
        circuit,
        elements=tuple(elements),
        modulator=None
        if m is None
        else replace(m, control=_node(m.control), terms=_terms(m.terms), second=_leg(m.second)),
    )


def _leg(leg: Leg | None) -> Leg | None:
    return None if leg is None else replace(leg, terms=_terms(leg.terms))


def _plain(value: Any) -> Any:
    """Return Python's own numbers for numpy's: a simulator does not read how numpy writes its own."""
    if isinstance(value, tuple):
        return tuple(_plain(v) for v in value)
    return float(value) if isinstance(value, np.floating) else value


def _node(name: str) -> str:
    return name if name == GROUND else f"n_{name}"


def _named(q: Quantity) -> Quantity:
    return v_node(_node(q.name)) if q.kind == "node" else q


def _terms(terms: tuple[tuple[float, Quantity], ...]) -> tuple[tuple[float, Quantity], ...]:
    return tuple((gain, _named(q)) for gain, q in terms)


def _method(circuit: Circuit) -> str:
    """Return the integration method; the trapezoidal rule rings in a leg that may rest with its coil open."""
    driven = {g.switch for g in circuit.gates if g.on != g.off} | set(_modulated(circuit))
    return "gear maxord=2" if any(s.emulate or s.name not in driven for s in circuit.switches) else "trap"


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
    if isinstance(e, Coil) and not e.bends:
        return f"v(x_{e.name})" if control.has_logic(circuit) else f"i(l_{e.name})"
    if isinstance(e, Source):
        return f"i(v_{e.name})"
    if isinstance(e, Follower | Lowest | Amplifier):
        raise OutOfRange(f"the current of {e.name} is not in a deck: record the currents around it")
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
    if isinstance(e, Switch) and control.has_logic(circuit):
        return [meter, control.switch(e, inner)]
    if isinstance(e, Switch):
        return [meter, f"s_{e.name} {inner} g_{e.name} 0 m_{e.name}"]
    if isinstance(e, Diode) and e.name in circuit.signals:
        return [meter, control.signal_diode(e, inner)]
    if isinstance(e, Diode):
        below = e.v_f - EMISSION * THERMAL * math.log(i_knee / SATURATION)
        return [meter, f"vf_{e.name} m_{e.name} k_{e.name} {below!r}", f"d_{e.name} k_{e.name} {e.b} m_{e.name}"]
    if isinstance(e, PowerLoad):
        points = [(0.0, 0.0)] + [(v, e.p / v) for v in e.chords]
        return [meter, f"b_{e.name} {inner} i={_pwl(f'v(m_{e.name},{e.b})', points)}"]
    if isinstance(e, Coil):
        if not e.bends and control.has_logic(circuit):
            return control.coil(e)
        if not e.bends:
            return [f"l_{e.name} {e.a} {e.b} {e.l!r} ic={e.start!r}"]
        points = _integral(e.l, e.bends, both=True)
        flux = [(x, i) for i, x in points]
        start = _interpolated(points, e.start)
        return [meter, f"b_{e.name} {inner} i={_pwl(f'v(x_{e.name})', flux)}",
                f"bx_{e.name} 0 x_{e.name} i={_across(e)}", f"cx_{e.name} x_{e.name} 0 1 ic={start!r}"]  # fmt: skip
    if isinstance(e, Capacitor):
        if not e.bends and GROUND in (e.a, e.b):
            return [meter, f"c_{e.name} {inner} {e.c!r} ic={e.start!r}"]
        # Counted from the start on the first piece's capacitance: beside a large charge, or as a small difference of
        # two large voltages, a simulator's error estimate drowns in rounding when its steps are short.
        if not e.bends:
            return [meter, f"b_{e.name} {inner} v={e.start!r}+v(x_{e.name})",
                    f"fx_{e.name} 0 x_{e.name} vm_{e.name} 1", f"cx_{e.name} x_{e.name} 0 {e.c!r} ic=0"]  # fmt: skip
        table = _integral(e.c, e.bends, both=False)
        start = _interpolated(table, e.start)
        charge = [((x - start) / e.c, v) for v, x in table]
        return [meter, f"b_{e.name} {inner} v={_pwl(f'v(x_{e.name})', charge)}",
                f"fx_{e.name} 0 x_{e.name} vm_{e.name} 1", f"cx_{e.name} x_{e.name} 0 {e.c!r} ic=0"]  # fmt: skip
    if isinstance(e, Follower):
        terms = "".join(f"+({k!r})*({expression(circuit, q)})" for k, q in e.terms)
        return [f"b_{e.name} {e.a} {e.b} v={e.offset!r}{terms}"]
    if isinstance(e, PassSwitch):
        raise OutOfRange(f"a deck cannot say the pass switch {e.name}")
    if isinstance(e, Lowest):
        return [control.lowest(e, f"{e.a} {e.b}")]
    terms = "".join(f"-({k!r})*({expression(circuit, q)})" for k, q in e.terms)
    if isinstance(e.reference, Wave):
        wave = [f"v_{e.name} ref_{e.name} 0 {_level(e.reference)}"]
        return [*wave, f"b_{e.name} {e.b} {e.a} i={e.gm!r}*(v(ref_{e.name}){terms})"]
    return [f"b_{e.name} {e.b} {e.a} i={e.gm!r}*({e.reference!r}{terms})"]


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
    abrupt = () if control.has_logic(circuit) else circuit.switches
    lines = [f".model m_{s.name} sw(vt=0.5 vh=0 ron={s.r_on!r} roff={s.r_off!r})" for s in abrupt]
    for e in circuit.elements:
        if isinstance(e, Diode) and e.name not in circuit.signals:
            lines.append(f".model m_{e.name} d(is={SATURATION!r} n={EMISSION!r} rs={e.r_on!r})")
    return lines


def _drive(circuit: Circuit) -> list[str]:
    """Return what drives the gates: known instants, the modulator, and diode emulation on top of either."""
    m = circuit.modulator
    modulated = _modulated(circuit)
    emulated = frozenset(s.name for s in circuit.switches if s.emulate)
    lines = control.models(circuit)

    def says(q: Quantity) -> str:
        return expression(circuit, q)

    for s in circuit.switches:
        if s.name in modulated:
            continue
        node = f"w_{s.name}" if s.emulate else f"g_{s.name}"
        events = [event for event in circuit.timeline if event.switch == s.name]
        gate = next((g for g in circuit.gates if g.switch == s.name), None)
        lines.append(_timed(node, events) if events else _gate(circuit, node, gate))
    if m is not None:
        lines += control.modulator(m, circuit.period, emulated, says)
    for s in circuit.switches:
        if s.emulate:
            lines += control.emulation(s, None if s.name in modulated else f"w_{s.name}", says)
    return lines


def _modulated(circuit: Circuit) -> tuple[str, ...]:
    m = circuit.modulator
    return () if m is None else tuple(name for leg in m.legs for name in (leg.main, leg.sync))


def _timed(node: str, events: list[Timed]) -> str:
    """Return a gate that is set at instants; of events at one instant the last counts, and it is off before the first.

    It is halfway up or down at the instant itself, where the switch acts.
    """
    wanted = {event.t: event.on for event in sorted(events, key=lambda event: event.t)}
    on = wanted.pop(0.0, False)
    points = [(0.0, on)]
    for t, to in wanted.items():
        if to != on:
            points += [(t - 0.5 * EDGE, on), (t + 0.5 * EDGE, to)]
            on = to
    return f"v{node} {node} 0 pwl({' '.join(f'{t:.15g} {int(v)}' for t, v in points)})"


def _gate(circuit: Circuit, node: str, gate: Gate | None) -> str:
    name = f"v{node} {node} 0"
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

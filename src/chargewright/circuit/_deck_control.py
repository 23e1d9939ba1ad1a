"""What a deck says for control loops, a modulator and diode emulation: event-driven logic behind accurate comparators.

A simulator steps over a threshold by as much as its step is long, and an analogue latch of steep sources is what its
step control dies of. So each comparison is amplified and watched by a voltage-controlled switch, whose approach to its
threshold shortens the steps; what follows (latch, dead time) is digital and costs no step at all. This needs the
simulator's mixed-mode devices, which ngspice has wherever it is packaged with XSPICE.
"""

import math
from collections.abc import Callable

from chargewright.base.errors import OutOfRange
from chargewright.circuit.circuit import Circuit, Leg, Modulator
from chargewright.circuit.elements import Coil, Diode, Lowest, PassSwitch, Quantity, Switch

Says = Callable[[Quantity], str]
"""A quantity as an expression of the deck."""
KEEN = 1e4
"""Amplification before a comparator: the simulator's steps find a threshold to 50 mV, so to 5 µV or µA here."""
TICK = 1e-12
"""Delay of a digital gate [s]."""
EDGE = 10e-12
"""Rise time of a gate that the logic drives [s]: its switch acts after half of it."""
OPTIONS = "abstol=1e-6 vntol=1e-7 itl4=40"
"""Of the simulator."""
TAIL = 1e-9
"""Longest stretch at the end of a period in which the ramp falls back and nothing is compared [s]."""
ADRIFT = 0.1e-3
"""Reversed current at which a switch that stands in for its diode opens [A]: more than what an open one leaks."""


MASK = 10.0
"""What is added to the current of a closed gate, so that only an open one's is watched [A]."""


def has_logic(circuit: Circuit) -> bool:
    """Return whether gates follow from what the circuit does, not from the clock alone."""
    return circuit.modulator is not None or any(s.emulate for s in circuit.switches)


def refuse_what_has_no_deck(circuit: Circuit) -> None:
    """Raise OutOfRange for what is not written as a deck, by name."""
    found = [f"the pass switch {e.name}" for e in circuit.elements if isinstance(e, PassSwitch)]
    found += [f"the protection {trip.name}" for trip in circuit.trips]
    if circuit.modulator is not None and circuit.modulator.skip is not None:
        found.append("the pulses left out at light load")
    if found:
        raise OutOfRange(f"a deck cannot say {', '.join(found)}: give the circuit without")


def models(circuit: Circuit) -> list[str]:
    """Return the models that the lines below name; none for a circuit with gates at known instants."""
    if not has_logic(circuit):
        return []
    lines = [
        ".model watch sw(vt=0 vh=0 ron=1 roff=1e9)",
        f".model sense adc_bridge(in_low=0.5 in_high=0.5 rise_delay={TICK:g} fall_delay={TICK:g})",
        f".model drive dac_bridge(out_low=0 out_high=1 t_rise={EDGE:g} t_fall={EDGE:g})",
        f".model both d_and(rise_delay={TICK:g} fall_delay={TICK:g})",
        f".model either d_or(rise_delay={TICK:g} fall_delay={TICK:g})",
        f".model not d_inverter(rise_delay={TICK:g} fall_delay={TICK:g})",
        f".model strobe d_buffer(rise_delay={2 * EDGE:g} fall_delay={2 * EDGE:g})",
        "v_level level 0 1",
    ]
    dead = circuit.modulator.dead if circuit.modulator is not None else 0.0
    return [*lines, f".model late d_buffer(rise_delay={max(dead, TICK):.9g} fall_delay={max(dead, TICK):.9g})"]


def lowest(e: Lowest, across: str) -> str:
    """Return the line of a lowest-wins selection between its limits."""
    found = f"v({e.inputs[0]})"
    for node in e.inputs[1:]:
        found = f"min({found},v({node}))"
    return f"b_{e.name} {across} v=max({e.low!r},min({found},{e.high!r}))"


def coil(e: Coil) -> list[str]:
    """Return a coil as a current that a capacitor's voltage sets and the coil's own voltage charges.

    The simulator may find a coil's voltage from the change of its current; at the steps that logic brings this is
    rounding, which a diode turns into amperes. Here it cannot.
    """
    return [f"g_{e.name} {e.a} {e.b} x_{e.name} 0 1", f"gx_{e.name} 0 x_{e.name} {e.a} {e.b} 1",
            f"cx_{e.name} x_{e.name} 0 {e.l!r} ic={e.start!r}"]  # fmt: skip


def switch(s: Switch, inner: str) -> str:
    """Return a switch whose conductance runs from off to on as its gate rises, even on a logarithmic scale.

    Where a leap meets logic, the simulator halves its steps until rounding is all that is left of them.
    """
    off, decades = -math.log(s.r_off), math.log(s.r_off / s.r_on)
    return f"b_{s.name} {inner} i=v(m_{s.name},{s.b})*exp({off!r}+{decades!r}*v(g_{s.name}))"


def signal_diode(e: Diode, inner: str) -> str:
    """Return a diode of the control as two straight lines: its currents are so small that a knee would shift it."""
    return f"b_{e.name} {inner} i=max(0,v(m_{e.name},{e.b})-({e.v_f!r}))/{e.r_on!r}"


def modulator(m: Modulator, period: float, emulated: frozenset[str], says: Says) -> list[str]:
    """Return the ramp and clock, and for each leg the comparator, the latch and the dead time.

    The clock sets a leg's latch, the comparator ends it and dominates: what ends with the clock is no pulse. Pulses
    shorter than the dead time differ: here the other switch may close for as long as the pulse is.
    """
    tail = min(TAIL, 1e-3 * period)
    rise = period - tail
    lines = [
        f"v_ramp ramp 0 pulse(0 {m.slope * rise!r} 0 {rise:.12g} {0.4 * tail:.6g} {0.3 * tail:.6g} {period:.12g})",
        f"v_clock clock 0 pulse(1 0 {2 * EDGE:g} {EDGE:g} {EDGE:g} {period - 4 * EDGE:.12g} {period:.12g})",
        "a_clock [clock] [dg_clock] sense",
    ]
    for k, one in enumerate(m.legs):
        lines += _leg(k, one, m.control, dead=m.dead > 0.0, says=says)
        for name in (one.main, one.sync):
            if name not in emulated:
                lines.append(f"a_gate_{name} [{wanted(name)}] [g_{name}] drive")
    return lines


def _leg(k: int, one: Leg, node: str, *, dead: bool, says: Says) -> list[str]:
    terms = "".join(f"-({gain!r})*({says(q)})" for gain, q in one.terms)
    pulse, rest = f"dg_pulse{k}", f"dg_rest{k}"
    lines = [
        *_watched(f"go{k}", f"v({node})-({one.offset!r})-v(ramp){terms}"),
        f"a_hold{k} [dg_clock {pulse}] dg_hold{k} either",
        f"a_pulse{k} [dg_hold{k} dg_go{k}] {pulse} both",
        f"a_rest{k} {pulse} {rest} not",
    ]
    if not dead:
        main, sync = f"{pulse} {pulse}", f"{rest} {rest}"
    else:
        lines.append(f"a_pulse_late{k} {pulse} dg_pulse_late{k} late")
        lines.append(f"a_rest_late{k} dg_pulse_late{k} dg_rest_late{k} not")
        main, sync = f"{pulse} dg_pulse_late{k}", f"{rest} dg_rest_late{k}"
    return [*lines, f"a_main{k} [{main}] {wanted(one.main)} both", f"a_sync{k} [{sync}] {wanted(one.sync)} both"]


def emulation(s: Switch, known_gate: str | None, says: Says) -> list[str]:
    """Return the logic that opens a switch when its current has fallen through zero, until its gate rises again.

    known_gate : node of a gate that switches at known instants; None where the modulator drives it
    """
    n = s.name
    lines = [] if known_gate is None else [f"a_want_{n} [{known_gate}] [{wanted(n)}] sense"]
    current = says(Quantity(kind="current", name=n))
    return [
        *lines,
        *_watched(f"flow_{n}", f"{current}+{ADRIFT!r}+{MASK!r}*(1-v(g_{n}))"),
        f"a_past_{n} {wanted(n)} dg_past_{n} strobe",
        f"a_new_{n} dg_past_{n} dg_new_{n} not",
        f"a_set_{n} [dg_new_{n} dg_on_{n}] dg_set_{n} either",
        f"a_on_{n} [dg_set_{n} dg_flow_{n} {wanted(n)}] dg_on_{n} both",
        f"a_gate_{n} [dg_on_{n}] [g_{n}] drive",
    ]


def wanted(switch: str) -> str:
    """Return the digital node that says whether a switch is to be on."""
    return f"dg_want_{switch}"


def _watched(name: str, positive: str) -> list[str]:
    """Return a comparator: the digital node dg_`name` is true while the expression is positive.

    It is cut off below, as only the way down to zero has to be found finely.
    """
    return [
        f"b_{name} x_{name} 0 v=max(-1,{KEEN!r}*({positive}))",
        f"s_{name} level y_{name} x_{name} 0 watch",
        f"r_{name} y_{name} 0 1e3",
        f"a_{name} [y_{name}] [dg_{name}] sense",
    ]

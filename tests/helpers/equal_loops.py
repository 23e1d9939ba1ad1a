"""A buck with one or two equal loops: which of two rules is decided by nothing but rounding."""

from chargewright.circuit.circuit import Circuit, Modulator
from chargewright.circuit.control import CONTROL, Clamp, Loop, control_of, names_of
from chargewright.circuit.elements import Capacitor, Coil, Diode, Drain, Element, Resistor, Source, Switch, v_node


def equal_loops(count: int) -> Circuit:
    """Return the closed loop with `count` loops of one reference and one amplifier."""
    elements: tuple[Element, ...] = (
        Source(name="source", a="in", b="0", v=12.0), Switch(name="main", a="sw", b="in", r_on=0.01),
        Switch(name="sync", a="0", b="sw", r_on=0.01), Diode(name="dm", a="sw", b="in", v_f=0.7, r_on=0.01),
        Diode(name="ds", a="0", b="sw", v_f=0.7, r_on=0.01), Coil(name="coil", a="sw", b="x", l=4e-6),
        Resistor(name="r", a="x", b="out", r=0.01), Capacitor(name="c", a="cc", b="0", c=4e-5, start=5.0),
        Resistor(name="esr", a="out", b="cc", r=2e-3), Drain(name="load", a="out", b="0", i=1.0),
    )  # fmt: skip
    loops = [Loop(name=n, terms=((1.0, v_node("out")),), reference=5.0, gain=0.2, gm=1e-4, r_z=5e3, c_z=4e-9,
                 c_p=50e-12, start=0.42) for n in ("one", "two")]  # fmt: skip
    control = control_of(tuple(loops[:count]), Clamp(low=0.02, high=0.95, margin=0.1, r=1e3))
    modulator = Modulator(main="main", sync="sync", control=CONTROL, slope=1e6, dead=20e-9)
    return Circuit(elements=elements + control, period=1e-6, modulator=modulator, signals=names_of(control))

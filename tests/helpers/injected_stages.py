"""A buck and the same stage run backwards, as switched circuits and as averaged models, for measured responses."""

from dataclasses import replace
from typing import Any

import numpy as np

from chargewright.circuit.circuit import Circuit, Modulator
from chargewright.circuit.elements import (
    Coil,
    Drain,
    Element,
    Follower,
    Resistor,
    Source,
    i_of,
    v_node,
)
from chargewright.circuit.measures import Window, window
from chargewright.circuit.stages import Bank, CoilSide, SwitchSide, load_resistor, two_switch
from chargewright.circuit.steady import steady_state
from chargewright.loops.current_mode import Modulator as LoopModulator
from chargewright.loops.current_mode import VoltageMode
from chargewright.loops.impedance import Branch, Port
from chargewright.loops.loop import Plant
from chargewright.loops.stage import BOOST, BUCK, StagePoints, Topology

T = 1.0 / 600e3
L, DCR, R_ON = 4.7e-6, 15e-3, 10e-3
AT = np.array([1 / 60, 1 / 25, 1 / 10, 1 / 5, 1 / 3]) / T
PLAIN = VoltageMode(v_ramp=1.0)
SIDE = SwitchSide(r_on=R_ON, v_f=1e-3, r_d=R_ON)
"""Its diode is its channel, so that the conduction mode changes nothing but the mode."""
IN, OUT = Bank(c=30e-6, esr=3e-3, start=20.0), Bank(c=40e-6, esr=2e-3, start=8.0)


def held(elements: tuple[Element, ...], control: float, modulator: Modulator) -> Circuit:
    hold = Follower(name="hold", a="hold", terms=(), offset=control)
    signals = frozenset(["hold"])
    return Circuit(elements=(*elements, hold), period=T, modulator=modulator, signals=signals)


def feed(v: float) -> tuple[Element, ...]:
    return (Source(name="source", a="source", b="0", v=v), Resistor(name="r_source", a="source", b="cable", r=50e-3),
            Coil(name="l_source", a="cable", b="in", l=0.5e-6, start=1.6))  # fmt: skip


def buck(control: float, v_in: float = 20.0, **more: Any) -> Circuit:
    """Return a buck from a source with a cable into 2 Ω; `more` goes to the modulator."""
    drain = Drain(name="probe", a="out", b="0", i=0.0)
    elements = two_switch(SIDE, SIDE, CoilSide(l=L, dcr=DCR, start=4.0), replace(IN, start=v_in), OUT, feed(v_in),
                          load_resistor("out", 2.0), (drain,))  # fmt: skip
    ramp = {"slope": 1.0 / T} | more
    return held(elements, control, Modulator(main="q_high", sync="q_low", control="hold", dead=0.0, **ramp))


def buck_plant(w: Window, modulator: LoopModulator = PLAIN) -> Plant:
    return plant(w, BUCK, ("in", "out"), 1.0, modulator, emulate=False, ports=(
        Port(c=30e-6, esr=3e-3, branch=Branch(r=50e-3, l=0.5e-6)), Port(c=40e-6, esr=2e-3, g_load=0.5)))  # fmt: skip


def boost(control: float, load: float, *, emulate: bool) -> Circuit:
    """Return the same stage run backwards: a pack at `out` lifts the bus at `in`."""
    high = replace(SIDE, emulate=emulate)
    pack = (Source(name="cells", a="cells", b="0", v=11.0), Resistor(name="r_pack", a="cells", b="lead", r=90e-3),
            Coil(name="l_lead", a="lead", b="out", l=0.1e-6, start=2.0))  # fmt: skip
    elements = two_switch(high, SIDE, CoilSide(l=L, dcr=DCR, start=-2.0), replace(OUT, start=18.0),
                          replace(IN, start=11.0), pack, load_resistor("in", load))  # fmt: skip
    return held(elements, control, Modulator(main="q_low", sync="q_high", control="hold", slope=1.0 / T, dead=0.0))


def plant(
    w: Window,
    topology: Topology,
    nodes: tuple[str, str],
    sign: float,
    modulator: LoopModulator,
    *,
    emulate: bool,
    ports: tuple[Port, Port],
) -> Plant:
    """Return the averaged model at the point where the switched circuit stands."""
    v_in, v_out = (np.array([[w.mean(v_node(n))]]) for n in nodes)
    in_high, out_high = (R_ON, 0.0) if topology is BUCK else (0.0, R_ON)
    points = StagePoints(
        topology=topology, v_in=v_in, v_out=v_out, i_coil=np.array([[sign * w.mean(i_of("coil"))]]), inductance=L,
        period=T, r_coil=DCR, r_in_high=in_high, r_in_low=in_high, r_out_high=out_high, r_out_low=out_high,
        emulate=emulate,
    )  # fmt: skip
    return Plant(points=points, input=ports[0], output=ports[1], modulator=modulator)


def agrees(measured: Any, model: Any, decibels: float, degrees: float) -> None:
    apart = np.ravel(measured) / np.ravel(model)
    assert np.max(np.abs(20.0 * np.log10(np.abs(apart)))) < decibels
    assert np.max(np.abs(np.degrees(np.angle(apart)))) < degrees


def at_rest(circuit: Circuit) -> Window:
    return window(steady_state(circuit, warm_up=100))


def boost_plant(w: Window, load: float, *, emulate: bool) -> Plant:
    ports = (Port(c=30e-6, esr=3e-3, branch=Branch(r=90e-3, l=0.1e-6)), Port(c=40e-6, esr=2e-3, g_load=1.0 / load))
    return plant(w, BOOST, ("out", "in"), -1.0, PLAIN, emulate=emulate, ports=ports)

"""The steady switching waveform of the stage at its usual point: one period that ends where it began."""

from dataclasses import dataclass, replace

import numpy as np

from chargewright.circuit.circuit import Circuit
from chargewright.circuit.deck import deck
from chargewright.circuit.elements import Switch, i_of, v_node
from chargewright.circuit.flow import evenly
from chargewright.circuit.steady import steady_state
from chargewright.studies.transients.product import Product, charging
from chargewright.studies.transients.record import Floats

_POINTS = 16
_DECK_CYCLES = 200


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SteadyWave:
    """One switching period of the stage; SI."""

    words: str
    t: Floats
    i_coil: Floats
    v_switch: Floats
    """At the node that the main leg switches."""
    i_input_capacitor: Floats
    """Into the input capacitors."""


def usual_circuit(product: Product) -> tuple[str, Circuit]:
    """Return the open-loop circuit of the strongest source charging a half full pack at the calmest load."""
    at, _ = charging(product, product.strongest, soc=0.5, p_load=product.p_calm)
    return f"{at.supply.name} ({at.supply.contract}), pack at 50%", at.circuit


def steady_wave(product: Product) -> SteadyWave:
    """Return the stage's steady period. Raises NoSolution where none closes."""
    words, circuit = usual_circuit(product)
    points = evenly(steady_state(circuit, compiled=False), _POINTS)
    names = {e.name for e in circuit.elements}
    node = "sw" if "q_high" in names else "swa"
    return SteadyWave(
        words=words,
        t=np.asarray(points.t - points.t[0]),
        i_coil=points.of(i_of("coil")),
        v_switch=points.of(v_node(node)),
        i_input_capacitor=points.of(i_of("r_in")),
    )


def stage_deck(product: Product) -> str:
    """Return the open-loop stage with source, pack and load as a deck in the Berkeley SPICE language.

    Its synchronous switches follow their gates: diode emulation is left out, which at the usual point changes nothing.
    """
    _, circuit = usual_circuit(product)
    plain = tuple(replace(e, emulate=False) if isinstance(e, Switch) else e for e in circuit.elements)
    wanted = (i_of("coil"), v_node("out"), v_node("in"), i_of("r_pack"))
    return deck(replace(circuit, elements=plain), cycles=_DECK_CYCLES, record=wanted)

"""The steady switching waveform of the stage at its usual point: a period that ends where it began, shown twice."""

from dataclasses import dataclass, replace

import numpy as np

from chargewright.circuit.deck import deck
from chargewright.circuit.elements import Switch, i_of, v_node
from chargewright.circuit.flow import evenly
from chargewright.circuit.steady import steady_state
from chargewright.studies.transients.product import Product, Standing, charging, words_of
from chargewright.studies.transients.record import Floats

_POINTS = 16
_SOC = 0.5
_DECK_CYCLES = 200


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SteadyWave:
    """Two equal switching periods of the stage; SI."""

    words: str
    t: Floats
    i_coil: Floats
    v_switch: Floats
    """At the node that the main leg switches."""
    i_input_capacitor: Floats
    """Into the input capacitors."""
    i_output_capacitor: Floats
    deck: str
    """The stage with source, pack and load in the Berkeley SPICE language."""

    def rms(self, of: Floats) -> float:
        """Return the root of the mean square of one of the waveforms, linear between its points."""
        a, b = of[:-1], of[1:]
        return float(np.sqrt(np.sum(np.diff(self.t) * (a * a + a * b + b * b)) / (3.0 * self.t[-1])))


def usual(product: Product) -> Standing:
    """Return the path with its strongest source charging a half full pack at the calmest load."""
    at, _ = charging(product, product.strongest, soc=_SOC, p_load=product.p_calm)
    return at


def steady_wave(product: Product) -> SteadyWave:
    """Return two of the stage's steady periods. Raises NoSolution where none closes."""
    at = usual(product)
    circuit = at.circuit
    points = evenly(steady_state(circuit, compiled=False), _POINTS)
    main = circuit.element(at.main)
    # Its node is the end that is neither the port of its leg nor ground.
    node = main.b if main.a in ("0", "in", "out") else main.a
    t = np.asarray(points.t - points.t[0])

    def twice(of: Floats) -> Floats:
        return np.concatenate([of, of])

    return SteadyWave(
        words=words_of(at, _SOC, product.p_calm),
        t=np.concatenate([t, t + circuit.period]),
        i_coil=twice(points.of(i_of("coil"))),
        v_switch=twice(points.of(v_node(node))),
        i_input_capacitor=twice(points.of(i_of("r_in"))),
        i_output_capacitor=twice(points.of(i_of("r_out"))),
        deck=stage_deck(product),
    )


def stage_deck(product: Product) -> str:
    """Return the open-loop stage with source, pack and load as a deck in the Berkeley SPICE language.

    Its synchronous switches follow their gates: diode emulation is left out, which at the usual point changes nothing.
    """
    circuit = usual(product).circuit
    plain = tuple(replace(e, emulate=False) if isinstance(e, Switch) else e for e in circuit.elements)
    wanted = (i_of("coil"), v_node("out"), v_node("in"), i_of("r_pack"))
    return deck(replace(circuit, elements=plain), cycles=_DECK_CYCLES, record=wanted)

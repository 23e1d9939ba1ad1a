"""What the inputs of the rails put on the bus: the capacitors of their regulators, in one place for all that need them.

They stand at the bus whatever the path is, and hold it in the first microseconds of a load step. Loops, transients,
event orders, usage and checks take them from here.
"""

from dataclasses import dataclass

from chargewright.base.units import show
from chargewright.parts.regulator import Regulator
from chargewright.physics.capacitor import joined_esr

C_IN = 10e-6
"""Effective capacitance at the input of a rail of which nothing is known [F] (common practice)."""
TOL_IN = 0.2
"""Tolerance of what is effective there [1], of a given value too (common practice: a ceramic's ±20 %)."""
ESR_IN = 3e-3
"""Series resistance at each of these inputs [Ω] (common practice: ceramics)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RailInputs:
    """The inputs of all rails together, as one capacitor on the bus."""

    c: float
    """Effective at the bus's voltage [F]."""
    c_low: float
    """At the lower end of its tolerance [F]."""
    c_high: float
    esr: float
    """Series resistance [Ω]: what loses the same in them as in the single ones while each takes its share."""
    words: str
    """A sentence for the assumptions."""


def rail_inputs(rails: tuple[Regulator, ...]) -> RailInputs:
    """Return the capacitors at the inputs of rails: what the design says, 10 µF each where it says nothing."""
    each = [C_IN if r.c_in is None else r.c_in for r in rails]
    c, esr = 0.0, ESR_IN
    for one in each:
        if one > 0.0:
            c, esr = c + one, float(joined_esr(c, esr, one, ESR_IN))
    return RailInputs(c=c, c_low=c * (1.0 - TOL_IN), c_high=c * (1.0 + TOL_IN), esr=esr, words=_words(rails, c))


def _words(rails: tuple[Regulator, ...], c: float) -> str:
    assumed = [r.name for r in rails if r.c_in is None]
    if not assumed:
        why = "as the design gives them"
    elif len(assumed) == len(rails):
        why = f"{show(C_IN, 'F')} for each rail (common practice; `input_capacitance` at a rail says better)"
    else:
        why = f"as the design gives them, {show(C_IN, 'F')} for {' and '.join(assumed)} (common practice)"
    return (
        f"The inputs of the rails put {show(c, 'F')} on the bus, {why}; effective at its voltage, "
        f"±{show(TOL_IN, '1')}, {show(ESR_IN, 'ohm')} in series with each."
    )

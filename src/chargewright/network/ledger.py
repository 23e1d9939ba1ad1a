"""The ledger of a solved state: every watt in the order of the path, from the same graph that was solved."""

import numpy as np

from chargewright.base.ledger import Ledger
from chargewright.network.solve import Solution

CAUSES = {
    "in_high_conduction": ("input-side high switch", "conduction"),
    "in_low_conduction": ("input-side low switch", "conduction"),
    "in_overlap": ("input-side high switch", "turn-on and turn-off overlap"),
    "in_capacitance": ("input-side high switch", "output capacitance"),
    "in_recovery": ("input-side high switch", "recovery of the low diode"),
    "in_dead_time": ("input-side low switch", "dead-time conduction"),
    "coil_winding": ("inductor", "winding, direct current"),
    "coil_ac": ("inductor", "winding, ripple"),
    "coil_core": ("inductor", "core"),
    "out_low_conduction": ("output-side low switch", "conduction"),
    "out_high_conduction": ("output-side high switch", "conduction"),
    "out_overlap": ("output-side low switch", "turn-on and turn-off overlap"),
    "out_capacitance": ("output-side low switch", "output capacitance"),
    "out_recovery": ("output-side low switch", "recovery of the high diode"),
    "out_dead_time": ("output-side high switch", "dead-time conduction"),
    "in_capacitor": ("input capacitors", "series resistance"),
    "out_capacitor": ("output capacitors", "series resistance"),
    "gate_drive": ("controller", "gate drive with its supply"),
    "quiescent": ("controller", "quiescent current"),
}
"""Stage loss to (place, cause), in the order of the loss table. Input and output are as power flows."""


def ledger_of(s: Solution) -> Ledger:
    """Return every watt of a solved state; arrays over its conditions. `unaccounted` is zero to rounding."""
    book = Ledger()
    zero = np.zeros(len(s.status))
    if s.state.source:
        book.add("source", "electromotive", "in", s.conditions.e_source * s.i.get("source", zero))
    if "pack" in s.i:
        cells = s.conditions.e_cells * s.i["pack"]
        book.add("cells", "discharge", "in", np.maximum(-cells, 0.0))
        book.add("cells", "stored", "out", np.maximum(cells, 0.0))
    book.add("rails", "load", "out", s.p_load)
    for wire in s.path.wires:
        if wire.key in s.wire_loss:
            cause = "linear drop" if wire.key == s.state.linear else "conduction"
            book.add(wire.name, cause, "loss", s.wire_loss[wire.key])
    for name, (place, cause) in CAUSES.items():
        loss = getattr(s.losses, name)
        if np.any(loss != 0.0):
            book.add(place, cause, "loss", loss)
    book.add("rails", "regulators", "loss", s.p_rails)
    return book

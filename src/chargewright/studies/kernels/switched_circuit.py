"""A switched circuit in time, from event to event."""

from chargewright.circuit._kernel import advance_periods
from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import Coil, Source
from chargewright.circuit.run import run
from chargewright.studies.kernels import Kernel


def _tiny() -> object:
    elements = (Source(name="source", a="a", b="0", v=1.0), Coil(name="coil", a="a", b="0", l=1e-6))
    return run(Circuit(elements=elements, period=1e-6), cycles=1, compiled=True)


KERNEL = Kernel(title="a switched circuit in time", function=advance_periods, tiny=_tiny, cost=9.0)

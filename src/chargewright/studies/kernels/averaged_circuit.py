"""An averaged circuit in time, step by step."""

from chargewright.circuit._averaged_kernel import advance
from chargewright.circuit.averaged import run_averaged
from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import Coil, Source
from chargewright.studies.kernels import Kernel


def _tiny() -> object:
    elements = (Source(name="source", a="a", b="0", v=1.0), Coil(name="coil", a="a", b="0", l=1e-6))
    return run_averaged(Circuit(elements=elements, period=1e-6), t_end=1e-6, compiled=True)


KERNEL = Kernel(title="an averaged circuit in time", function=advance, tiny=_tiny, cost=8.0)

"""Events in every order: what follows each, step by step."""

from typing import Any

from chargewright.sim._sequence_kernel import advance
from chargewright.sim.sequence import beginning, passage
from chargewright.sim.sequence_rules import Machine
from chargewright.studies.kernels import Kernel


def _tiny() -> object:
    # A product of nothing: every number is one.
    plain: dict[type, Any] = {bool: True, int: 1, float: 1.0}
    machine = Machine(**{name: plain[kind] for name, kind in Machine.__annotations__.items()})
    return passage(machine, beginning(machine), engine="compiled", longest=1e-6)


KERNEL = Kernel(title="events in every order", function=advance, tiny=_tiny, cost=5.0)

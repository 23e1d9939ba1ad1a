"""Many charges at once."""

from pathlib import Path

from chargewright.parts.pack import build_pack
from chargewright.sim._charge_batch_kernel import charge_many
from chargewright.sim.charge_batch import charge_batch
from chargewright.sim.charge_setup import charge_settings
from chargewright.spec.pack import ChargeSpec, PackSpec
from chargewright.studies.kernels import Kernel


def _tiny() -> object:
    pack = build_pack(PackSpec(cell="nmc-energy", series=2), Path())
    return charge_batch(pack, charge_settings(ChargeSpec(), pack), soc_start=0.99, temp_ambient=298.15)


KERNEL = Kernel(title="many charges at once", function=charge_many, tiny=_tiny, cost=12.0)

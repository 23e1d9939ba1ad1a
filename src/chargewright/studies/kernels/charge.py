"""One charge in time."""

from pathlib import Path

from chargewright.parts.pack import build_pack
from chargewright.sim._charge_kernel import charge_cell
from chargewright.sim.charge import run_charge
from chargewright.sim.charge_setup import QUICK, charge_settings
from chargewright.spec.pack import ChargeSpec, PackSpec
from chargewright.studies.kernels import Kernel


def _tiny() -> object:
    pack = build_pack(PackSpec(cell="nmc-energy", series=2), Path())
    settings = charge_settings(ChargeSpec(), pack)
    return run_charge(pack, settings, soc_start=0.99, temp_ambient=298.15, accuracy=QUICK, engine="compiled")


KERNEL = Kernel(title="a charge in time", function=charge_cell, tiny=_tiny, cost=10.0)

"""Days of use in steps."""

from pathlib import Path
from typing import Any

import numpy as np

from chargewright.parts.pack import build_pack
from chargewright.sim._usage_kernel import run_series
from chargewright.sim.charge_setup import charge_settings
from chargewright.sim.usage import Series, rested, run_usage
from chargewright.sim.usage_setup import PathTables, fold_charger, fold_pack
from chargewright.spec.pack import ChargeSpec, PackSpec
from chargewright.studies.kernels import Kernel


def _tiny() -> object:
    pack = build_pack(PackSpec(cell="nmc-energy", series=2), Path())
    tables = fold_pack(pack)
    rules = fold_charger(pack, charge_settings(ChargeSpec(), pack), recharge_drop=0.1, standby=0.0, ambient=298.15)
    series = Series(
        duration=np.array([60.0, 60.0]), power=np.ones(2), source=np.array([-1, -1], dtype=np.int8), sources=("source",)
    )
    start = rested(pack, tables, rules, soc=0.5, temp=298.15)
    return run_usage(tables, _path(), rules, series, start=start, length=120.0, engine="compiled")


def _path() -> PathTables:
    """Return a path of nothing: every table is the same run of ones."""
    plain: dict[type, Any] = {bool: True, int: 0, float: 1.0}
    fields = {name: plain[kind] for name, kind in PathTables.__annotations__.items() if kind in plain}
    return PathTables(store=np.ones(100), **fields | {"v_count": 2, "load_count": 2, "into_count": 2})


KERNEL = Kernel(title="days of use in steps", function=run_series, tiny=_tiny, cost=11.0)

"""Days of use in steps."""

from pathlib import Path

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
    counts, places = ("v_count", "load_count", "into_count"), (
        "load", "into", "charge_source", "charge_bus", "into_low", "into_high", "rest_source", "rest_bus",
        "flat_source", "flat_bus", "battery_power", "battery_bus", "beside", "limit", "trip", "trip_time",
    )  # fmt: skip
    return PathTables(
        store=np.ones(100),
        v_low=1.0,
        per_v=0.1,
        i_flat=0.1,
        helps=True,
        floats=False,
        **dict.fromkeys(counts, 2),
        **dict.fromkeys(places, 0),
    )


KERNEL = Kernel(title="days of use in steps", function=run_series, tiny=_tiny, cost=11.0)

"""Packs whose charge is known from elsewhere."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from chargewright.base.units import exact
from chargewright.parts import cells
from chargewright.parts.cell import ChargeZone, RcPair, frozen, with_top
from chargewright.parts.pack import Pack, build_pack
from chargewright.spec.pack import PackSpec

ANYWHERE = (ChargeZone(temp_low=200.0, temp_high=400.0, rate=10.0 / 3600.0, v_max=5.0),)


def single_cell_pack(key: str) -> Pack:
    """Return one generic cell without anything beside it, charged at any temperature and rate."""
    pack = build_pack(PackSpec(cell=key, series=1, interconnect=exact(0.0), protection=exact(0.0)), Path())
    return replace(pack, cell=replace(pack.cell, limits=replace(pack.cell.limits, zones=ANYWHERE)))


def table_pack(
    *, amp_hours: float, soc: npt.ArrayLike, ocv: npt.ArrayLike, r0: npt.ArrayLike, r1: float = 0.0, tau: float = 1.0,
    heat_capacity: float = 1e9, thermal_resistance: float = 1.0, v_max: float = 4.2, docv_dt: float = 0.0,
) -> Pack:  # fmt: skip
    """Return a pack of one cell that is given by its tables; isothermal unless a heat capacity is given."""
    pack = single_cell_pack("nmc-energy")
    rows = frozen(soc)
    soc_ocv, rest = with_top(rows, frozen(ocv), along_slope=True)
    r0_table = frozen(np.broadcast_to(r0, rows.shape)[:, None])
    one = frozen(np.ones((len(rows), 1)))
    pairs = (RcPair(r_charge=frozen(r1 * one), r_discharge=frozen(r1 * one), tau=frozen(tau * one)),) if r1 else ()
    cell = replace(
        pack.cell,
        key="table",
        capacity=amp_hours * 3600.0,
        charge_span=amp_hours * 3600.0,
        v_min=float(rest[0]),
        v_max=v_max,
        soc_ocv=soc_ocv,
        ocv=rest,
        docv_dt=frozen(np.full(len(rest), docv_dt)),
        soc=rows,
        temp=frozen([298.15]),
        r0_charge=r0_table,
        r0_discharge=r0_table,
        pairs=pairs,
        heat_capacity=heat_capacity,
        thermal_resistance=thermal_resistance,
        limits=replace(pack.cell.limits, v_precharge=0.5, v_upper=v_max + 0.05),
    )
    return replace(pack, cell=cell, v_cell_max=v_max, v_cell_min=cell.v_min)


@pytest.fixture
def make_table_pack() -> Callable[..., Pack]:
    return table_pack


@pytest.fixture
def make_single() -> Callable[[str], Pack]:
    return single_cell_pack


@pytest.fixture
def make_pack() -> Callable[..., Pack]:
    """Return a function that builds a pack from the keys of the design file."""

    def made(**keys: Any) -> Pack:
        return build_pack(PackSpec(**({"cell": "nmc-energy", "series": 2} | keys)), Path())

    return made


@pytest.fixture
def generic_keys() -> tuple[str, ...]:
    return cells.shelf.keys()


@pytest.fixture
def one_pair(make_table_pack: Callable[..., Pack]) -> Pack:
    """Return the cell of reference run o15: tables of rest voltage and R0, one RC pair, one thermal mass."""
    folder = Path(__file__).resolve().parents[1] / "data" / "reference_runs" / "o15_charge_ecm"
    given = json.loads((folder / "result.json").read_text())["parameters"]
    return make_table_pack(
        amp_hours=given["capacity_Ah"],
        soc=given["soc_table"],
        ocv=given["ocv_table_V"],
        r0=np.array(given["r0_table_ohm"]),
        r1=given["r1_ohm"],
        tau=given["r1_ohm"] * given["c1_F"],
        heat_capacity=given["thermal_mass_J_per_K"],
        thermal_resistance=1.0 / given["heat_transfer_W_per_K"],
    )

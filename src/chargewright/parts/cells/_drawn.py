"""Cells drawn from published parameter sets: their tables and limits in `data/`, made by `tools/draw_cells.py`."""

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from chargewright.base.units import ZERO_CELSIUS
from chargewright.parts._columns import read_columns
from chargewright.parts._grid import TABLE_UNITS, TEMP_REF, grid_of, require_cell
from chargewright.parts.cell import Cell, CellLimits, ChargeZone, RcPair, with_top

DATA = Path(__file__).parent / "data"
_HOUR = 3600.0


def drawn(key: str) -> Cell:
    """Return a generic cell of the shelf; `key` as the shelf spells it."""
    about = _about()["cells"][key]
    tables = about["tables"]
    fine = read_columns(DATA / tables["ocv"], TABLE_UNITS).values
    soc_ocv, ocv = with_top(fine["soc"], fine["ocv"], along_slope=True)
    soc, temp, quick = grid_of(
        read_columns(DATA / tables["resistance"], TABLE_UNITS), ("r0_charge", "r0_discharge", "r1", "tau1")
    )
    slow_soc, slow_temp, slow = grid_of(
        read_columns(DATA / tables["slow_pair"], TABLE_UNITS), ("r2_charge", "r2_discharge", "tau2")
    )
    assert np.array_equal(slow_soc, soc), f"{key}: both resistance tables have the same rows"
    assert np.array_equal(slow_temp, temp), f"{key}: both resistance tables have the same columns"
    rated = _number(about, "rated_capacity_Ah") * _HOUR
    cell = Cell(
        key=key,
        title=f"{about['title']} (generic)",
        chemistry=about["chemistry"],
        source=about["source"],
        cautions=tuple(about["cautions"]),
        capacity=rated,
        charge_span=_number(about, "capacity_Ah") * _HOUR,
        v_min=_number(about, "v_min_V"),
        v_max=_number(about, "v_max_V"),
        soc_ocv=soc_ocv,
        ocv=ocv,
        docv_dt=with_top(fine["soc"], fine["docv_dT"], along_slope=False)[1],
        temp_ref=TEMP_REF,
        soc=soc,
        temp=temp,
        r0_charge=quick["r0_charge"],
        r0_discharge=quick["r0_discharge"],
        pairs=(
            RcPair(r_charge=quick["r1"], r_discharge=quick["r1"], tau=quick["tau1"]),
            RcPair(r_charge=slow["r2_charge"], r_discharge=slow["r2_discharge"], tau=slow["tau2"]),
        ),
        limits=_limits(about, rated),
        heat_capacity=_number(about, "thermal_mass_J_per_K"),
        thermal_resistance=_number(about, "thermal_resistance_K_per_W"),
    )
    return require_cell(tables["resistance"], cell)


@cache
def _about() -> Any:
    return json.loads((DATA / "cells.json").read_text(encoding="utf-8"))


def _number(about: Any, name: str) -> float:
    return float(about[name]["value"])


def _limits(about: Any, rated: float) -> CellLimits:
    zones = tuple(
        ChargeZone(
            temp_low=zone["from_C"] + ZERO_CELSIUS,
            temp_high=zone["to_C"] + ZERO_CELSIUS,
            rate=zone["c_rate"] / _HOUR,
            v_max=zone["v_max_V"],
        )
        for zone in about["charge_zones"]["zones"]
    )
    return CellLimits(
        v_upper=_number(about, "v_upper_limit_V"),
        v_precharge=_number(about, "v_precharge_V"),
        zones=zones,
        rate_precharge=_number(about, "i_precharge_C") / _HOUR,
        rate_termination=_number(about, "i_termination_C") / _HOUR,
        rate_discharge=_number(about, "i_discharge_max_A") / rated,
        recharge_drop=_number(about, "v_recharge_drop_V"),
        temp_discharge_low=_number(about, "temp_discharge_min_C") + ZERO_CELSIUS,
        temp_discharge_high=_number(about, "temp_discharge_max_C") + ZERO_CELSIUS,
    )

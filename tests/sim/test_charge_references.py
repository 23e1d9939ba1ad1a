"""Charges against independent simulators. Data and conditions: tests/data/reference_runs and tests/data/cells."""

import csv
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chargewright.parts.pack import Pack
from chargewright.sim.charge import ChargeRun, run_charge
from chargewright.sim.charge_setup import QUICK, charge_settings
from chargewright.spec.fields import rate
from chargewright.spec.pack import ChargeSpec

DATA = Path(__file__).resolve().parents[1] / "data"
ROOM = 298.15
Make = Callable[..., Pack]


def reference(case: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((DATA / "reference_runs" / case / "result.json").read_text())
    return found


def columns(path: Path) -> dict[str, np.ndarray]:
    rows = list(csv.DictReader(path.read_text().splitlines()))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}


def charged(pack: Pack, c_rate: float, soc_start: float, **keys: Any) -> ChargeRun:
    """Return a charge at a rate, without precharge, to C/20."""
    settings = replace(charge_settings(ChargeSpec(current=rate(c_rate)), pack), v_precharge=0.5)
    return run_charge(pack, settings, soc_start=soc_start, **({"temp_ambient": ROOM} | keys))


@pytest.mark.parametrize("accuracy", ["fine", "quick"])
@pytest.mark.parametrize("c_rate", [0.5, 1.0])
def test_agrees_with_a_battery_simulator_on_the_same_equations(one_pair: Pack, c_rate: float, accuracy: str):
    # Outside check: reference run o15 (PyBaMM's equivalent circuit, checked there by another integration to 0.01 %).
    # Tolerances as its README asks: times, charge, energy 0.2 %; heat 0.5 %; temperature rise 1 %.
    expected = reference("o15_charge_ecm")["results"][f"{c_rate}C"]
    run = charged(one_pair, c_rate, 0.05, **({"accuracy": QUICK} if accuracy == "quick" else {}))
    assert run.t_end == pytest.approx(expected["charge_time_s"], rel=2e-3)
    assert run.t_voltage == pytest.approx(expected["cc_time_s"], rel=2e-3)
    assert run.t_80 == pytest.approx(expected["time_to_80pct_s"], rel=2e-3)
    assert run.charge / 3600.0 == pytest.approx(expected["charge_Ah"], rel=2e-3)
    assert run.energy_in / 3600.0 == pytest.approx(expected["energy_in_Wh"], rel=2e-3)
    assert run.heat_cells == pytest.approx(expected["heat_J"], rel=5e-3)
    assert run.trace.temp.max() - ROOM == pytest.approx(expected["t_rise_K"], rel=1e-2)
    assert run.trace.soc[-1] == pytest.approx(expected["soc_end"], rel=2e-3)


@pytest.mark.parametrize("c_rate", [0.5, 1.0])
def test_agrees_with_the_same_simulator_all_along_the_way(one_pair: Pack, c_rate: float):
    # Outside check: curves of o15. 1 mV, 0.2 % of the constant current and 0.1 K: the file's rounding and thinning.
    curve = columns(DATA / "reference_runs" / "o15_charge_ecm" / f"{c_rate}C.csv")
    trace = charged(one_pair, c_rate, 0.05).trace
    inside = (curve["t_s"] > 0.0) & (curve["t_s"] < trace.t[-1])
    t = curve["t_s"][inside]
    np.testing.assert_allclose(np.interp(t, trace.t, trace.v_pack), curve["v_V"][inside], atol=1e-3)
    np.testing.assert_allclose(np.interp(t, trace.t, trace.i), curve["i_A"][inside], atol=2e-3 * 4.0 * c_rate)
    np.testing.assert_allclose(np.interp(t, trace.t, trace.temp), curve["T_K"][inside], atol=0.1)


ROWS = list(csv.DictReader((DATA / "cells" / "reference_charges.csv").read_text().splitlines()))


@pytest.mark.parametrize("row", ROWS, ids=[f"{r['cell']}-{r['rate_C']}C-{r['temp_C']}degC" for r in ROWS])
def test_generic_cells_charge_as_the_full_model_of_their_set(make_single: Make, row: dict[str, str]):
    # Outside check: reference_charges.csv (Newman model of the published set, isothermal, from rest at 0 %), of which
    # the 25 °C rows of nmc-energy are check values CE10 and CE11 (2.447 h and 1.677 h). A circuit with two pairs fitted
    # at 0.5 C is not that model: 3 % of time is what it is good for, and its table says so.
    pack = make_single(row["cell"].replace("_", "-"))
    run = charged(pack, float(row["rate_C"]), 0.0, temp_ambient=float(row["temp_C"]) + 273.15, thermal_resistance=1e-6)
    assert run.t_80 == pytest.approx(float(row["t_80_s"]), rel=0.01)
    assert run.t_voltage == pytest.approx(float(row["t_cc_s"]), rel=0.03)
    assert run.t_end == pytest.approx(float(row["t_end_s"]), rel=0.03)
    assert run.trace.soc[-1] == pytest.approx(float(row["soc_end"]), abs=0.01)
    # Energies of the set's own cell; nmc-power is 3/5 of it.
    scale = pack.cell.capacity / 3600.0 / float(row["rated_Ah"])
    assert run.energy_in / 3600.0 == pytest.approx(scale * float(row["e_end_Wh"]), rel=0.01)


@pytest.mark.parametrize(("c_rate", "late"), [(0.5, 0.04), (1.0, 0.13)])
def test_a_physics_model_with_heat_is_not_far_away(make_single: Make, c_rate: float, late: float):
    # Report only (o16: single-particle model with electrolyte and lumped heat, Chen2020): time to 80 % within 4 %,
    # energy within 1 %, end 3 % early at 0.5 C and 12 % at 1 C. The circuit is warmer (6.2 against 4.1 K, 16.2 against
    # 12.7 K): it counts all of i·(v − ocv) as heat, where that model leaves out what uneven particles hold.
    expected = reference("o16_charge_chen2020")["results"][f"{c_rate}C"]
    run = charged(make_single("nmc-energy"), c_rate, 0.05)
    assert run.t_80 == pytest.approx(expected["time_to_80pct_s"], rel=0.04)
    assert run.energy_in / 3600.0 == pytest.approx(expected["energy_in_Wh"], rel=0.01)
    assert run.t_end == pytest.approx(expected["charge_time_s"], rel=late)
    assert 1.0 < (run.trace.temp.max() - ROOM) / expected["t_rise_max_K"] < 1.6


def test_lfp_hardly_has_a_constant_voltage_phase(make_single: Make):
    # Outside check CE13, for shape (its resistance is far above the generic cell's, CE15): 0.5 C takes 2.022 h, of
    # which 111 s at constant voltage; 1 C 1.032 h and 152 s. 3 %: with less resistance less is left for the taper.
    for c_rate, hours in ((0.5, 2.022), (1.0, 1.032)):
        run = charged(make_single("lfp"), c_rate, 0.0)
        assert run.t_end / 3600.0 == pytest.approx(hours, rel=0.03)
        assert run.t_end - run.t_voltage < 152.0


def test_a_cell_fitted_at_half_the_rate_foretells_the_full_rate(make_table_pack: Make):
    # Outside check: o17 (particle model of Prada2013). Rest voltage and the 0.5 C curve give a resistance over state of
    # charge; with it the 1 C charge is foretold. 1 %: kinetics soften with current, a resistance does not.
    folder = DATA / "reference_runs" / "o17_charge_prada2013"
    given = reference("o17_charge_prada2013")
    rest, curve = columns(folder / "ocv.csv"), columns(folder / "0.5C.csv")
    constant = curve["i_A"] > 0.999 * curve["i_A"][0]
    drop = curve["v_V"][constant] - np.interp(curve["soc"][constant], rest["soc"], rest["ocv_V"])
    r = np.interp(rest["soc"], curve["soc"][constant], drop / curve["i_A"][0])
    pack = make_table_pack(
        amp_hours=given["capacity_between_limits_Ah"], soc=rest["soc"], ocv=rest["ocv_V"], r0=r, v_max=3.6
    )
    pack = replace(pack, cell=replace(pack.cell, capacity=given["nominal_capacity_Ah"] * 3600.0))
    run, expected = charged(pack, 1.0, 0.05), given["results"]["1.0C"]
    assert run.t_80 == pytest.approx(expected["time_to_80pct_s"], rel=0.01)
    assert run.t_end == pytest.approx(expected["charge_time_s"], rel=0.01)
    assert run.energy_in / 3600.0 == pytest.approx(expected["energy_in_Wh"], rel=0.01)

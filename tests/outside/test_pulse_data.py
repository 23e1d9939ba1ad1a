"""Fits of pulse tests that were made elsewhere. Data and conditions: tests/data/pulse_tests."""

import csv
import json
from dataclasses import replace
from math import exp
from pathlib import Path

import pytest

from chargewright.base.units import exact
from chargewright.parts.cell import ChargeZone
from chargewright.parts.pack import build_pack
from chargewright.parts.pulse_fit import PulseFit, fit_pulses, write_cell_table
from chargewright.parts.pulse_log import read_pulse_log
from chargewright.sim.charge import ChargeRun, run_charge
from chargewright.sim.charge_setup import charge_settings
from chargewright.spec.fields import rate
from chargewright.spec.pack import ChargeSpec, PackSpec

DATA = Path(__file__).resolve().parents[1] / "data"
ANYWHERE = (ChargeZone(temp_low=200.0, temp_high=400.0, rate=10.0 / 3600.0, v_max=5.0),)


def small_cell(pairs: int = 1) -> PulseFit:
    # Charge between 0 and 100 % is not said with the data; the pulses lie between 0.99 and 0.02 of what was moved.
    return fit_pulses(
        read_pulse_log(DATA / "pulse_tests" / "small_cell_hppc.csv"), capacity=11.886, soc_start=0.99, pairs=pairs
    )


def test_pulses_held_out_of_a_small_cell_s_fit_are_foretold_within_5_mv():
    # Outside data: pulse set of the package ampworks 0.1.0, evidently made by a physics model, not measured. 5 mV as
    # asked for; the pulses there move the voltage by 60 to 110 mV.
    fit = small_cell()
    assert len(fit.levels) == 9
    assert len(fit.held_out) >= 2
    assert fit.held_out_rms < 5e-3
    assert fit.residual_rms < 5e-3


def test_the_fitted_resistances_are_those_that_the_traces_show():
    # Second road: reference run o18 reads R off the same traces, without a model: 1 ms after the edge it is R0, after
    # 30 s R0 and what a pair has taken up. Within 3 %: a fit of one pair is no straight reading; o18 has ohms.
    table = DATA / "reference_runs" / "o18_pulse_table" / "pulse_resistance.csv"
    rows = list(csv.DictReader(table.read_text().splitlines()))
    levels = sorted(small_cell().levels, key=lambda level: -level.soc)
    for row in rows:
        level = levels[(int(row["level"]) - 1)]
        assert level.r0.value == pytest.approx(float(row["r_1ms_ohm"]), rel=0.03)
        (r, tau) = level.pairs[0]
        # The slope of the rest voltage over the charge of a 30 s pulse is in the reading, not in the pair.
        after_30 = level.r0.value + r.value * (1.0 - exp(-30.0 / tau.value)) + level.slope * 30.0
        assert after_30 == pytest.approx(float(row["r_30s_ohm"]), rel=0.03)


CHEN = {
    row["rate_C"]: (float(row["t_80_s"]), float(row["t_end_s"]))
    for row in csv.DictReader((DATA / "cells" / "reference_charges.csv").read_text().splitlines())
    if row["cell"] == "nmc_energy" and row["temp_C"] == "25.0"
}
PRADA = {
    name[:-1]: (row["time_to_80pct_s"], row["charge_time_s"])
    for name, row in json.loads((DATA / "reference_runs" / "o17_charge_prada2013" / "result.json").read_text())[
        "results"
    ].items()
}
SETS = [
    ("chen2020", "nmc-energy", 5.1532, 5.0, 4.2, 0.0, CHEN),
    ("prada2013", "lfp", 2.25161, 2.3, 3.6, 0.05, PRADA),
]


@pytest.mark.parametrize(("name", "like", "amp_hours", "rated", "v_max", "soc_start", "known"), SETS)
def test_a_cell_fitted_to_pulses_charges_as_the_full_model(
    tmp_path: Path, name: str, like: str, amp_hours: float, rated: float, v_max: float, soc_start: float,
    known: dict[str, tuple[float, float]],
):  # fmt: skip
    # Outside check: a physics-based model of a published set is pulsed, two RC pairs are fitted here, and the charge is
    # foretold. Reference charges of the same sets: reference_charges.csv (Newman model, from 0 %) and reference run o17
    # (single-particle model, from 5 %), both isothermal, to C/20. Time to 80 % and to termination within 3 %.
    fit = fit_pulses(
        read_pulse_log(DATA / "pulse_tests" / f"{name}.csv"), capacity=amp_hours * 3600.0, soc_start=0.0, pairs=2
    )
    write_cell_table(fit, tmp_path / "cell.csv", like=like, v_min=2.5, v_max=v_max)
    spec = PackSpec(cell="cell.csv", series=1, interconnect=exact(0.0), protection=exact(0.0))
    pack = build_pack(spec, tmp_path)
    limits = replace(pack.cell.limits, zones=ANYWHERE)
    pack = replace(pack, cell=replace(pack.cell, capacity=rated * 3600.0, limits=limits))
    assert set(known) == {"0.5", "1.0"}
    for c_rate, (t_80, t_end) in known.items():
        settings = replace(charge_settings(ChargeSpec(current=rate(float(c_rate))), pack), v_precharge=0.5)
        run: ChargeRun = run_charge(pack, settings, soc_start=soc_start, temp_ambient=298.15, thermal_resistance=1e-6)
        assert run.t_80 == pytest.approx(t_80, rel=0.03)
        assert run.t_end == pytest.approx(t_end, rel=0.03)

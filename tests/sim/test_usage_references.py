"""The usage engine against an independent simulator, step by step. Data: tests/data/reference_runs/o15_charge_ecm."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from ideal_path import count, path_of, rows_of, run, settings_of

DATA = Path(__file__).resolve().parents[1] / "data" / "reference_runs" / "o15_charge_ecm"
ROOM = 298.15


@pytest.mark.parametrize(("step", "apart"), [(1.0, 2e-3), (10.0, 5e-3), (60.0, 3e-2)])
@pytest.mark.parametrize("c_rate", [0.5, 1.0])
def test_a_charge_in_steps_is_that_of_a_battery_simulator(one_pair, c_rate, step, apart):
    # Outside check: reference run o15 (PyBaMM's equivalent circuit: the same tables, 0.5 C and 1 C from 5 % to C/20).
    # A step holds its current, so the taper lags by half a step of its time constant (some 20 minutes): 2 % of
    # time in steps of a minute. 0.2 % with steps of a second, as for the charge engine.
    expected = json.loads((DATA / "result.json").read_text())["results"][f"{c_rate}C"]
    rated = one_pair.capacity / 3600.0
    wanted = settings_of(one_pair, i_charge=c_rate * rated, i_termination=0.05 * rated, v_precharge=0.5)
    path = path_of(limits=(1e3,), most_into=200.0)
    found = run(one_pair, path, [(4 * 3600.0, 0.0, 0)], soc=0.05, settings=wanted, temp=ROOM, longest=step)
    assert count(found, "charge ended") == 1
    rows = rows_of(found)
    flows = rows["i"] > 0.0
    t_end = float(rows["t"][flows][-1]) + step
    t_80 = float(np.interp(0.8, rows["soc"], rows["t"]))
    assert t_end == pytest.approx(expected["charge_time_s"], rel=apart, abs=step)
    assert t_80 == pytest.approx(expected["time_to_80pct_s"], rel=apart)
    assert float(np.sum(rows["i"]) * step) / 3600.0 == pytest.approx(expected["charge_Ah"], rel=apart)
    assert float(np.sum(rows["i"] * rows["v"]) * step) / 3600.0 == pytest.approx(expected["energy_in_Wh"], rel=apart)
    assert rows["temp"].max() - ROOM == pytest.approx(expected["t_rise_K"], rel=1e-2 if step < 60.0 else 0.03)
    # And all along the way: the mean voltage of a step stands in its middle.
    curve = list(csv.DictReader((DATA / f"{c_rate}C.csv").read_text().splitlines()))
    t, v = (np.array([float(row[name]) for row in curve]) for name in ("t_s", "v_V"))
    inside = (t > 120.0) & (t < t_end - 120.0)
    told = np.interp(t[inside], rows["t"][flows] + 0.5 * step, rows["v"][flows])
    np.testing.assert_allclose(told, v[inside], atol=2e-3 if step < 60.0 else 8e-3)  # 0.2 % of full scale

"""What holds for any use of any pack from any source: energy and charge are kept, no limit is passed, one answer."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from ideal_path import count, path_of, rows_of, run, settings_of

from chargewright.base.compiled import numba_module
from chargewright.parts import cells
from chargewright.parts.cell import frozen, ocv
from chargewright.parts.pack import build_pack, lowest_cell_voltage, pack_charge_current
from chargewright.sim import usage_rules as code
from chargewright.spec.fields import rate
from chargewright.spec.pack import PackSpec

CASES = st.fixed_dictionaries(
    {
        "cell": st.sampled_from(cells.shelf.keys()),
        "series": st.integers(2, 6),
        "parallel": st.integers(1, 3),
        "sensed_at": st.sampled_from(["cells", "converter"]),
        "rate": st.floats(0.1, 0.7),
        "soc": st.floats(0.02, 1.0),
        "temp": st.floats(268.0, 318.0),
        "watts": st.floats(5.0, 60.0),
        "eta": st.floats(0.85, 1.0),
        "fixed": st.floats(0.0, 1.0),
        "helps": st.booleans(),
        "exposed": st.booleans(),
        "trip_kind": st.sampled_from([code.RETURNS, code.RETRIES, code.LATCHES]),
        "retry": st.sampled_from([0.5, 5.0, 90.0]),
        "feed": st.sampled_from([(0, 1), (0, 0)]),
        "cold": st.sampled_from([None, 272.0, 290.0]),
        "spread": st.sampled_from([0.0, 0.03, 0.1]),
        "balance": st.sampled_from([0.0, 0.05]),
        "branches": st.sampled_from([0.0, 0.01]),
        "self_discharge": st.sampled_from([0.0, 1e-8, 1e-6]),
        "enclosure": st.sampled_from([0.0, 2.0]),
        "step": st.sampled_from([1.0, 7.0, 60.0]),
        "stretches": st.lists(
            st.tuples(st.floats(30.0, 1200.0), st.floats(0.0, 90.0), st.sampled_from([-1, 0, 1])),
            min_size=2,
            max_size=4,
        ),
    }
)
"""Packs, sources, paths and loads, as plain numbers."""


def setup_of(case):
    spec = PackSpec(
        cell=case["cell"], series=case["series"], parallel=case["parallel"], sensed_at=case["sensed_at"],
        i_discharge_max=rate(1.5), spread_capacity=case["spread"], spread_resistance=2.0 * case["spread"],
        spread_soc=0.3 * case["spread"], balance_current=case["balance"],
    )  # fmt: skip
    pack = build_pack(spec, Path())
    if case["branches"] > 0.0:
        cell = pack.cell
        up, down = frozen(cell.ocv + case["branches"]), frozen(cell.ocv - case["branches"])
        pack = replace(pack, cell=replace(cell, ocv_charge=up, ocv_discharge=down))
    if case["cold"] is not None:
        limits = replace(pack.cell.limits, temp_discharge_low=case["cold"], temp_discharge_high=case["cold"] + 20.0)
        pack = replace(pack, cell=replace(pack.cell, limits=limits))
    i = case["rate"] * pack.capacity / 3600.0
    wanted = settings_of(pack, i_charge=i, i_termination=0.05 * pack.capacity / 3600.0, i_precharge=0.1 * i)
    path = path_of(
        limits=(case["watts"], 0.5 * case["watts"]),
        fixed=case["fixed"],
        eta_charge=case["eta"],
        eta_help=case["eta"],
        eta_battery=case["eta"],
        helps=case["helps"],
        trip=1.1 * case["watts"],
        trip_time=20.0,
        trip_kind=case["trip_kind"],
        exposed=case["exposed"],
        feed=case["feed"],
    )
    return pack, wanted, path


def lived(case, engine="plain", **rules):
    pack, wanted, path = setup_of(case)
    stretches = [*case["stretches"], (1.0, 0.1, 0), (1.0, 0.1, 1)]  # both sources are known in any case
    found = run(
        pack, path, stretches, soc=case["soc"], settings=wanted, engine=engine, temp=case["temp"], standby=0.05,
        self_discharge=case["self_discharge"], enclosure=case["enclosure"], longest=case["step"],
        retry=case["retry"], **rules,
    )  # fmt: skip
    return pack, wanted, path, found


@settings(max_examples=25)
@given(case=CASES)
def test_charge_and_energy_are_kept(case):
    pack, _, _, found = lived(case)
    t = found.total
    rows = rows_of(found)
    dt = np.diff(np.append(rows["t"], sum(s[0] for s in case["stretches"]) + 2.0))
    scale = np.sum(np.abs(rows["v"] * rows["i"]) * dt) + np.sum(rows["p_source"] * dt) + 1e-9
    # Charge, from the rows alone: what flows in is what is there afterwards. 1e-6 is the promise, 1e-9 is met.
    moved = float(np.sum(rows["i"] * dt)) - t(code.Q_SELF)
    assert found.end.charge - found.start.charge == pytest.approx(moved, abs=1e-9 * pack.charge_span)
    # Path: source and pack against load and losses, each from the rows.
    into = float(np.sum(rows["v"] * rows["i"] * dt))
    load = float(np.sum(rows["p_load"] * dt))
    assert float(np.sum(rows["p_source"] * dt)) == pytest.approx(into + load + t(code.E_PATH), abs=1e-6 * scale)
    # Pack: what goes through the terminals is stored, lost, or still polarisation.
    kept = t(code.S_IN) - t(code.S_OUT) + t(code.HEAT_CELLS) + t(code.HEAT_LEADS) + t(code.E_PAIRS)
    assert into == pytest.approx(kept, abs=1e-6 * scale)
    # Cells: the rest voltage integrated over charge, on another grid than the engine's, at the reference temperature.
    fine = np.linspace(found.start.charge, found.end.charge, 20001) / pack.charge_span
    v = pack.series * ocv(pack.cell, np.clip(fine, 0.0, 1.05), pack.cell.temp_ref)
    stored = float(np.trapezoid(v, fine)) * pack.charge_span
    by_rest = t(code.S_IN) - t(code.S_OUT) - t(code.E_WARMTH) - t(code.E_SELF)
    # The engine's rest voltage has a point every 0.1 %; steep ends of flat curves differ by some 1e-5 there.
    assert stored == pytest.approx(by_rest, abs=1e-6 * scale + 1e-5 * pack.charge_span * pack.v_full)


@settings(max_examples=25)
@given(case=CASES)
def test_no_limit_is_passed(case):
    pack, wanted, _, found = lived(case)
    rows = rows_of(found)
    limits = np.array([case["watts"], 0.5 * case["watts"]])
    on_source = rows["source"] >= 0
    over = np.zeros(len(rows["t"]), dtype=bool)
    over[on_source] = rows["p_source"][on_source] > limits[rows["source"][on_source].astype(int)] * (1.0 + 2e-6)
    # Only a source that is overloaded for a short while, where the pack cannot help, gives more; and never its trip.
    assert not np.any(over) or not case["helps"]
    assert np.all(rows["p_source"][over] <= 1.1 * case["watts"] * (1.0 + 1e-9))
    assert np.sum(over) == 0 or found.total(code.T_OVER) > 0.0
    charging = rows["i"] > 0.0
    assert np.all(rows["i"] <= wanted.i_charge * (1.0 + 1e-12))
    assert np.all(rows["i"] >= -pack.i_discharge_max * (1.0 + 1e-12))
    # Charge current against the cell's zone; a pack may leave a zone during a step and by the hysteresis.
    zone = np.maximum.reduce([np.asarray(pack_charge_current(pack, rows["temp"] + d)) for d in (-2.5, 0.0, 2.5)])
    assert np.all(rows["i"][charging] <= zone[charging] * (1.0 + 1e-9))
    # The charge voltage holds where it is sensed; its terminals stand higher by the lead's drop. 1 mV a cell.
    lead = pack.lead_resistance if pack.sensed_at == "cells" else 0.0
    assert np.all((rows["v"] - lead * rows["i"])[charging] <= pack.v_full + 1e-3 * pack.series)
    served = (rows["p_load"] > 0.05) & (rows["source"] < 0)
    assert np.all(rows["v"][served] >= pack.v_empty)
    assert np.all((rows["soc"] >= 0.0) & (rows["soc"] <= 1.05))
    # A pack that is too cold or too hot gives nothing; the rows tell the temperature at the start of their step.
    limits = pack.cell.limits
    refused = (rows["temp"] < limits.temp_discharge_low) | (rows["temp"] > limits.temp_discharge_high)
    assert np.all(rows["i"][refused] >= 0.0)
    # While the product runs on its pack, even the lowest cell is not too low: another road than the engine's.
    lowest = lowest_cell_voltage(pack, rows["soc"], rows["temp"], 0.0)
    assert np.all(lowest[served] >= pack.v_cell_min)
    # A source that has tripped gives nothing, and only one whose bus hangs on it trips.
    assert found.total(code.TRIPS) == 0.0 or case["exposed"]
    assert np.all(rows["p_load"] <= 90.0)


@settings(max_examples=12)
@given(case=CASES)
def test_a_series_in_two_parts_is_the_series_in_one(case):
    pack, wanted, path = setup_of(case)
    same = {"soc": case["soc"], "settings": wanted, "temp": case["temp"], "longest": case["step"], "dwell": 0.0}
    stretches = [*case["stretches"], (1.0, 0.1, 0), (1.0, 0.1, 1)]
    whole = run(pack, path, stretches, **same)
    # The same stretches cut in two halves, which are whole numbers of steps.
    halves = []
    for duration, power, source in stretches:
        count_of = max(1, int(np.ceil(duration / case["step"] - 1e-9)))
        first = duration * (count_of // 2) / count_of
        halves += [(first, power, source)] * (first > 0.0) + [(duration - first, power, source)]
    cut = run(pack, path, halves, **same)
    assert cut.end.charge == pytest.approx(whole.end.charge, abs=1e-6 * pack.charge_span)
    assert cut.total(code.E_SOURCE) == pytest.approx(whole.total(code.E_SOURCE), rel=1e-6, abs=1e-6)


@settings(max_examples=15)
@given(case=CASES)
def test_steps_that_are_longer_while_nothing_is_near_change_little(case):
    pack, _, _, fine = lived(case | {"step": 30.0})
    _, _, _, coarse = lived(case | {"step": 30.0}, steady=5, calm=10)
    # Where nothing is shut down; a shut-down a step earlier is another story from there on.
    assume(fine.total(code.T_UNSERVED) == coarse.total(code.T_UNSERVED) == 0.0)
    # Steps of 150 s where 30 s were: the taper and the source's limit are met a step later at most.
    assert coarse.end.charge == pytest.approx(fine.end.charge, abs=0.02 * pack.charge_span)
    assert coarse.total(code.E_LOAD) == pytest.approx(fine.total(code.E_LOAD), rel=1e-9)


def test_more_from_the_source_is_never_less_in_the_pack():
    base = {
        "cell": "nmc-energy", "series": 3, "parallel": 1, "sensed_at": "cells", "rate": 0.5, "soc": 0.2, "temp": 298.15,
        "eta": 0.95, "fixed": 0.2, "helps": True, "self_discharge": 0.0, "enclosure": 0.0, "step": 10.0,
        "exposed": True, "trip_kind": code.RETRIES, "retry": 5.0, "feed": (0, 1), "cold": None, "spread": 0.02,
        "balance": 0.0, "branches": 0.0,
        "stretches": [(3600.0, 20.0, 0), (600.0, 60.0, 0), (1800.0, 5.0, 0)],
    }  # fmt: skip
    ends = [lived(base | {"watts": w})[3].end.charge for w in (20.0, 30.0, 40.0, 60.0, 80.0)]
    assert all(a <= b + 1e-6 for a, b in pairwise(ends))
    assert ends[-1] > ends[0]


@pytest.mark.slow
@settings(max_examples=25)
@given(case=CASES)
def test_plain_and_compiled_give_the_same_numbers(case):
    if numba_module() is None:
        pytest.skip("numba is not installed, so there is nothing to compare")
    _, _, _, plain = lived(case)
    _, _, _, fast = lived(case, engine="compiled")
    # The same operations in the same order; exponentials of two libraries differ in their last digit.
    np.testing.assert_allclose(fast.rows, plain.rows, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(fast.days, plain.days, rtol=1e-9, atol=1e-6)
    np.testing.assert_array_equal(fast.counts, plain.counts)
    np.testing.assert_allclose(fast.seconds, plain.seconds, rtol=1e-12, atol=1e-9)
    np.testing.assert_allclose(fast.spent, plain.spent, rtol=1e-9, atol=1e-6)


def test_a_full_pack_on_a_strong_source_is_left_alone():
    case = {
        "cell": "lfp", "series": 4, "parallel": 1, "sensed_at": "converter", "rate": 0.5, "soc": 1.0, "temp": 298.15,
        "watts": 60.0, "eta": 1.0, "fixed": 0.0, "helps": True, "self_discharge": 0.0, "enclosure": 0.0, "step": 60.0,
        "exposed": True, "trip_kind": code.RETRIES, "retry": 5.0, "feed": (0, 1), "cold": None, "spread": 0.02,
        "balance": 0.0, "branches": 0.0,
        "stretches": [(86400.0, 10.0, 0)],
    }  # fmt: skip
    found = lived(case)[3]
    assert found.total(code.Q_IN) == found.total(code.Q_OUT) == 0.0
    assert count(found, "charge ended") == 0

"""The limit that a run names at each moment, against its waveforms: that quantity is at its limit, no other beyond.

Both engines, over random packs, sources, loads and temperatures. Nothing here asks the engines what they meant:
current, voltage, power and temperature of the trace are set against the limits of pack, charger and source.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st
from ideal_path import path_of, rows_of, run, settings_of

from chargewright.parts import cells
from chargewright.parts.pack import Pack, build_pack, pack_charge_current, pack_charge_voltage
from chargewright.sim import usage_rules as code
from chargewright.sim.charge import LIMITS, run_charge
from chargewright.sim.charge_setup import charge_settings
from chargewright.spec.fields import rate
from chargewright.spec.pack import ChargeSpec, PackSpec

HYSTERESIS, COLD_BAND = 2.0, 0.5
PACKS = {
    "cell": st.sampled_from(cells.shelf.keys()),
    "series": st.integers(2, 5),
    "parallel": st.integers(1, 2),
    "sensed_at": st.sampled_from(["cells", "converter"]),
    "current": st.floats(0.1, 1.0),
    "soc": st.one_of(st.floats(0.0, 0.03), st.floats(0.0, 0.97), st.floats(0.85, 0.97)),
    "temp": st.floats(266.0, 322.0),
    "watts": st.floats(3.0, 80.0),
}


def pack_of(case: dict[str, Any]) -> Pack:
    names = ("cell", "series", "parallel", "sensed_at")
    return build_pack(PackSpec(**{n: case[n] for n in names}, i_discharge_max=rate(1.5)), Path())


def near(values: Any, temp: Any, band: float = 0.05) -> list[Any]:
    """Return what the zones allow at a temperature and within their hysteresis around it."""
    shifts = (0.0, band, -band, HYSTERESIS + band, -HYSTERESIS - band, COLD_BAND + band)
    return [np.asarray(values(temp + d)) for d in shifts]


def sensed_of(pack: Pack, v: Any, i: Any) -> Any:
    return v - (i * pack.lead_resistance if pack.sensed_at == "cells" else 0.0)


@settings(max_examples=40)
@given(st.fixed_dictionaries(PACKS | {"temp_start": st.floats(266.0, 322.0)}))
def test_a_charge_names_the_limit_that_its_waveforms_show(case):
    pack = pack_of(case)
    wanted = charge_settings(ChargeSpec(current=rate(case["current"])), pack)
    trace = run_charge(
        pack, wanted, soc_start=case["soc"], temp_ambient=case["temp"], temp_start=case["temp_start"],
        available=lambda v: case["watts"] / v,
    ).trace  # fmt: skip
    i, v = trace.i, sensed_of(pack, trace.v_pack, trace.i)
    allowed = near(lambda t: pack_charge_current(pack, t), trace.temp)
    v_most = near(lambda t: pack_charge_voltage(pack, t), trace.temp)
    left = case["watts"] / trace.v_pack
    at = {
        "precharge": np.isclose(i, wanted.i_precharge, rtol=1e-9),
        "charge current": np.isclose(i, wanted.i_charge, rtol=1e-9),
        # 1e-5: the current is solved with the temperature foreseen for the end of the step.
        "charge voltage": np.any([np.isclose(v, np.minimum(m, wanted.v_set), rtol=1e-5) for m in v_most], axis=0),
        "source": np.isclose(i, left, rtol=1e-4),
        "temperature": np.any([np.isclose(i, a, rtol=1e-9, atol=1e-12) for a in allowed], axis=0),
    }
    for name, held in at.items():
        named = trace.limit == LIMITS.index(name)
        if named.any():
            event(name)
        assert np.all(held[named]), name
    # And no other is passed: current of the stage, zone, source, charge voltage.
    assert np.all(i <= max(wanted.i_charge, wanted.i_precharge) * (1.0 + 1e-9))
    assert np.all(i <= np.max(allowed, axis=0) * (1.0 + 1e-9))
    assert np.all(i <= left * (1.0 + 1e-4))
    assert np.all(v <= wanted.v_set * (1.0 + 1e-5))


USES = PACKS | {
    "helps": st.booleans(),
    "eta": st.floats(0.85, 1.0),
    "stretches": st.lists(
        st.tuples(st.floats(60.0, 900.0), st.floats(0.0, 60.0), st.sampled_from([-1, 0, 0, 1])), min_size=2, max_size=5
    ),
}


@settings(max_examples=30)
@given(st.fixed_dictionaries(USES))
def test_a_use_names_the_limit_that_its_waveforms_show(case):
    pack = pack_of(case)
    rated = pack.capacity / 3600.0
    wanted = settings_of(
        pack, i_charge=case["current"] * rated, i_precharge=0.08 * rated, i_termination=0.05 * rated
    )  # fmt: skip
    limits = np.array([case["watts"], 0.6 * case["watts"]])
    path = path_of(limits=limits, eta_charge=case["eta"], eta_help=case["eta"], helps=case["helps"], most_into=500.0)
    stretches = [*case["stretches"], (1.0, 0.1, 0), (1.0, 0.1, 1)]
    found = run(
        pack, path, stretches, soc=case["soc"], settings=wanted, temp=case["temp"], standby=0.05, recharge_drop=5e-3
    )
    rows = rows_of(found)
    i, v = rows["i"], sensed_of(pack, rows["v"], rows["i"])
    state = np.array(code.STATES)[rows["state"].astype(int)]
    limit = np.array(code.LIMITS)[rows["limit"].astype(int)]
    fed = rows["source"] >= 0
    most = np.where(fed, limits[np.maximum(rows["source"].astype(int), 0)], np.inf)
    allowed = near(lambda t: pack_charge_current(pack, t), rows["temp"], band=0.2)
    v_most = near(lambda t: pack_charge_voltage(pack, t), rows["temp"], band=0.2)
    # Over a step of a second the mean voltage of the row is below that at its end, where the charge voltage holds.
    band = 3e-3 * pack.series
    at_v = np.any([np.abs(v - np.minimum(m, pack.v_full)) < band for m in v_most], axis=0)
    charging = np.isin(state, ("charging", "shared", "flat pack"))
    at = {
        ("precharge current", ""): np.isclose(i, wanted.i_precharge, rtol=1e-9),
        ("charge current", ""): np.isclose(i, wanted.i_charge, rtol=1e-9),
        ("charge voltage", ""): at_v | (i == 0.0),
        ("source current", "shared"): np.isclose(rows["p_source"], most, rtol=1e-6),
        ("source current", "supplement"): np.isclose(rows["p_source"], most, rtol=1e-6),
        ("headroom after supplement", ""): (rows["p_source"] < most) & (i == 0.0),
        ("temperature", ""): np.any([np.isclose(i, a, rtol=1e-9, atol=1e-12) for a in allowed], axis=0),
    }
    for (name, only), held in at.items():
        named = fed & (limit == name) & ((state == only) if only else charging | (state == "charge waits"))
        if named.any():
            event(f"{name} {only}")
        assert np.all(held[named]), (name, only)
    # No other is passed.
    assert np.all(i[charging] <= wanted.i_charge * (1.0 + 1e-9))
    assert np.all(i[charging] <= np.max(allowed, axis=0)[charging] * (1.0 + 1e-9))
    assert np.all(v[charging] <= pack.v_full + 1e-3 * pack.series)
    assert np.all(rows["p_source"] <= most * (1.0 + 2e-6))
    # A charger at rest has a reason: the pack is full, or one that is named.
    waits = fed & (state == "charge waits") & (i == 0.0)
    assert not np.any(limit[waits] == "none")
    # Sharing is for want of power alone: with the whole wanted current the source would be past its limit.
    shared = state == "shared"
    full = rows["p_load"] + np.minimum(wanted.i_charge, np.max(allowed, axis=0)) * rows["v"] / case["eta"]
    assert np.all(full[shared] >= most[shared] * (1.0 - 1e-6))


@pytest.mark.parametrize("load", [0.0, 30.0, 50.0, 58.0, 59.99, 60.0, 60.01, 90.0])
def test_what_is_left_over_has_no_jump_at_the_source_s_limit(load):
    # Around the limit the pack's current goes through zero, from charge to supplement.
    pack = build_pack(PackSpec(cell="nmc-energy", series=3), Path())
    wanted = settings_of(pack, i_charge=2.0, i_termination=0.1)
    rows = rows_of(run(pack, path_of(), [(5.0, load, 0)], soc=0.5, settings=wanted))
    into = rows["i"] * rows["v"]
    np.testing.assert_allclose(into, np.minimum(60.0 - load, 2.0 * rows["v"]), atol=1e-4)

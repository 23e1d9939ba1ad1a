"""What holds for any charge: charge and energy are kept, both engines agree, more is never less."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargewright.parts import cells
from chargewright.parts.cell import ocv, pair_resistance, r0
from chargewright.parts.pack import Pack, build_pack
from chargewright.sim.charge import ChargeRun, run_charge
from chargewright.sim.charge_setup import FINE, ChargeSettings, charge_settings
from chargewright.spec.fields import rate
from chargewright.spec.pack import ChargeSpec, PackSpec

Make = Callable[..., Pack]


CASES = st.fixed_dictionaries(
    {
        "cell": st.sampled_from(cells.shelf.keys()),
        "series": st.integers(1, 6),
        "parallel": st.integers(1, 3),
        "spread_capacity": st.sampled_from([0.0, 0.01]),
        "sensed_at": st.sampled_from(["cells", "converter"]),
        "current": st.floats(0.1, 1.0),
        "termination": st.floats(0.02, 0.09),
        "watts": st.one_of(st.none(), st.floats(2.0, 60.0)),
        "soc_start": st.floats(0.0, 0.95),
        "temp_ambient": st.floats(265.0, 325.0),
        "temp_start": st.floats(265.0, 325.0),
    }
)
"""Packs, wishes, sources and temperatures, as plain numbers."""


def run_of(case: dict[str, Any]) -> tuple[Pack, ChargeSettings, ChargeRun]:
    names = ("cell", "series", "parallel", "spread_capacity", "sensed_at")
    pack = build_pack(PackSpec(**{name: case[name] for name in names}), Path())
    wanted = charge_settings(ChargeSpec(current=rate(case["current"]), termination=rate(case["termination"])), pack)
    run = run_charge(
        pack,
        wanted,
        available=None if case["watts"] is None else lambda v: case["watts"] / v,
        **{name: case[name] for name in ("soc_start", "temp_ambient", "temp_start")},
    )
    return pack, wanted, run


def trapezoid(y: Any, x: Any) -> float:
    return float(np.sum(0.5 * (y[1:] + y[:-1]) * np.diff(x)))


@given(CASES)
@settings(max_examples=30)
def test_charge_and_energy_are_kept_and_no_limit_is_left(case: dict[str, Any]):
    pack, wanted, run = run_of(case)
    trace = run.trace
    # Charge: what flowed is what the state of charge rose by; exact, so rounding only. Between two rows of a taper the
    # current is bent: straight lines over it are off by a twelfth of the square of a step of 1.2 to 2.4 %.
    assert run.charge == pytest.approx((trace.soc[-1] - trace.soc[0]) * pack.charge_span, rel=1e-9, abs=1e-6)
    assert run.charge == pytest.approx(trapezoid(trace.i, trace.t), rel=5e-5, abs=1e-6)
    # Energy: in = stored + polarisation + heat, each summed up on its own; 1e-6 of what came in.
    assert abs(run.unaccounted) <= 1e-6 * run.energy_in + 1e-9
    # Second road: voltage times current of the trace; straight lines between its rows bend by some 1e-4.
    assert run.energy_in == pytest.approx(trapezoid(trace.i * trace.v_pack, trace.t), rel=5e-4, abs=1e-3)
    # Heat of the cells: what they took up and what they gave away.
    warmed = pack.cells * pack.cell.heat_capacity * (trace.temp[-1] - trace.temp[0])
    assert run.heat_cells + run.heat_entropic == pytest.approx(run.heat_ambient + warmed, rel=1e-9, abs=1e-5)
    assert run.heat_cells >= 0.0
    assert run.heat_leads >= 0.0

    # No row leaves its limits.
    assert np.all(np.diff(trace.t) >= 0.0)
    assert np.all(np.diff(trace.soc) >= 0.0)
    assert np.all(trace.i >= 0.0)
    assert np.all(trace.i <= wanted.i_charge * (1.0 + 1e-9))
    sensed = trace.v_pack - (trace.i * pack.lead_resistance if pack.sensed_at == "cells" else 0.0)
    # 1e-5 of the voltage: the current is solved with the temperature foreseen for the end of the step.
    assert np.all(sensed <= wanted.v_set * (1.0 + 1e-5))
    if case["watts"] is not None:
        assert np.all(trace.i <= case["watts"] / trace.v_pack * (1.0 + 1e-4))


def test_steps_of_a_quarter_change_nothing_that_matters(make_pack: Make):
    # Second road: the same equations in smaller steps. 2e-5 of time, 1e-6 of energy.
    pack = make_pack()
    wanted = charge_settings(ChargeSpec(), pack)
    finest = replace(FINE, soc_step=5e-4, v_step=1.25e-3, current_step=3e-3, temp_step=0.025)
    plain, fine = (
        run_charge(pack, wanted, soc_start=0.0, temp_ambient=298.15, accuracy=accuracy) for accuracy in (FINE, finest)
    )
    assert plain.t_end == pytest.approx(fine.t_end, rel=2e-5)
    assert plain.t_voltage == pytest.approx(fine.t_voltage, rel=2e-5)
    assert plain.energy_in == pytest.approx(fine.energy_in, rel=1e-6)
    assert plain.heat_cells == pytest.approx(fine.heat_cells, rel=2e-5)
    assert plain.trace.temp.max() == pytest.approx(fine.trace.temp.max(), abs=2e-3)


def compared(run: ChargeRun) -> list[float]:
    return [run.t_end, run.charge, run.energy_in, run.heat_cells, run.heat_entropic, float(run.trace.temp.max())]


@pytest.mark.slow  # compiling takes several seconds
def test_both_engines_give_the_same_numbers(make_pack: Make):
    pack = make_pack(series=3, parallel=2)
    wanted = charge_settings(ChargeSpec(), pack)
    for keys in (
        {"soc_start": 0.0, "temp_ambient": 298.15},
        {"soc_start": 0.2, "temp_ambient": 313.15, "thermal_resistance": 35.0},
        {"soc_start": 0.1, "temp_ambient": 290.0, "available": lambda v: 20.0 / v},
    ):
        plain = run_charge(pack, wanted, engine="plain", **keys)
        fast = run_charge(pack, wanted, engine="compiled", **keys)
        assert len(plain.trace.t) == len(fast.trace.t)
        # 1e-9: the same operations, but the machine's exponential and sums may round otherwise.
        np.testing.assert_allclose(compared(plain), compared(fast), rtol=1e-9)
        assert plain.ended_by == fast.ended_by


def test_the_kernel_s_tables_are_the_cell_s(make_single: Make, generic_keys: tuple[str, ...]):
    # The kernel interpolates on its own, with columns every half kelvin: its voltage at the start of a charge must be
    # that of the cell's functions. 1e-4 of the drop: straight lines instead of Arrhenius' law between columns.
    for key in generic_keys:
        pack = make_single(key)
        wanted = replace(charge_settings(ChargeSpec(), pack), v_precharge=0.5, timer=1.0)
        for temp in (264.3, 281.7, 298.15, 317.4):
            for soc in (0.013, 0.357, 0.861):
                run = run_charge(pack, wanted, soc_start=soc, temp_ambient=temp)
                drop = run.trace.v_pack[0] - ocv(pack.cell, soc, temp)
                assert drop == pytest.approx(run.trace.i[0] * r0(pack.cell, soc, temp, True), rel=1e-4)


def test_after_long_steady_current_the_drop_is_that_of_all_resistances(make_table_pack: Make):
    # Second road: a pair that has had many time constants carries i·r1.
    pack = make_table_pack(amp_hours=100.0, soc=[0.0, 1.0], ocv=[3.0, 4.2], r0=0.02, r1=0.03, tau=20.0)
    wanted = replace(charge_settings(ChargeSpec(current=rate(0.1)), pack), timer=2000.0)
    run = run_charge(pack, wanted, soc_start=0.1, temp_ambient=298.15)
    rest = ocv(pack.cell, run.trace.soc[-1], 298.15)
    lasting = r0(pack.cell, 0.1, 298.15, True) + pair_resistance(pack.cell, 0, 0.1, 298.15, True)
    assert run.trace.v_pack[-1] - rest == pytest.approx(10.0 * lasting, rel=1e-6)


@pytest.mark.parametrize("keys", [{"current": rate(0.7)}, {"termination": rate(0.09)}])
def test_more_current_or_an_earlier_end_is_never_slower(make_pack: Make, keys: dict[str, Any]):
    pack = make_pack()
    base, other = (
        run_charge(pack, charge_settings(spec, pack), soc_start=0.0, temp_ambient=298.15)
        for spec in (ChargeSpec(), ChargeSpec(**keys))
    )
    assert other.t_end < base.t_end


def test_entropic_heat_cools_where_the_rest_voltage_falls_with_warmth(make_table_pack: Make):
    # By hand: −0.5 mV/K at 298.15 K and 2 A is −0.298 W, reversible, beside 0.04 W of R0.
    pack = make_table_pack(amp_hours=50.0, soc=[0.0, 1.0], ocv=[3.0, 4.2], r0=0.01, docv_dt=-5e-4)
    spec = ChargeSpec(current=rate(0.04), termination=rate(0.01))
    wanted = replace(charge_settings(spec, pack), timer=1000.0)
    run = run_charge(pack, wanted, soc_start=0.1, temp_ambient=298.15)
    assert run.heat_entropic == pytest.approx(-5e-4 * 298.15 * 2.0 * 1000.0, rel=1e-6)
    assert run.heat_cells == pytest.approx(0.01 * 4.0 * 1000.0, rel=1e-9)

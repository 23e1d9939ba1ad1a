"""Charges against a general battery simulator, live: PyBaMM's equivalent circuit, the same tables and protocol."""

import os
import warnings
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chargewright.base.units import exact
from chargewright.parts import cell as cells_of
from chargewright.parts.cell import ChargeZone
from chargewright.parts.pack import Pack, build_pack
from chargewright.sim.charge import run_charge
from chargewright.sim.charge_batch import charge_batch
from chargewright.sim.charge_setup import BRISK, FINE, QUICK, Accuracy, ChargeSettings, charge_settings
from chargewright.spec.fields import rate
from chargewright.spec.pack import ChargeSpec, PackSpec

os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"  # else it asks at its first import
ROOM, SOC_START = 298.15, 0.05
ANYWHERE = (ChargeZone(temp_low=200.0, temp_high=400.0, rate=10.0 / 3600.0, v_max=5.0),)


@pytest.fixture(scope="module")
def pybamm() -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        module = pytest.importorskip(
            "pybamm", reason="PyBaMM is not installed: `pip install --require-hashes -r requirements/physics.txt`"
        )
    module.set_logging_level("ERROR")
    return module


def pack_of(key: str) -> Pack:
    """Return one generic cell, isothermal at 25 °C, charged at any rate."""
    pack = build_pack(PackSpec(cell=key, series=1, interconnect=exact(0.0), protection=exact(0.0)), Path())
    return replace(pack, cell=replace(pack.cell, limits=replace(pack.cell.limits, zones=ANYWHERE)))


def settings_of(pack: Pack, c_rate: float) -> ChargeSettings:
    return replace(charge_settings(ChargeSpec(current=rate(c_rate)), pack), v_precharge=0.5)


def simulated(pybamm: Any, pack: Pack, c_rate: float) -> tuple[Any, Any, Any]:
    """Return time, voltage and current of PyBaMM's equivalent circuit with two RC pairs and the cell's tables."""
    cell, rated = pack.cell, pack.cell.capacity / 3600.0
    model = pybamm.equivalent_circuit.Thevenin(options={"number of rc elements": 2})
    given = model.default_parameter_values

    def over_soc(grid: Any, values: Any) -> Any:
        return lambda *arguments: pybamm.Interpolant(
            np.array(grid), np.array(values), arguments[-1], interpolator="linear"
        )

    soc = cell.soc
    r = [cells_of.pair_resistance(cell, k, soc, ROOM, True) for k in (0, 1)]
    tau = [cells_of.pair_tau(cell, k, soc, ROOM) for k in (0, 1)]
    # PyBaMM wants capacitances; r and tau are straight lines between points here, so their quotient is given finely.
    fine = np.linspace(0.0, 1.0, 2001)
    quotient = [np.interp(fine, soc, tau[k]) / np.interp(fine, soc, r[k]) for k in (0, 1)]
    given.update(
        {
            "Initial SoC": SOC_START,
            "Initial temperature [K]": ROOM,
            "Ambient temperature [K]": ROOM,
            "Cell capacity [A.h]": cell.charge_span / 3600.0,
            "Nominal cell capacity [A.h]": rated,
            "Current function [A]": 1.0,
            "Upper voltage cut-off [V]": pack.v_cell_max + 0.2,
            "Lower voltage cut-off [V]": 1.0,
            "Cell thermal mass [J/K]": 1e9,
            "Cell-jig heat transfer coefficient [W/K]": 1.0,
            "Jig thermal mass [J/K]": 1e9,
            "Jig-air heat transfer coefficient [W/K]": 1.0,
            "Open-circuit voltage [V]": over_soc(cell.soc_ocv, cell.ocv),
            "R0 [Ohm]": over_soc(soc, cells_of.r0(cell, soc, ROOM, True)),
            "Entropic change [V/K]": lambda _v, _t: pybamm.Scalar(0.0),
            "RCR lookup limit [A]": 1e4,
            "Element-2 initial overpotential [V]": 0.0,
        }
        | {f"R{k + 1} [Ohm]": over_soc(soc, r[k]) for k in (0, 1)}
        | {f"C{k + 1} [F]": over_soc(fine, quotient[k]) for k in (0, 1)},
        check_already_exists=False,
    )
    v_max, i_end = pack.v_cell_max, 0.05 * rated
    solution = pybamm.Simulation(
        model,
        experiment=pybamm.Experiment(
            [(f"Charge at {c_rate * rated:.9g} A until {v_max} V", f"Hold at {v_max} V until {i_end:.9g} A")],
            period="10 seconds",
        ),
        parameter_values=given,
        solver=pybamm.IDAKLUSolver(rtol=1e-7, atol=1e-9),
    ).solve()
    return tuple(solution[name].entries for name in ("Time [s]", "Voltage [V]", "Current [A]"))  # type: ignore[return-value]


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("c_rate", [0.5, 1.0])
@pytest.mark.parametrize("key", ["nmc-energy", "lfp"])
def test_the_same_circuit_and_protocol_agree(pybamm: Any, key: str, c_rate: float):
    # Outside check, live: voltage within 0.2 % of full scale all along the way, times within 0.5 %; with any accuracy.
    # The simulator holds tables of one temperature, so the cell here is kept at 25 °C.
    pack = pack_of(key)
    settings = settings_of(pack, c_rate)
    t, v, i = simulated(pybamm, pack, c_rate)
    accuracies: tuple[Accuracy, ...] = (FINE, QUICK, BRISK)
    for accuracy in accuracies:
        run = run_charge(
            pack, settings, soc_start=SOC_START, temp_ambient=ROOM, thermal_resistance=1e-6, accuracy=accuracy
        )
        assert run.t_end == pytest.approx(float(t[-1]), rel=5e-3)
        inside = (t > 0.0) & (t < run.t_end)
        told = np.interp(t[inside], run.trace.t, run.trace.v_pack)
        # Between two rows a coarse trace is a straight line; judge the curve by the fine one.
        if accuracy is FINE:
            np.testing.assert_allclose(told, v[inside], atol=2e-3 * pack.v_cell_max)
            current = np.interp(t[inside], run.trace.t, run.trace.i)
            np.testing.assert_allclose(current, -i[inside], atol=5e-3 * settings.i_charge)
            assert run.t_end == pytest.approx(float(t[-1]), rel=5e-4)
    batch = charge_batch(
        pack, settings, soc_start=SOC_START, temp_ambient=ROOM, thermal_resistance=1e-6, engine="plain"
    )
    assert float(batch.t_end) == pytest.approx(float(t[-1]), rel=5e-3)

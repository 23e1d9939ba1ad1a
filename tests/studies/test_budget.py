"""The power budget of source, load and pack in closed form, against the solver with a stage of known efficiency."""

from dataclasses import replace

import numpy as np
import pytest

from chargewright.network.solve import Conditions, solve
from chargewright.physics.source import charge_current_left, supplement_power
from chargewright.studies.charge import left_over
from chargewright.studies.operate import source_limit

R_PATH = 30e-3
I_LIMIT = 3.25


@pytest.fixture(scope="module")
def thirty_milliohms(bench, bare, twelve):
    """Return path and hardware of a direct path: 30 mohm from source to bus, nothing else but the stage's own supply.

    CP01 (common practice): two 10 mohm switches and a 10 mohm sense resistor. No wire warms, so 30 mohm stay 30 mohm.
    """
    b = bench("direct-boost", twelve)
    hardware = bare(b.hardware)
    wires = hardware.wires
    wires = {
        **wires,
        "blocking-pair": replace(wires["blocking-pair"], r_25=20e-3),
        "sense-source": replace(wires["sense-source"], r_25=10e-3),
    }
    return b.path, replace(hardware, wires=wires)


def with_quiescent(hardware, i: float):
    stage = hardware.stage
    return replace(hardware, stage=replace(stage, setting=stage.setting._replace(i_quiescent=i)))


def tuned(path, hardware, state: str, c: Conditions, efficiency: float):
    """Return the solution with the controller's supply current such that the stage has an efficiency [1].

    A constant loss is the one knob that needs no formula: bisection on it until output over input is as wanted.
    """
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        s = solve(path, path.state(state), with_quiescent(hardware, middle), c)
        p_a, p_b = s.v["bus"] * s.i_a, s.v["charge"] * s.i_b
        eta = (p_b / p_a if state == "shared" else p_a / p_b)[0]
        low, high = (middle, high) if eta > efficiency else (low, middle)
    assert eta == pytest.approx(efficiency, rel=1e-9)
    return s


def test_the_power_at_the_input_node(thirty_milliohms):
    # PB03 (derived, recomputed): 20 V, 3.25 A, 30 mohm leave 65.0 − 0.316875 = 64.683125 W. Exact: rel 1e-9.
    path, hardware = thirty_milliohms
    c = Conditions(e_source=20.0, e_cells=8.0, p_load=40.0, i_source=I_LIMIT)
    s = solve(path, path.state("shared"), hardware, c)
    assert s.v["bus"][0] * s.i["source"][0] == pytest.approx(64.683125, rel=1e-9)
    assert s.i["source"][0] == pytest.approx(I_LIMIT, rel=1e-12)


@pytest.mark.parametrize(("p_system", "left"), [(40.0, 2.900267), (60.0, 0.550267), (64.0, 0.080267)])
def test_the_charge_current_left_over_at_94_percent(p_system, left, thirty_milliohms):
    # PB04, PB05 (derived, recomputed): charger of 94 %, pack at 8.0 V. The reference has seven digits: abs 5e-7.
    path, hardware = thirty_milliohms
    c = Conditions(e_source=20.0, e_cells=8.0, p_load=p_system, i_source=I_LIMIT)
    s = tuned(path, hardware, "shared", c, 0.94)
    assert s.i["pack"][0] == pytest.approx(left, abs=5e-7)
    assert charge_current_left(64.683125, p_system, 0.94, 8.0) == pytest.approx(left, abs=5e-7)


def test_what_the_pack_adds_in_supplement_at_93_percent(thirty_milliohms):
    # PB06 (derived, recomputed): 80 W of system, 93 % backwards: 16.469758 W from the pack. abs 5e-7: eight digits.
    path, hardware = thirty_milliohms
    c = Conditions(e_source=20.0, e_cells=7.4, p_load=80.0, i_source=I_LIMIT)
    s = tuned(path, hardware, "supplement", c, 0.93)
    assert -s.v["pack"][0] * s.i["pack"][0] == pytest.approx(16.469758, abs=5e-7)
    assert supplement_power(80.0, 64.683125, 0.93) == pytest.approx(16.469758, abs=5e-7)


def test_what_the_pack_adds_when_the_path_is_ignored(thirty_milliohms):
    # PB07: with the whole 65 W at the bus 16.129032 W, that is 2.17960 A at 7.4 V.
    path, hardware = thirty_milliohms
    wires = {key: replace(wire, r_25=0.0) for key, wire in hardware.wires.items()}
    c = Conditions(e_source=20.0, e_cells=7.4, p_load=80.0, i_source=I_LIMIT)
    s = tuned(path, replace(hardware, wires=wires), "supplement", c, 0.93)
    assert -s.v["pack"][0] * s.i["pack"][0] == pytest.approx(16.129032, abs=5e-7)
    assert -s.i["pack"][0] == pytest.approx(2.17960, abs=5e-6)


@pytest.mark.parametrize("key", ["direct", "direct-boost"])
@pytest.mark.parametrize("p_load", [12.0, 40.0, 48.0])
def test_left_over_is_the_closed_form_at_the_stages_own_efficiency(key, p_load, bench, twelve):
    # PB04's formula, i = eta·(P_in − P_system)/V_pack, with everything measured on the solver's own solution: source
    # at its limit, input power behind the pair, rails with their losses, and the stage's efficiency at that point.
    rails = "load: 60 W\n  modes: [{name: work, power: 12 W}]\nambient: {board: 3 K/W}"
    b = bench(key, twelve.replace("load: 12 W", rails))
    (supply,) = b.case.sources["adapter"]
    table = left_over(b.case, b.path, b.hardware, supply, p_load=p_load, temp=298.15, edge="low")
    limit = source_limit(b.case, supply)
    e, r = supply.v_set.low, supply.r_droop + supply.r_cable.high
    c = Conditions(e_source=e, r_source=r, e_cells=table.v_pack, p_load=p_load, i_source=limit)
    s = solve(b.path, b.path.state("shared"), b.hardware, c)
    eta = s.v["charge"] * s.i_b / (s.v["bus"] * s.i_a)
    p_in = s.v["bus"] * limit
    left = np.maximum(charge_current_left(p_in, p_load + s.p_rails, eta, s.v["charge"]), 0.0)
    wanted = b.case.i_charge
    starved = left < wanted
    # The solver balances to 1e-9; eta is formed from two powers: rel 1e-8.
    assert table.i[starved] == pytest.approx(left[starved], rel=1e-8)
    # Where the source could give more than is wanted, what is wanted is left over, and a little.
    assert np.all(table.i[~starved] >= wanted)
    assert starved.all() == (p_load == 48.0)
    assert starved.any() == (p_load > 12.0)


def test_two_conversions_against_one_and_a_wide_bus(bench, twelve):
    # CP07 (common practice figures; recomputed): 95 % then 93 % is 0.8835, 99.25 % then 90 % is 0.8933: the rails' loss
    # on the wide bus decides. Here the figures are the model's own, and the arithmetic has to hold for both paths.

    def whole(key: str, f_sw: str) -> tuple[float, float, float]:
        rail = f"{{name: core, voltage: 3.3 V, power: 20 W, bus_max: 30 V, f_sw: {f_sw}}}"
        text = twelve.replace("  load: 12 W\n", f"  rails: [{rail}]\nambient: {{board: 3 K/W}}\n")
        b = bench(key, text)
        c = Conditions(e_source=20.0, e_cells=8.4, p_load=20.0, v_bus=8.5, r_pack=0.1)
        s = solve(b.path, b.path.state("source-only"), b.hardware, c)
        p_bus = 20.0 + s.p_rails[0]
        p_in = (s.v["inlet"] * s.i["source"])[0]
        return p_bus / p_in, 20.0 / p_bus, 20.0 / p_in

    for f_sw in ("300 kHz", "2.5 MHz"):
        direct, narrow = whole("direct", f_sw), whole("narrow-buck", f_sw)
        for path, rails, both in (direct, narrow):
            assert path * rails == pytest.approx(both, rel=1e-12)
        # One stage less on the way to the bus; rails that are worse on 20 V than on 8.5 V.
        assert direct[0] > 0.99 > narrow[0] > 0.93
        assert direct[1] < narrow[1]
    # Rails that switch slowly pay little for a wide bus, so the direct path wins; fast ones turn the verdict round.
    assert whole("direct", "300 kHz")[2] > whole("narrow-buck", "300 kHz")[2]
    assert whole("direct", "2.5 MHz")[2] < whole("narrow-buck", "2.5 MHz")[2]

"""The solver where the answer is known without it: closed forms and common practice, put to a path as a user would.

Rows named CP, TR, SW, PB are those of the project's list of outside check values; "derived" has no source but the
derivation, "recomputed" means that an independent script worked the number out.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from chargewright.network.hardware import Hardware, WireParts
from chargewright.network.ledger import ledger_of
from chargewright.network.solve import NO_SOLUTION, RUNAWAY, SOLVED, TEMP_RUNAWAY, Solution, heat_of
from chargewright.network.stage import StageLosses
from chargewright.parts.regulator import generic_regulator
from chargewright.paths import shelf
from chargewright.spec.system import RailSpec

Make = Callable[..., Hardware]
Run = Callable[..., Solution]

THIRTY = {"blocking-pair": WireParts(r_25=20e-3, bodies=2), "sense-source": WireParts(r_25=10e-3)}
"""CP01, common practice: two switches of 10 mΩ back to back and a sense resistor of 10 mΩ."""


def test_thirty_milliohms_at_five_amperes_lose_three_quarters_of_a_watt(bare_hardware: Make, solve_state: Run):
    # CP02, common practice; recomputed: 20 V, 5 A (100 W in) through 30 mΩ drop 150 mV and lose 0.750 W: 99.25 %.
    # "150 mW" is the drop misread as the loss. Exact but for rounding of the last Newton step.
    hw = bare_hardware(shelf.get("direct"), THIRTY)
    s = solve_state("direct", "source-only", hw, e_source=20.0, e_cells=8.0, p_load=99.25)
    lost = s.wire_loss["blocking-pair"][0] + s.wire_loss["sense-source"][0]
    assert s.i["source"][0] == pytest.approx(5.0, rel=1e-9)
    assert s.v["source"][0] - s.v["bus"][0] == pytest.approx(0.150, rel=1e-9)
    assert lost == pytest.approx(0.750, rel=1e-9)
    assert s.p_load[0] / (s.p_load[0] + lost) == pytest.approx(0.9925, rel=1e-9)


def test_thirty_milliohms_under_a_hundred_watts_of_load(bare_hardware: Make, solve_state: Run):
    # CP02, the other way round: 20 V and 5 A at the bus, 100 W out of 100.75 W: 99.2556 %; half of the last digit.
    hw = bare_hardware(shelf.get("direct"), THIRTY)
    s = solve_state("direct", "source-only", hw, e_source=20.15, e_cells=8.0, p_load=100.0)
    assert s.v["bus"][0] == pytest.approx(20.0, rel=1e-9)
    assert s.p_load[0] / (20.15 * s.i["source"][0]) == pytest.approx(0.992556, abs=5e-7)


@pytest.mark.parametrize(
    ("e", "r", "p", "v", "i"),
    [
        (20.0, 0.2, 90.0, 19.05539, 4.72307),  # TR07: derived; recomputed
        (5.0, 0.3, 15.0, 3.82288, 3.92375),  # TR08: derived; recomputed
    ],
)
def test_a_load_of_constant_power_behind_a_resistance(
    bare_hardware: Make, solve_state: Run, e: float, r: float, p: float, v: float, i: float
):
    hw = bare_hardware(shelf.get("direct"))
    s = solve_state("direct", "source-only", hw, e_source=e, r_source=0.4 * r, r_cable=0.6 * r, e_cells=4.0, p_load=p)
    # Half of the last digit of the rows.
    assert s.v["bus"][0] == pytest.approx(v, abs=5e-6)
    assert s.i["source"][0] == pytest.approx(i, abs=5e-6)


def test_beyond_the_greatest_power_there_is_no_steady_state(bare_hardware: Make, solve_state: Run):
    # TR08: 5 V behind 0.3 Ω give at most e²/(4·r) = 20.8333 W; derived; recomputed. Near that limit the voltage moves
    # with the root of what is left, so Newton's method needs some room: 1e-6 of the power is asked for.
    hw = bare_hardware(shelf.get("direct"))
    limit = 5.0**2 / (4.0 * 0.3)
    assert limit == pytest.approx(20.8333, abs=5e-5)
    p = limit * np.array([0.5, 0.9, 0.999, 1.0 - 1e-6, 1.0 + 1e-6, 1.001, 1.1, 3.0, 100.0])
    s = solve_state("direct", "source-only", hw, e_source=5.0, r_source=0.3, e_cells=4.0, p_load=p)
    assert s.status.tolist() == [SOLVED] * 4 + [NO_SOLUTION] * 5
    assert np.isnan(s.v["bus"][4:]).all()
    # The stable root, not the one below half of the source's voltage.
    assert np.all(s.v["bus"][:4] >= 2.5)


@pytest.mark.parametrize("state", ["battery", "source-only"])
def test_every_load_up_to_the_greatest_power_is_solved(bare_hardware: Make, solve_state: Run, state: str):
    # Second road: the root of v² - e·v + r·p = 0. rel 1e-8: the solver's own step is below 1e-10, near the limit the
    # root moves far for little.
    hw = bare_hardware(shelf.get("direct"))
    p = np.linspace(0.0, 0.9999, 400) * 9.0**2 / (4.0 * 0.25)
    given = {"e_source": 9.0, "r_source": 0.25, "e_cells": 9.0, "r_pack": 0.25}
    s = solve_state("direct", state, hw, **given, p_load=p)
    assert s.ok.all()
    np.testing.assert_allclose(s.v["bus"], 0.5 * (9.0 + np.sqrt(9.0**2 - 4.0 * 0.25 * p)), rtol=1e-8)


SELF_HEATED = {"sense-charge": WireParts(r_25=10e-3, temp_co=0.004, rth=50.0)}
"""SW06: 10 mΩ at 25 °C, 0.4 %/K, 50 K/W; here the part that carries the held charge current."""
CHARGING = {"e_source": 20.0, "e_cells": 8.0, "r_pack": 0.05, "temp_ambient": 313.15}


def test_a_resistance_settles_with_its_own_heat(bare_hardware: Make, solve_state: Run):
    # SW06, derived in closed form; recomputed: at 5 A and 40 °C 53.9474 °C, 11.1579 mΩ, 278.947 mW. Half a last digit.
    hw = bare_hardware(shelf.get("direct"), SELF_HEATED)
    s = solve_state("direct", "charging", hw, **CHARGING, i_pack=5.0)
    lost = s.wire_loss["sense-charge"][0]
    assert s.temp["sense-charge"][0] - 273.15 == pytest.approx(53.9474, abs=5e-5)
    assert lost / 25.0 == pytest.approx(11.1579e-3, abs=5e-8)
    assert lost == pytest.approx(278.947e-3, abs=5e-7)


def settled_temperature(i: float) -> float:
    """Return the closed form of SW06, below its runaway current."""
    loop = 50.0 * i**2 * 10e-3 * 0.004
    return 313.15 + 50.0 * i**2 * 10e-3 * (1.0 + 0.004 * 15.0) / (1.0 - loop)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.6, 0.66])
def test_the_temperature_is_the_closed_form_up_to_what_the_solver_allows(
    bare_hardware: Make, solve_state: Run, share: float
):
    # SW07: the current from which there is no temperature to rest at, 1/√(rth·r25·a) = 22.3607 A; derived; recomputed.
    runaway = 1.0 / np.sqrt(50.0 * 10e-3 * 0.004)
    assert runaway == pytest.approx(22.3607, abs=5e-5)
    hw = bare_hardware(shelf.get("direct"), SELF_HEATED)
    s = solve_state("direct", "charging", hw, **CHARGING, i_pack=share * runaway)
    assert s.status[0] == SOLVED
    # The solver stops when no temperature moves by more than 1e-5 K; the loop's gain, below 0.45 here, doubles that.
    assert s.temp["sense-charge"][0] == pytest.approx(settled_temperature(share * runaway), abs=2e-5)


def test_runaway_is_told_and_not_numbered(bare_hardware: Make, solve_state: Run):
    # What would rest beyond 250 °C counts as runaway as well: that is the solver's own limit, and it comes first.
    hw = bare_hardware(shelf.get("direct"), SELF_HEATED)
    i = np.linspace(14.0, 60.0, 200)
    s = solve_state("direct", "charging", hw, **CHARGING, i_pack=i)
    runaway = 1.0 / np.sqrt(50.0 * 10e-3 * 0.004)
    rests = np.array([k < runaway and settled_temperature(k) <= TEMP_RUNAWAY for k in i])
    assert rests.any()
    assert np.all(s.status[rests] == SOLVED)
    assert np.all(s.status[~rests] == RUNAWAY)
    assert np.isnan(s.temp["sense-charge"][~rests]).all()
    # Just below and just above the current at which it would run away for good, it does not rest.
    just = solve_state("direct", "charging", hw, **CHARGING, i_pack=runaway * np.array([1.0 - 1e-6, 1.0 + 1e-6]))
    assert np.all(just.status == RUNAWAY)


def test_two_bodies_share_the_heat_and_the_board_is_warm(bare_hardware: Make, solve_state: Run):
    # By hand: 2 A through 25 mΩ are 100 mW; on a board of 10 K/W that is 1 K; each of two bodies takes 50 mW through
    # 40 K/W, another 2 K. The cable's 400 mW warm nothing in the product.
    pair = {"blocking-pair": WireParts(r_25=25e-3, rth=40.0, bodies=2)}
    hw = bare_hardware(shelf.get("direct"), pair, r_board=10.0)
    p_load = 2.0 * (10.0 - 2.0 * (0.1 + 0.025))
    s = solve_state(
        "direct", "source-only", hw, e_source=10.0, r_cable=0.1, e_cells=6.0, p_load=p_load, temp_ambient=300.0
    )
    assert s.i["source"][0] == pytest.approx(2.0, rel=1e-9)
    assert s.temp["board"][0] == pytest.approx(301.0, abs=1e-6)
    assert s.temp["blocking-pair"][0] == pytest.approx(303.0, abs=1e-6)
    assert s.temp["cable"][0] == 300.0


@pytest.mark.parametrize("reverse", [False, True])
def test_every_loss_of_the_stage_warms_the_part_it_arises_in(reverse: bool):
    # Powers of two, so that a sum tells what is in it. Drive, quiescent current and capacitors warm the board alone.
    losses = StageLosses(*(2.0**k for k in range(len(StageLosses._fields))))
    parts = {
        "in_high": losses.in_high_conduction + losses.in_overlap + losses.in_capacitance + losses.in_recovery,
        "in_low": losses.in_low_conduction + losses.in_dead_time,
        "out_low": losses.out_low_conduction + losses.out_overlap + losses.out_capacitance + losses.out_recovery,
        "out_high": losses.out_high_conduction + losses.out_dead_time,
        "coil": losses.coil_winding + losses.coil_ac + losses.coil_core,
    }
    # Backwards, the legs change their roles: the b leg is where power comes in.
    a, b = ("out", "in") if reverse else ("in", "out")
    expected = {f"a_{s}": parts[f"{a}_{s}"] for s in ("high", "low")}
    expected |= {f"b_{s}": parts[f"{b}_{s}"] for s in ("high", "low")}
    assert heat_of(losses, reverse) == expected | {"coil": parts["coil"]}


def test_a_source_that_loses_more_than_half_on_its_way_is_no_steady_state(bare_hardware: Make, solve_state: Run):
    # A linear rail draws its output's current whatever the bus, so 16 A through 0.24 Ω would leave 3.16 V of 7 V: a
    # root of the equations, but past the greatest power that the pack can give, where no product works.
    rail = generic_regulator(RailSpec(name="rail", voltage=2.5, power=50.0, regulator="linear"), 20.0, 0.8, 0.3)
    hw = bare_hardware(shelf.get("direct"), rails=(rail,))
    p = 2.5 * np.array([14.0, 14.5, 14.7, 16.0])
    s = solve_state("direct", "battery", hw, e_cells=7.0, r_pack=0.24, p_load=p)
    assert s.status.tolist() == [SOLVED, SOLVED, NO_SOLUTION, NO_SOLUTION]
    assert s.v["bus"][0] == pytest.approx(7.0 - 0.24 * 14.0, abs=1e-3)


def test_power_behind_the_input_path(bare_hardware: Make, solve_state: Run):
    # PB03, derived; recomputed: 20 V, 3.25 A through 30 mΩ leave 65 - 0.316875 = 64.683125 W. Exact.
    hw = bare_hardware(shelf.get("direct"), THIRTY)
    s = solve_state("direct", "shared", hw, e_source=20.0, i_source=3.25, e_cells=8.0, p_load=40.0)
    assert s.v["bus"][0] * s.i["source"][0] == pytest.approx(64.683125, rel=1e-9)


def with_winding(hw: Hardware, r: float) -> Hardware:
    """Return hardware whose stage loses in its winding alone, by direct current: the inductance leaves no ripple."""
    coil = hw.stage.coil._replace(l_0=1.0, r_dc=r, turns_area=1.0)
    return replace(hw, stage=replace(hw.stage, coil=coil))


@pytest.mark.parametrize(("load", "i_charge"), [(40.0, 2.900267), (60.0, 0.550267), (64.0, 0.080267)])
def test_what_is_left_for_the_charge(bare_hardware: Make, solve_state: Run, load: float, i_charge: float):
    # PB04 and PB05, derived; recomputed: a charger of 94 % at a pack of 8.0 V gets what the system leaves. The model
    # has losses, not an efficiency; so the winding gets the resistance that loses 6 % of the input at this current.
    # Half of the last digit.
    path = shelf.get("direct")
    hw = with_winding(bare_hardware(path, THIRTY), (1.0 / 0.94 - 1.0) * 8.0 / i_charge)
    s = solve_state("direct", "shared", hw, e_source=20.0, i_source=3.25, e_cells=8.0, p_load=load)
    assert s.p_stage[0] / (s.p_stage[0] + 8.0 * s.i["pack"][0]) == pytest.approx(0.06, rel=1e-4)
    assert s.i["pack"][0] == pytest.approx(i_charge, abs=5e-6)


@pytest.mark.parametrize(
    ("wires", "from_pack", "row"),
    [
        (THIRTY, 16.469758, "PB06"),
        (None, 16.129032, "PB07"),
    ],
)
def test_what_the_pack_adds_when_the_source_is_at_its_limit(
    bare_hardware: Make, solve_state: Run, wires: dict[str, WireParts] | None, from_pack: float, row: str
):
    # PB06, PB07, derived; recomputed: 80 W of load, a boost of 93 %. PB07 leaves the path's loss out, and at 7.4 V its
    # power is 2.17960 A. Half of the last digit.
    path = shelf.get("direct-boost")
    p_boost = 0.93 * from_pack
    r = (from_pack - p_boost) / (from_pack / 7.4) ** 2
    hw = with_winding(bare_hardware(path, wires), r)
    s = solve_state("direct-boost", "supplement", hw, e_source=20.0, i_source=3.25, e_cells=7.4, p_load=80.0)
    assert -7.4 * s.i["pack"][0] == pytest.approx(from_pack, abs=5e-6), row
    if row == "PB07":
        assert -s.i["pack"][0] == pytest.approx(2.17960, abs=5e-6)


def test_the_ledger_shows_the_path_in_the_order_of_the_power_flow(plain_hardware: Make, solve_state: Run):
    path = shelf.get("narrow-buck-boost")
    s = solve_state(
        "narrow-buck-boost",
        "charging",
        plain_hardware(path),
        e_source=15.0,
        r_cable=0.1,
        e_cells=7.4,
        r_pack=0.08,
        i_pack=2.0,
        p_load=8.0,
    )
    book = ledger_of(s)
    places = list(book.by_place())
    assert places[:4] == ["source, inside", "cable and connectors", "blocking pair", "source sense resistor"]
    assert places[-1] == "rails"
    assert [e.cause for e in book.entries if e.side == "in"] == ["electromotive", "discharge"]
    assert book.total("in")[0] == pytest.approx(15.0 * s.i["source"][0])
    assert sum(float(w[0]) for w in book.by_place().values()) == pytest.approx(float(book.total("loss")[0]))

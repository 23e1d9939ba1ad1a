"""Packs: windows, resistances, the highest cell, and what is wrong with a pack as described."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from chargewright.base.errors import PartsError
from chargewright.base.units import exact
from chargewright.parts.cell import ocv, pair_resistance, r0
from chargewright.parts.pack import (
    Pack,
    aged,
    build_pack,
    cell_kinds,
    highest_cell_voltage,
    lowest_cell_voltage,
    pack_charge_current,
    pack_charge_voltage,
    pack_dc_resistance,
    pack_ocv,
    pack_polarisation,
    pack_resistance,
    usable_share,
)
from chargewright.spec.fields import rate
from chargewright.spec.pack import PackSpec

HERE = Path()
ROOM = 298.15


def pack_of(**given: object) -> Pack:
    keys: dict[str, object] = {"cell": "nmc-energy", "series": 2, "i_discharge_max": rate(1.0)}
    return build_pack(PackSpec(**(keys | given)), HERE)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("series", "least", "empty", "full"),
    [(2, 5.0, 6.0, 8.4), (3, 7.5, 9.0, 12.6), (4, 10.0, 12.0, 16.8), (6, 15.0, 18.0, 25.2)],
)
def test_windows_are_those_of_the_cell_times_cells_in_series(series: int, least: float, empty: float, full: float):
    # Outside check CE17: 2.5, 3.0 and 4.2 V per cell; exact.
    pack = pack_of(series=series)
    assert pack.v_empty == pytest.approx(least, rel=1e-15)
    assert pack.v_precharge == pytest.approx(empty, rel=1e-15)
    assert pack.v_full == pytest.approx(full, rel=1e-15)


def test_resistance_adds_up_along_the_pack():
    # Second road, by hand: 3 cells in series of 2 in parallel, 5 mΩ and 12 mΩ beside them.
    pack = pack_of(series=3, parallel=2, interconnect=exact(5e-3), protection=exact(12e-3))
    one = r0(pack.cell, 0.5, ROOM, True)
    assert pack_resistance(pack, 0.5, ROOM, True) == pytest.approx(1.5 * one + 0.017)
    slow = sum(pair_resistance(pack.cell, k, 0.5, ROOM, True) for k in range(2))
    assert pack_polarisation(pack, 0.5, ROOM, True) == pytest.approx(1.5 * slow)
    assert pack_dc_resistance(pack, 0.5, ROOM, True) == pytest.approx(1.5 * (one + slow) + 0.017)
    assert pack_ocv(pack, 0.5, ROOM) == pytest.approx(3.0 * ocv(pack.cell, 0.5, ROOM))
    assert pack.capacity == pytest.approx(2 * 5 * 3600.0)
    assert pack.cells == 6


def test_functions_take_arrays_of_conditions():
    pack = pack_of()
    soc, temp, charging = np.array([0.1, 0.5, 0.9]), np.array([280.0, 298.15, 310.0]), np.array([True, False, True])
    whole = pack_dc_resistance(pack, soc, temp, charging)
    single = [pack_dc_resistance(pack, *point) for point in zip(soc, temp, charging.tolist(), strict=True)]
    assert_allclose(whole, single, rtol=1e-13)
    assert pack_ocv(pack, soc[:, None], temp).shape == (3, 3)


def test_the_charge_limit_follows_the_temperature_zone():
    pack = pack_of(parallel=2, v_cell_max=4.1)
    temp = np.array([-5.0, 5.0, 25.0, 50.0]) + 273.15
    assert_allclose(pack_charge_current(pack, temp), [0.0, 2.0, 7.0, 0.0])
    assert_allclose(pack_charge_voltage(pack, temp), [0.0, 8.2, 8.2, 0.0])


def test_the_kinds_of_cells_keep_the_mean_and_differ_by_the_spread():
    pack = pack_of(series=4, spread_capacity=0.02, spread_resistance=0.1)
    highest, others = cell_kinds(pack)
    assert highest.share == 0.25
    for name, spread in (("capacity", -0.02), ("resistance", 0.1)):
        one, rest = getattr(highest, name), getattr(others, name)
        assert 0.25 * one + 0.75 * rest == pytest.approx(1.0, rel=1e-15)
        assert one - rest == pytest.approx(spread)


@pytest.mark.parametrize("given", [{"series": 1}, {"spread_capacity": 0.0, "spread_resistance": 0.0}])
def test_without_neighbours_or_spread_all_cells_are_equal(given: dict[str, float]):
    pack = pack_of(**given)
    assert len(cell_kinds(pack)) == 1
    assert highest_cell_voltage(pack, 0.9, ROOM, 0.05) == pytest.approx(ocv(pack.cell, 0.9, ROOM) + 0.05)


def test_the_highest_cell_runs_ahead_by_its_lack_of_capacity():
    # By hand: 2S, 4 % spread: the one has 98 % of the mean capacity, 105 % of the mean resistance.
    pack = pack_of(spread_capacity=0.04, spread_resistance=0.10)
    expected = ocv(pack.cell, 0.9 / 0.98, ROOM) + 1.05 * 0.05
    assert highest_cell_voltage(pack, 0.9, ROOM, 0.05) == pytest.approx(expected)


def test_a_sound_pack_has_only_the_notes_of_its_cell():
    assert {finding.severity for finding in pack_of().findings} == {"note"}


def test_a_charge_voltage_above_the_cell_s_stops_the_design():
    # Never raise the charge voltage to gain capacity; IEC 62133-2 (upper limit charging voltage).
    (found,) = [f for f in pack_of(v_cell_max=4.25).findings if f.severity == "stop"]
    assert (found.check, found.value, found.limit) == ("cell-charge-voltage", 4.25, 4.2)


def test_what_else_leaves_the_cell_s_limits_is_found():
    found = {f.check for f in pack_of(cell="lco", v_cell_min=3.0, i_discharge_max=rate(2.0)).findings}
    assert "cell-discharge-rate" in found
    assert "cell-lowest-voltage" not in found


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"cell": "nmc-enrgy"}, "did you mean 'nmc-energy'"),
        ({"cell": "cell.xlsx"}, "neither a generic cell nor a file ending in .csv or .json"),
        ({"cell": "none.csv"}, "cannot be read"),
        ({"cell": "none.json"}, "cannot be read"),
        ({"v_cell_min": 4.0, "v_cell_max": 3.9}, "is not below v_cell_max"),
        ({"v_cell_max": 4.9}, "must lie inside"),
        ({"v_cell_min": 1.5}, "must lie inside"),
    ],
)
def test_a_pack_that_cannot_be_built_is_told_why(given: dict[str, object], says: str):
    with pytest.raises(PartsError) as told:
        pack_of(**given)
    assert says in str(told.value)


def test_a_cell_file_is_found_beside_the_design_file(tmp_path: Path):
    (tmp_path / "mine.csv").write_text("like: lfp\ncapacity: 2 Ah\nsoc,ocv_V,r0_mohm\n0,2.8,30\n1,3.6,20\n")
    pack = build_pack(PackSpec(cell="mine.csv", series=4, capacity=3.0 * 3600.0), tmp_path)
    assert pack.v_full == pytest.approx(14.4)
    assert pack.capacity == pytest.approx(3.0 * 3600.0)


def test_the_lowest_cell_is_empty_first():
    # By hand: 2S, 4 % spread of capacity, 2 % of charge: the one has 98 % of the mean capacity and starts 1 % short, so
    # it is empty when 97 % of the mean charge has flowed.
    pack = pack_of(spread_capacity=0.04, spread_resistance=0.10, spread_soc=0.02)
    assert usable_share(pack) == pytest.approx(0.97)
    assert lowest_cell_voltage(pack, 0.03, ROOM, 0.0) == pytest.approx(ocv(pack.cell, 0.0, ROOM))
    own = 1.0 - (0.5 + 0.01) / 0.98
    assert lowest_cell_voltage(pack, 0.5, ROOM, 0.1) == pytest.approx(ocv(pack.cell, own, ROOM) - 0.105)
    assert usable_share(pack_of(series=1)) == 1.0


def test_an_aged_pack_holds_less_and_drops_more_but_is_rated_as_before():
    new = pack_of()
    old = aged(new, capacity=0.8, resistance=1.5)
    assert old.charge_span == pytest.approx(0.8 * new.charge_span)
    assert old.capacity == new.capacity
    cells_only = pack_resistance(new, 0.5, ROOM, True) - new.lead_resistance
    assert pack_resistance(old, 0.5, ROOM, True) == pytest.approx(1.5 * cells_only + new.lead_resistance)
    assert pack_polarisation(old, 0.5, ROOM, False) == pytest.approx(1.5 * pack_polarisation(new, 0.5, ROOM, False))

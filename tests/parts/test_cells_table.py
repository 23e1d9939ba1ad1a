"""Cells from a table: what is read, in which units, and what a table that cannot be used is told."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from chargewright.base.errors import PartsError
from chargewright.parts import cells
from chargewright.parts.cell import ocv, pair_resistance, pair_tau, r0
from chargewright.parts.cell_table import from_table

ROOM = 298.15
GOOD = """\
# measured on 3 May
title: Slab cell
like: nmc-energy
capacity: 4 Ah
v_max: 4.35 V
rate_charge: 0.5 C
soc [%], temp [degC], ocv [mV], r0_charge [mohm], r0_discharge [mohm], r1 [mohm], tau1 [s]
0,       25,          3000,     60,               62,                  30,        20
50,      25,          3700,     40,               42,                  20,        20
100,     25,          4350,     50,               52,                  25,        20
0,       0,           3010,     120,              124,                 90,        25
50,      0,           3705,     80,               84,                  60,        25
100,     0,           4345,     100,              104,                 75,        25
"""


def written(folder: Path, text: str, name: str = "slab.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_reads_a_table_in_any_units(tmp_path: Path):
    cell = from_table(written(tmp_path, GOOD))
    assert cell.title == "Slab cell"
    assert cell.capacity == pytest.approx(4.0 * 3600.0)
    assert_allclose(ocv(cell, [0.0, 0.25, 1.0], ROOM), [3.0, 3.35, 4.35])
    assert r0(cell, 0.5, ROOM, True) == pytest.approx(0.040)
    assert r0(cell, 0.5, 273.15, False) == pytest.approx(0.084)
    assert pair_resistance(cell, 0, 0.5, 273.15, True) == pytest.approx(0.060)
    assert pair_tau(cell, 0, 1.0, ROOM) == pytest.approx(20.0)


def test_the_slope_with_temperature_comes_from_the_columns(tmp_path: Path):
    # By hand: (3.000 − 3.010) V over 25 K at 0 %; (4.350 − 4.345) V over 25 K at 100 %.
    cell = from_table(written(tmp_path, GOOD))
    assert_allclose(cell.docv_dt[[0, 2]], [-4e-4, 2e-4], rtol=1e-9)
    assert ocv(cell, 0.0, 273.15) == pytest.approx(3.010)


def test_what_is_not_given_is_borrowed_and_said_to_be(tmp_path: Path):
    cell, lender = from_table(written(tmp_path, GOOD)), cells.shelf.get("nmc-energy")
    assert any("nmc-energy" in caution for caution in cell.cautions)
    assert cell.heat_capacity == pytest.approx(lender.heat_capacity * 4.0 / 5.0)
    assert cell.limits.temp_charge_high == lender.limits.temp_charge_high
    # What follows the charge voltage moves with it: 4.25 V for 4.20 V is 4.40 V for 4.35 V.
    assert cell.limits.v_upper == pytest.approx(4.40)
    assert cell.limits.rate_charge == pytest.approx(0.5 / 3600.0)
    assert cell.limits.zones[0].rate == pytest.approx(0.5 / 0.7 * 0.2 / 3600.0)


def test_the_design_file_s_capacity_scales_the_table(tmp_path: Path):
    cell = from_table(written(tmp_path, GOOD), capacity=8.0 * 3600.0)
    assert cell.charge_span == pytest.approx(8.0 * 3600.0)
    assert r0(cell, 0.5, ROOM, True) == pytest.approx(0.020)


def test_heads_with_underscores_and_one_temperature_will_do(tmp_path: Path):
    text = "like: lfp\ncapacity: 2 Ah\nsoc,ocv_V,r0_mohm\n0,2.8,30\n1,3.6,20\n"
    cell = from_table(written(tmp_path, text))
    assert r0(cell, 0.5, ROOM, True) == r0(cell, 0.5, 273.15, False) == pytest.approx(0.025)
    assert cell.pairs == ()
    assert any("25 °C" in caution for caution in cell.cautions)


def test_the_package_s_own_tables_are_in_the_same_form():
    lfp = cells.shelf.get("lfp")
    data = Path(cells.__file__).parent / "data" / "lfp.csv"
    with pytest.raises(PartsError, match=r"no line 'like: \.\.\.'"):
        from_table(data)
    assert lfp.r0_charge.shape == (len(lfp.soc), len(lfp.temp))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("like: nmc-energy\n", ""), "say which one lends the limits"),
        (("like: nmc-energy", "like: nmc-enrgy"), "'nmc-enrgy' is no generic cell"),
        (("capacity: 4 Ah\n", ""), "does not say how large the cell is"),
        (("capacity: 4 Ah", "capacity: 4000"), "has no unit"),
        (("capacity: 4 Ah", "capacity: 4 mAh"), "is outside 100 mAh"),
        (("v_max: 4.35 V", "v_mx: 4.35 V"), "did you mean 'v_max'"),
        (("title: Slab cell", "title: " + "Slab " * 50), "is longer than 200 characters"),
        (("ocv [mV]", "ocv [mW]"), "'mW' is the unit of a power"),
        (("ocv [mV]", "ocv"), "column 'ocv'"),
        (("tau1 [s]", "tao1 [s]"), "did you mean 'tau1'"),
        (("tau1 [s]", "tau2 [s]"), "belong together"),
        (("soc [%]", "ocv [%]"), "'%' is the unit of a ratio"),
        (("50,      25,          3700", "50,      25,          2900"), "must rise with the state of charge; after 0 %"),
        (("3700,     40", "3700,     0"), "must be above zero everywhere; at 50 % and 25 °C it is 0"),
        (("3700,     40", "3700,     forty"), "is not a plain number"),
        (("3700,     40", "3700,     nan"), "is not a plain number"),
        (("3700,     40,", "3700,"), "has 6 values under 7 heads"),
        (("50,      0, ", "55,      0, "), "is missing"),
        (("50,      0, ", "100,     0, "), "stands there more than once"),
        (("100,     0, ", "90,      0, "), "is missing"),
        (("v_max: 4.35 V", "v_max: 4.35 V\nv_upper: 4.30 V"), "must rise in this order"),
    ],
)
def test_a_table_that_cannot_be_used_is_told_where_and_why(tmp_path: Path, change: tuple[str, str], says: str):
    assert change[0] in GOOD
    path = written(tmp_path, GOOD.replace(*change, 1))
    with pytest.raises(PartsError) as told:
        from_table(path)
    assert says in str(told.value)
    assert "slab.csv" in str(told.value)


def test_every_bad_number_of_a_table_is_told_with_its_line(tmp_path: Path):
    path = written(tmp_path, GOOD.replace("60,  ", "x,  ").replace("3705", "y"))
    with pytest.raises(PartsError) as told:
        from_table(path)
    assert "slab.csv:8  r0_charge = 'x'" in str(told.value)
    assert "slab.csv:12  ocv = 'y'" in str(told.value)


def test_a_table_must_reach_both_ends(tmp_path: Path):
    text = "like: lfp\ncapacity: 2 Ah\nsoc [%],ocv [V],r0 [mohm]\n5,2.8,30\n100,3.6,20\n"
    with pytest.raises(PartsError, match="soc runs from 5 % to 100 %"):
        from_table(written(tmp_path, text))


@pytest.mark.parametrize("content", [b"", b"# nothing\n", b"soc [1], ocv [V]\n", b"\xff\xfe\x00", b"a" * 3_000_000])
def test_no_table_at_all_is_told(tmp_path: Path, content: bytes):
    path = tmp_path / "slab.csv"
    path.write_bytes(content)
    with pytest.raises(PartsError, match=r"slab\.csv"):
        from_table(path)


def test_a_missing_file_is_told(tmp_path: Path):
    with pytest.raises(PartsError, match="cannot be read"):
        from_table(tmp_path / "none.csv")


def test_two_columns_of_one_kind_are_told(tmp_path: Path):
    text = "like: lfp\ncapacity: 2 Ah\nsoc,ocv_V,ocv_mV,r0_mohm\n0,2.8,2800,30\n1,3.6,3600,20\n"
    with pytest.raises(PartsError, match="stands there more than once"):
        from_table(written(tmp_path, text))


def test_numbers_survive_a_round_trip_through_text(tmp_path: Path):
    # Second road: a generic cell written as a user's table gives the same rest voltage and resistance back.
    lco = cells.shelf.get("lco")
    rows = [
        f"{z!r},{t!r},{float(ocv(lco, z, t))!r},{float(r0(lco, z, t, True))!r},{float(r0(lco, z, t, False))!r}"
        for t in lco.temp.tolist()
        for z in lco.soc.tolist()
    ]
    head = "like: lco\ncapacity: 2.28 Ah\nsoc [1],temp [K],ocv [V],r0_charge [ohm],r0_discharge [ohm]\n"
    cell = from_table(written(tmp_path, head + "\n".join(rows) + "\n"))
    z, t = lco.soc[3:9][:, None], np.array([265.0, 280.0, 300.0, 330.0])
    assert_allclose(r0(cell, z, t, True), r0(lco, z, t, True), rtol=1e-12)
    assert_allclose(ocv(cell, z, t), ocv(lco, z, t), atol=1e-6)


def test_branches_of_a_hysteresis_are_read(tmp_path: Path):
    path = tmp_path / "mine.csv"
    path.write_text(
        "like: lfp\ncapacity: 2 Ah\nsoc,ocv_charge_V,ocv_discharge_V,r0_mohm\n0,2.8,2.7,30\n1,3.6,3.58,20\n"
    )
    cell = from_table(path)
    assert cell.ocv[:2].tolist() == pytest.approx([2.75, 3.59])
    assert cell.rest_in_charge[:2].tolist() == pytest.approx([2.8, 3.6])
    assert cell.ocv_discharge is not None


@pytest.mark.parametrize(
    ("head", "row", "says"),
    [
        ("soc,ocv_V,ocv_charge_V,r0_mohm", "{soc},{v},{v},30", "belong together; only ocv_charge"),
        ("soc,ocv_charge_V,ocv_discharge_V,r0_mohm", "{soc},{v},3.7,30", "must rise with the state of charge"),
        (
            "soc,ocv_V,ocv_charge_V,ocv_discharge_V,r0_mohm",
            "{soc},{v},{v},{more},30",
            "must not lie below ocv_discharge",
        ),
    ],
)
def test_branches_that_make_no_sense_are_told(tmp_path: Path, head: str, row: str, says: str):
    lines = [row.format(soc=soc, v=v, more=v + 0.1) for soc, v in ((0, 2.8), (1, 3.6))]
    path = tmp_path / "mine.csv"
    path.write_text("\n".join(["like: lfp", "capacity: 2 Ah", head, *lines]) + "\n")
    with pytest.raises(PartsError) as told:
        from_table(path)
    assert says in str(told.value)

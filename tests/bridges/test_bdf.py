"""Packs and charges out in the Battery Data Format, and back."""

from pathlib import Path

import numpy as np
import pytest

from chargewright.base.errors import LogError
from chargewright.base.units import exact
from chargewright.bridges.bdf import REQUIRED, bdf_text, charge_bdf, read_bdf, write_bdf
from chargewright.parts.pack import build_pack
from chargewright.sim.charge import run_charge
from chargewright.sim.charge_setup import charge_settings
from chargewright.spec.pack import ChargeSpec, PackSpec


@pytest.fixture(scope="module")
def run():
    pack = build_pack(PackSpec(cell="nmc-energy", series=2, interconnect=exact(5e-3)), Path())
    return run_charge(pack, charge_settings(ChargeSpec(), pack), soc_start=0.1, temp_ambient=298.15)


def test_the_required_columns_come_first_and_by_their_labels(run):
    # Check values DF04 and DF05 (package batterydf 0.1.0, Battery Data Alliance; confirmed by look-up).
    head = charge_bdf(run).splitlines()[0].split(",")
    assert head[:3] == ["Test Time / s", "Voltage / V", "Current / A"]
    assert set(head[3:]) <= {
        "Step Index / 1", "Charging Capacity / Ah", "Charging Energy / Wh", "Power / W", "Surface Temperature T1 / degC"
    }  # fmt: skip


def test_a_predicted_charge_reads_back_as_it_was(run, tmp_path):
    path = tmp_path / "charge.csv"
    write_bdf(path, charge_bdf(run))
    found = read_bdf(path)
    t = found["Test Time / s"]
    assert np.all(np.diff(t) > 0.0)
    assert t[-1] == pytest.approx(run.t_end, rel=1e-9)
    # Current into the pack is positive; charge and energy are those of the run. Trapezoids over its own rows: 1e-4.
    assert found["Current / A"].max() == pytest.approx(2.5, rel=1e-6)
    assert found["Charging Capacity / Ah"][-1] * 3600.0 == pytest.approx(run.charge, rel=1e-4)
    assert found["Charging Energy / Wh"][-1] * 3600.0 == pytest.approx(run.energy_in, rel=1e-4)
    np.testing.assert_allclose(found["Power / W"], found["Voltage / V"] * found["Current / A"], rtol=1e-8)
    assert found["Surface Temperature T1 / degC"][0] == pytest.approx(25.0)
    assert list(np.unique(np.diff(found["Step Index / 1"]))) == [0.0, 1.0]


def test_of_rows_at_one_instant_the_last_stays():
    text = bdf_text([0.0, 1.0, 1.0, 2.0], [4.0, 4.1, 4.0, 4.0], [1.0, 1.0, 0.0, 0.0])
    assert text == "Test Time / s,Voltage / V,Current / A\n0,4,1\n1,4,0\n2,4,0\n"


@pytest.mark.parametrize(
    ("given", "word"),
    [
        (([0.0, 1.0], [4.0], [1.0, 1.0]), "as many each"),
        (([], [], []), "need rows"),
        (
            ([0.0, 1.0], [4.0, float("nan")], [1.0, 1.0]),
            "'Voltage / V' holds values that are no numbers, first in row 2",
        ),
        (([0.0, 2.0, 1.0], [4.0, 4.0, 4.0], [1.0, 1.0, 1.0]), "runs backwards after 2 s"),
        (([0.0, 1.0], [4.0, 4.0], [1.0, 1.0], {"Mood / 1": [1.0, 2.0]}), "'Mood / 1' is no column"),
    ],
)
def test_a_table_that_is_none_is_refused(given, word):
    with pytest.raises(LogError, match=word):
        bdf_text(*given)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "no column 'Test Time / s'"),
        ("Test Time / s,Voltage / V\n0,4\n", "no column 'Current / A'"),
        (f"{','.join(REQUIRED)}\n0,4,1\n1,4\n", "line 3 has 2 values where the head has 3"),
        (f"{','.join(REQUIRED)}\n0,4,1\n1,x,1\n", "line 3 holds something that is no number"),
        (f"{','.join(REQUIRED)}\n0,4,1\n0,4,1\n", "has to rise"),
    ],
)
def test_a_file_that_is_none_is_refused(text, word, tmp_path):
    path = tmp_path / "x.csv"
    path.write_text(text)
    with pytest.raises(LogError, match=word):
        read_bdf(path)


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(LogError, match=r"none\.csv"):
        read_bdf(tmp_path / "none.csv")

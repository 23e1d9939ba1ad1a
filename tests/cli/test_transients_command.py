"""The command that puts a design into time."""

import json
from pathlib import Path

import numpy as np
import pytest

from chargewright.bridges.table_files import read_table
from chargewright.cli.main import main

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "tablet.yaml"


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    out = tmp_path_factory.mktemp("out")
    code = main(["transients", str(EXAMPLE), "--only", "pack-start", "--only", "supplement", "--out", str(out)])
    return out, code


def test_it_writes_page_figures_waveforms_and_the_stage(written):
    out, code = written
    assert code == 0
    names = {f.name for f in out.iterdir()}
    assert {"transients.html", "transients.json", "stage.csv", "stage.cir"} < names
    assert {"pack-start.csv", "pack-start.svg", "pack-start.png"} < names
    table, notes = read_table(out / "pack-start.csv")
    assert "pack at 15%" in notes["setting"]
    assert {"t_s", "v_bus_V", "i_pack_A", "ruling_loop"} < set(table)
    # The bus is empty before and stands near the pack's rest voltage, 7 V, in the end.
    assert table["v_bus_V"][0] == pytest.approx(0.0, abs=1e-6)
    assert 6.0 < table["v_bus_V"][-1] < 7.2
    assert "the pack cannot help" in (out / "transients.html").read_text(encoding="utf-8")


def test_its_record_tells_what_was_left_out(written):
    found = json.loads((written[0] / "transients.json").read_text(encoding="utf-8"))
    assert [row["met"] for row in found["transients"]] == [True, False]
    assert found["passes"] is True
    assert found["events"]["pack-start"][0]["words"] == "pack wakes"
    assert len(found["waves"]["t_s"]) == len(found["waves"]["v_bus_V"]) > 50


def test_the_steady_period_carries_the_charge_current(written):
    table, _ = read_table(written[0] / "stage.csv")
    mean = np.trapezoid(table["i_coil_A"], table["t_s"]) / table["t_s"][-1]
    # 0.5 C of a 5 Ah cell is 2.5 A in a buck's coil; the duty is the solver's, whose losses are a little more.
    assert mean == pytest.approx(2.5, rel=0.25)
    assert np.trapezoid(table["i_input_capacitor_A"], table["t_s"]) == pytest.approx(0.0, abs=1e-8)
    assert ".control" in (written[0] / "stage.cir").read_text(encoding="utf-8")

"""The command that runs only the charge."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from chargewright.bridges.table_files import read_table
from chargewright.cli.main import main

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "tablet.yaml"
FAST = ["charge", str(EXAMPLE), "--path", "narrow-buck"]


def test_it_tells_phases_limits_and_audit(capsys: pytest.CaptureFixture[str], tmp_path: Path):
    code = main([*FAST, "--from", "20 %", "--out", str(tmp_path)])
    said = capsys.readouterr().out
    assert code == 0
    assert "the charge current rules" in said
    assert "the charge voltage rules, the current tapers" in said
    assert "80 % after" in said
    assert "in order: highest cell voltage" in said
    table, notes = read_table(tmp_path / "charge.csv")
    assert "dock adapter" in notes["title"]
    measured_form = list(csv.DictReader((tmp_path / "charge_bdf.csv").read_text().splitlines()))
    assert float(measured_form[-1]["Test Time / s"]) == pytest.approx(table["t_s"][-1])
    assert float(measured_form[-1]["Current / A"]) == pytest.approx(table["i_pack_A"][-1])
    # By hand: it starts where it was told to, and ends with the termination current, 0.05 C of 5 Ah.
    assert table["soc_1"][0] == pytest.approx(0.2)
    assert table["i_pack_A"][-1] == pytest.approx(0.25, rel=1e-5)
    assert table["limit"][-1] == "done"
    assert (tmp_path / "charge.svg").read_text().startswith("<svg")


def test_parquet_holds_the_same_as_csv(tmp_path: Path):
    main([*FAST, "--from", "80 %", "--out", str(tmp_path)])
    main([*FAST, "--from", "80 %", "--out", str(tmp_path), "--parquet"])
    text, binary = read_table(tmp_path / "charge.csv"), read_table(tmp_path / "charge.parquet")
    assert text[1] == binary[1]
    assert all(np.array_equal(text[0][name], binary[0][name]) for name in binary[0])
    assert len(binary[0]["t_s"]) > 10


def test_a_charge_that_passes_a_limit_or_never_ends_gives_one(capsys: pytest.CaptureFixture[str]):
    assert main([*FAST, "--ambient", "-10 °C", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["ended_by"] == "cold"
    assert found["phases"] == []
    assert found["temp_ambient_K"] == pytest.approx(263.15)


def test_json_phases_fill_the_whole_charge(capsys: pytest.CaptureFixture[str]):
    main([*FAST, "--json"])
    found = json.loads(capsys.readouterr().out)
    edges = [found["phases"][0]["t_start_s"], *(phase["t_end_s"] for phase in found["phases"])]
    assert edges[0] == 0.0
    assert edges == sorted(edges)
    assert edges[-1] == pytest.approx(found["t_end_s"])
    for phase, limit in ((p, p["limit"]) for p in found["phases"]):
        assert phase["t_end_s"] - phase["t_start_s"] <= found["seconds_by_limit"][limit] + 1e-6


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--source", "dok adapter"], "did you mean 'dock adapter'"),
        (["--from", "20"], "20"),
        (["--ambient", "25"], "25"),
    ],
)
def test_what_it_cannot_use_is_told(capsys: pytest.CaptureFixture[str], more: list[str], says: str):
    assert main([*FAST, *more]) == 2
    assert says in capsys.readouterr().err


def test_an_unknown_path_is_answered_with_the_nearest(capsys: pytest.CaptureFixture[str]):
    assert main(["charge", str(EXAMPLE), "--path", "narrow-bukc"]) == 2
    assert "narrow-buck" in capsys.readouterr().err

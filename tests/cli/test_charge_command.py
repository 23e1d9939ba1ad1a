"""The command that runs only the charge."""

import csv
import json
import re
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


def test_the_energy_from_the_wall_is_told_down_to_the_source(capsys: pytest.CaptureFixture[str]):
    assert main([*FAST, "--from", "20 %"]) == 0
    line = next(row for row in capsys.readouterr().out.splitlines() if row.startswith("From the wall"))
    wall, *parts = (float(x) * (1.0 if u == "Wh" else 1e-3) for x, u in re.findall(r"([\d.]+) (m?Wh)", line))
    # What is named adds up to the whole; each part is rounded to three digits, the stored one to 5 mWh.
    assert len(parts) == 5
    assert sum(parts) == pytest.approx(wall, abs=0.03)


def test_a_pack_too_cold_to_charge_has_a_figure_all_the_same(capsys: pytest.CaptureFixture[str], tmp_path: Path):
    assert main([*FAST, "--ambient", "-10 °C", "--out", str(tmp_path)]) == 1
    said = capsys.readouterr().out
    assert "80 % is never met, broken off after 0 s. At -10 °C the cells may not be charged" in said
    assert (tmp_path / "charge.svg").read_text().startswith("<svg")


def test_a_design_that_no_path_can_serve_is_told_path_by_path(capsys: pytest.CaptureFixture[str], tmp_path: Path):
    file = tmp_path / "low.yaml"
    file.write_text(
        "name: Low\nsources:\n  - {name: port, kind: type-c}\npack: {cell: nmc-energy, series: 4}\n"
        "system: {load: 5 W}\ncandidates: [direct, narrow-buck]\n"
    )
    assert main(["charge", str(file)]) == 2
    said = capsys.readouterr().err
    for key in ("direct", "narrow-buck"):
        assert f"  {key}: A buck needs its input above" in said
    assert "name one with --path" in said


def test_a_highest_cell_beyond_its_limit_says_when_and_what_then_acts(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
):
    file = tmp_path / "apart.yaml"
    file.write_text(
        "name: Apart\nsources:\n  - {name: adapter, kind: fixed, voltage: 24 V ±5 %, current: 3 A}\n"
        "pack: {cell: lfp, series: 4, spread_soc: 2 %, balance_current: 60 mA}\nsystem: {load: 4 W}\n"
    )
    assert main(["charge", str(file), "--path", "narrow-buck"]) == 1
    said = capsys.readouterr().out
    assert "capacity spread 2 %, 2 % in state of charge, balanced with 60 mA from 3.5 V; passed after" in said
    assert "there the pack's own protection would end the charge" in said


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

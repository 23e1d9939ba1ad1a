"""The command that runs only the usage: text, tables, JSON, logs, and messages instead of tracebacks."""

import json
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from chargewright.bridges.bdf import read_bdf
from chargewright.bridges.table_files import read_table
from chargewright.cli.main import main

DESIGN = """\
name: Bench lamp
sources:
  - {name: adapter, kind: fixed, voltage: 20 V ±5 %, current: 3.25 A}
pack: {cell: nmc-energy, series: 2, capacity: 5 Ah}
system:
  load: 12 W
  peak: {power: 20 W, duration: 10 ms}
usage:
  - {mode: work, source: adapter, duration: 20 h}
  - {mode: work, source: none, duration: 2 h}
  - {mode: "off", source: adapter, duration: 2 h}
"""


@pytest.fixture
def design(tmp_path: Path) -> Path:
    path = tmp_path / "lamp.yaml"
    path.write_text(DESIGN, encoding="utf-8")
    return path


def run(*arguments: object) -> int:
    return main(["usage", *(str(a) for a in arguments)])


def table(path: Path) -> list[dict[str, Any]]:
    columns, _ = read_table(path)
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def test_it_tells_how_the_days_go(design, capsys):
    assert run(design, "--path", "direct", "--days", 2) == 0
    out = capsys.readouterr().out
    told = (
        "Every load is served", "a day:", "where it is lost between source and rails",
        "charging, limited by charge current",
        "As information; the primary text rules.", "Taken for granted:", "2 % of its capacity a month",
    )  # fmt: skip
    for part in told:
        assert part in out


def test_json_and_tables_hold_the_same(design, tmp_path, capsys):
    out = tmp_path / "out"
    assert run(design, "--path", "narrow-buck", "--days", 3, "--out", out, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found == json.loads((out / "usage.json").read_text(encoding="utf-8"))
    days = table(out / "days.csv")
    assert len(days) == 3
    assert sum(float(d["e_wall_J"]) for d in days) == pytest.approx(found["totals"]["e_wall_J"], rel=1e-8)
    balance = table(out / "balance.csv")
    signs = {"in": 1.0, "out": -1.0, "loss": -1.0}
    left = sum(signs[row["side"]] * float(row["energy_J"]) for row in balance)
    assert abs(left) < 1e-6 * found["totals"]["e_source_J"]
    assert found["unaccounted"] < 1e-6
    assert found["charger_rule"]["remark"] == "as information; the primary text rules"
    trace = table(out / "trace.csv")
    pack = read_bdf(out / "pack_bdf.csv")
    assert float(trace[5]["i_pack_A"]) == pytest.approx(pack["Current / A"][5])
    assert {row["state"] for row in trace} == {"charging", "source only", "battery"}
    states = table(out / "states.csv")
    assert sum(float(row["t_s"]) for row in states) == pytest.approx(3 * 86400.0)
    figure = ElementTree.fromstring((out / "usage.svg").read_text(encoding="utf-8"))
    assert "Use over days" in " ".join(figure.itertext())
    for name in ("events.csv", "peaks.csv"):
        assert (out / name).stat().st_size > 10


def test_tables_as_parquet_hold_the_same(design, tmp_path):
    for more in ((), ("--parquet",)):
        run(design, "--path", "narrow-buck", "--days", 1, "--out", tmp_path / f"out{len(more)}", *more)
    for name in ("days", "balance", "states", "events", "trace", "peaks"):
        text, binary = read_table(tmp_path / "out0" / f"{name}.csv"), read_table(tmp_path / "out1" / f"{name}.parquet")
        assert text[1] == binary[1]
        assert list(text[0]) == list(binary[0])
        assert all(len(values) == 0 or np.array_equal(values, binary[0][key]) for key, values in text[0].items()), name


def test_a_log_is_run_as_long_as_it_lasts(design, tmp_path, capsys):
    log = tmp_path / "load.csv"
    log.write_text("elapsed [min],p_total,feed\n" + "".join(f"{k},{9 + k % 3},adapter\n" for k in range(180)))
    mapped = ("--column", "time=elapsed", "--column", "power=p_total", "--column", "source=feed", "--unit", "power=W")
    assert run(design, "--path", "direct", "--log", log, "--step", "30 s", *mapped, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["length_s"] == pytest.approx(180 * 60.0)
    assert found["totals"]["e_load_J"] == pytest.approx(10.0 * 180 * 60.0, rel=1e-9)
    assert found["title"] == "the load log load.csv"


def test_what_is_not_served_ends_in_1(design, capsys):
    assert run(design, "--path", "direct", "--days", 1, "--capacity", "40 %", "--resistance", "200 %") == 1
    assert "no load is served" in capsys.readouterr().out


def test_cold_and_the_shelf_are_asked_for_by_options(design, capsys):
    cold = (design, "--path", "direct", "--days", 1, "--from", "30 %", "--ambient", "-5 °C")
    run(*cold)
    assert "cells are below 0 °C" in capsys.readouterr().out
    assert run(design, "--path", "direct", "--days", 7, "--rest-days", 2, "--self-discharge", "30 %") == 0
    assert "5 days by the usage table, then 2 days switched off" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "word"),
    [
        (("--days", "0"), "at most 3660 days"),
        (("--days", "nan"), "at most 3660 days"),
        (("--gaps", "fill"), "--gaps fill: this can be refuse, hold, off"),
        (("--column", "power"), "write a role, '=' and a value"),
        (("--from", "120 %"), "--from 120 %: this has to lie in 0 % … 100 %"),
        (("--ambient", "20"), "has no unit"),
        (("--path", "direkt"), "direct"),
        (("--ambient", "900 °C"), "--ambient 900 °C: this has to lie in -60 °C … 100 °C"),
        (("--self-discharge", "200 %"), "0 % … 100 %"),
        (("--rest-days", "-1"), "--rest-days -1: a number of days"),
        (("--rest-days", "2", "--rest-source", "car"), "no source is called 'car'"),
        (("--log", "missing.csv"), "No such file"),
    ],
)
def test_wrong_options_are_told_and_end_in_2(design, capsys, options, word, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    given = options if "--path" in options else (*options, "--path", "direct")
    if options[0] in ("--gaps", "--column"):
        (tmp_path / "load.csv").write_text("time [s],power [W]\n0,1\n1,1\n")
        given = (*given, "--log", "load.csv")
    assert run(design, *given) == 2
    told = capsys.readouterr().err
    assert word in told
    assert "Traceback" not in told


def test_a_bad_log_is_told_with_its_lines(design, tmp_path, capsys):
    log = tmp_path / "load.csv"
    log.write_text("time [s],power [W]\n0,1\n1,\n2,1\n")
    assert run(design, "--path", "direct", "--log", log) == 2
    assert "1 row that cannot be read: line 3: 'power [W]' is empty" in capsys.readouterr().err


def test_progress_goes_to_standard_error_and_not_into_json(design, capsys):
    run(design, "--path", "direct", "--days", 1, "--json")
    told = capsys.readouterr()
    assert told.err == ""
    json.loads(told.out)
    run(design, "--path", "direct", "--days", 1)
    assert "%" in capsys.readouterr().err


def test_the_wall_energy_of_a_year_is_that_of_its_days(design, capsys):
    run(design, "--path", "direct", "--days", 365, "--self-discharge", "0 %", "--json")
    year = json.loads(capsys.readouterr().out)
    run(design, "--path", "direct", "--days", 3, "--self-discharge", "0 %", "--json")
    three = json.loads(capsys.readouterr().out)
    assert np.isfinite(year["totals"]["e_wall_J"])
    assert year["totals"]["e_wall_J"] / 365 == pytest.approx(three["totals"]["e_wall_J"] / 3, rel=2e-3)

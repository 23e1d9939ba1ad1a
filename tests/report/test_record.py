"""The machine-readable record: its schema, its numbers, and the CSV files that hold the same."""

import csv
import io
import json
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from chargewright.dossier.record import Dossier
from chargewright.report.record import ALWAYS, CURVES, SOMETIMES, curves_of, study_record, tables_of
from chargewright.report.schema import schema_text, study_json_schema
from chargewright.report.tables import ROW, column, csv_text, key_with_unit, table_block, table_form
from chargewright.report.write import json_text

SCHEMA = Path(__file__).resolve().parents[2] / "docs" / "schema" / "study.schema.json"


@pytest.fixture(scope="module")
def record(dossier: Dossier) -> dict[str, Any]:
    return study_record(dossier)


def problems(record: dict[str, Any]) -> list[str]:
    """Return what the schema says against a record."""
    return [error.message for error in Draft202012Validator(study_json_schema()).iter_errors(record)]


def test_the_schema_is_a_schema():
    Draft202012Validator.check_schema(study_json_schema())


def test_the_file_in_the_documentation_is_what_the_code_makes():
    # After a change: .venv/bin/python -m chargewright schema study > docs/schema/study.schema.json
    assert SCHEMA.read_text(encoding="utf-8") == schema_text()


def test_a_record_meets_its_schema(record: dict[str, Any], hopeless: Dossier):
    assert problems(record) == []
    assert problems(study_record(hopeless)) == []
    assert study_record(hopeless)["verdict"]["winner"] is None


@pytest.mark.parametrize(
    "harm",
    [
        lambda r: r.pop("cautions"),
        lambda r: r.update(cautions=[]),
        lambda r: r.update(extra=1),
        lambda r: r.update(version=2),
        lambda r: r["tables"].pop("losses"),
        lambda r: r["tables"]["paths"][0].pop("energy_J"),
        lambda r: r["tables"]["paths"][0].update(energy_J="many"),
        lambda r: r["tables"]["paths"][0].update(energy=1.0),
        lambda r: r["tables"].update(another=[]),
        lambda r: r["curves"]["day_curve"].pop("t_s"),
    ],
)
def test_the_schema_notices_what_is_wrong(record: dict[str, Any], harm: Any):
    harmed = json.loads(json_text(record))
    harm(harmed)
    assert problems(harmed)


def test_numbers_are_those_of_the_study(record: dict[str, Any], dossier: Dossier):
    study = dossier.study
    winner = study.winner
    assert winner is not None
    assert winner.measures is not None
    first = record["tables"]["paths"][0]
    assert first["path"] == record["verdict"]["winner"] == winner.path.key
    # Numbers are written to ten digits.
    assert first["energy_J"] == pytest.approx(winner.measures["energy"], rel=1e-9)
    assert first["area_m2"] == pytest.approx(winner.measures["area"], rel=1e-9)
    losses = [r for r in record["tables"]["losses"] if r["path"] == winner.path.key and r["state"] == "charging"]
    report = next(r for r in winner.states if r.key == "charging")
    total = float(np.ravel(report.ledger.total("loss"))[report.usual])
    assert sum(r["p_loss_W"] for r in losses) == pytest.approx(total, rel=1e-8)
    assert sum(r["share"] for r in losses) == pytest.approx(1.0, rel=1e-8)
    assert len(record["tables"]["findings"]) == len(dossier.findings)
    assert winner.day is not None
    assert record["curves"]["day_curve"]["soc"] == pytest.approx(winner.day.soc.tolist(), rel=1e-9)


def test_power_balances_in_the_table_of_states(record: dict[str, Any]):
    # In = out + losses inside, to the source's connector: the cable's loss is the difference, and it is a loss.
    seen = 0
    for r in record["tables"]["states"]:
        if r["possible"]:
            rest = (
                r["p_source_W"] - max(r["p_cells_W"], 0.0) + max(-r["p_cells_W"], 0.0) - r["p_load_W"] - r["p_loss_W"]
            )
            assert -1e-6 <= rest < 0.1 * max(r["p_source_W"], 1e-3), (r["path"], r["state"])
            seen += 1
    assert seen > 10


def test_it_is_plain_json_without_infinities(record: dict[str, Any]):
    text = json_text(record)
    again = json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
    assert again == record


def test_what_has_no_finite_number_becomes_null(dossier: Dossier):
    reach = dossier.study.reach
    assert reach is not None
    edges = (replace(reach.edges[0], edge=math.inf), replace(reach.edges[1], edge=math.nan), *reach.edges[2:])
    changed = replace(dossier, study=replace(dossier.study, reach=replace(reach, edges=edges)))
    record = study_record(changed)
    assert [r["edge_SI"] for r in record["tables"]["reach"][:2]] == [None, None]
    assert problems(record) == []


def test_it_does_not_tell_where_the_design_lies(record: dict[str, Any], dossier: Dossier):
    assert dossier.study.case.folder.name not in json_text(record)
    assert record["design"]["file"] == "sample.yaml"


def test_every_key_of_a_number_names_its_unit_or_is_a_ratio():
    for form in (*ALWAYS, *SOMETIMES, *CURVES):
        for c in form.columns:
            if c.unit not in ("", "1", ROW):
                assert c.head.endswith("_" + key_with_unit("", c.unit).lstrip("_")), (form.key, c.key)
            assert re.fullmatch("[a-z][a-z0-9_]*(_[A-Za-z0-9]+)*", c.head), c.head
        assert len({c.head for c in form.columns}) == len(form.columns), form.key
        if any(c.unit == ROW for c in form.columns):
            assert any(c.key == "unit" for c in form.columns), form.key


def test_the_csv_files_hold_what_the_record_holds(dossier: Dossier, record: dict[str, Any]):
    for table in tables_of(dossier):
        read = list(csv.DictReader(io.StringIO(csv_text(table))))
        kept = record["tables"][table.key]
        assert len(read) == len(kept)
        for row, wanted in zip(read, kept, strict=True):
            assert row.keys() == wanted.keys()
            for key, value in wanted.items():
                assert same(row[key], value), (table.key, key)
    for curve in curves_of(dossier):
        read = list(csv.DictReader(io.StringIO(csv_text(curve))))
        assert {len(read)} == {len(values) for values in record["curves"][curve.key].values()}


def same(text: str, value: Any) -> bool:
    """Return whether a CSV cell says what a JSON value says."""
    if value is None:
        return text == ""
    if isinstance(value, bool):
        return text == ("yes" if value else "no")
    if isinstance(value, int | float):
        return float(text) == pytest.approx(value, rel=1e-9)
    return text in (value, f"'{value}")


def test_a_cell_that_a_spreadsheet_would_run_is_disarmed():
    form = table_form("x", "X", (column("name", "name"), column("v", "voltage", "V")))
    text = csv_text(form.filled([('=HYPERLINK("x")', 1.0), ("+1", -2.0), ("plain, with comma", math.inf)]))
    assert text.splitlines() == ["name,v_V", '"\'=HYPERLINK(""x"")",1', "'+1,-2", '"plain, with comma",']


def test_a_column_in_the_unit_of_its_row_is_told_in_that_unit():
    form = table_form("x", "X", (column("what", "what"), column("v", "value", ROW), column("unit", "unit")))
    block = table_block(form.filled([("u", 0.0123, "V"), ("t", 300.15, "K"), ("n", -3.0, ""), ("none", None, "A")]))
    assert block.heads == ("what", "value")
    assert [row[1].text for row in block.rows] == ["12.3 mV", "27 °C", "−3", "–"]


def test_a_row_that_does_not_fit_is_our_mistake():
    with pytest.raises(AssertionError, match="does not fit"):
        table_form("x", "X", (column("a", "a"),)).filled([("one", "two")])

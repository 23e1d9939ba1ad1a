"""The code table for reports and as CSV."""

import csv
import io

from chargewright.setpoints.context import Context, Want
from chargewright.setpoints.load import load_controller
from chargewright.setpoints.plan import plan_setpoints
from chargewright.setpoints.table import code_table, code_table_csv

POINTS = plan_setpoints(
    [
        Want(quantity="charge_voltage", value=8.4, reason="=two cells at 4.2 V"),
        Want(quantity="charge_current", value=3.0),
        Want(quantity="input_current", value=float("inf")),
    ],
    load_controller("generic"),
    Context(series=2, v_cell_max=4.2, i_charge_max=5.0),
)


def test_the_table_has_a_line_for_every_set_point_with_its_unit():
    rows = code_table(POINTS)
    assert [(row.quantity, row.unit, row.register, row.code) for row in rows] == [
        ("charge_voltage", "V", "0x41", 1050),
        ("charge_current", "A", "0x42", 93),
        ("input_current", "A", "0x51", 0),
    ]
    assert rows[0].bits == "0x041A"


def test_the_csv_reads_back_to_the_same_numbers():
    rows = list(csv.DictReader(io.StringIO(code_table_csv(POINTS))))
    assert [float(row["real"]) for row in rows] == [8.4, 2.976, float("inf")]
    assert rows[1]["error"] == "-0.024"
    assert {row["clamped"] for row in rows} == {"no"}


def test_a_text_of_the_user_is_never_a_formula():
    (first, *_) = csv.DictReader(io.StringIO(code_table_csv(POINTS)))
    assert first["reason"] == "'=two cells at 4.2 V"

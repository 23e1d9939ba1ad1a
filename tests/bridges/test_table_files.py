"""Tables as CSV and Parquet: every bit comes back, with its name, unit and notes."""

import csv

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargewright.base.errors import ChargewrightError
from chargewright.bridges.table_files import read_table, save_table, table_notes

COLUMNS = {
    # Values that lose bits where a writer rounds: a third, a subnormal, the largest double, a negative zero.
    "v_pack_V": np.array([1.0 / 3.0, 5e-324, 1.7976931348623157e308, -0.0]),
    "count_1": np.array([1, -2, 3, 2**53 + 1]),
    "limit": ("none", "source, weak", '=say "go"', "# not a note"),
}
NOTES = table_notes("A table: with a colon", design="tablet.yaml")


@pytest.mark.parametrize("ending", [".csv", ".parquet", ".CSV"])
def test_a_table_comes_back_to_the_last_bit_with_its_notes(tmp_path, ending):
    path = tmp_path / f"table{ending}"
    save_table(path, COLUMNS, notes=NOTES)
    columns, notes = read_table(path)
    assert list(columns) == list(COLUMNS)
    assert columns["v_pack_V"].tobytes() == COLUMNS["v_pack_V"].tobytes()
    assert columns["limit"].tolist() == list(COLUMNS["limit"])
    assert notes == NOTES
    assert "into the pack" in notes["signs"]


def test_parquet_holds_the_same_doubles_for_another_reader(tmp_path):
    # Outside reader: pyarrow's own, with no help from the writer; the format is Apache Parquet 2.
    import pyarrow.parquet

    save_table(tmp_path / "t.parquet", COLUMNS, notes=NOTES)
    found = pyarrow.parquet.read_table(tmp_path / "t.parquet")
    assert found["v_pack_V"].to_numpy().tobytes() == COLUMNS["v_pack_V"].tobytes()
    assert found["count_1"].to_pylist() == COLUMNS["count_1"].tolist()
    assert [str(kind) for kind in found.schema.types] == ["double", "int64", "string"]
    assert found.schema.metadata[b"title"] == b"A table: with a colon"


def test_csv_is_read_by_numpy_which_passes_over_the_notes(tmp_path):
    save_table(tmp_path / "t.csv", {"t_s": [0.0, 0.1], "p_W": [1e-3, 2.0]}, notes=NOTES)
    found = np.genfromtxt(tmp_path / "t.csv", delimiter=",", names=True, skip_header=len(NOTES))
    assert found["p_W"].tolist() == [1e-3, 2.0]
    rows = list(csv.DictReader(x for x in (tmp_path / "t.csv").read_text().splitlines() if not x.startswith("#")))
    assert rows[1] == {"t_s": "0.1", "p_W": "2.0"}


@given(values=st.lists(st.floats(allow_nan=True), max_size=20))
@settings(max_examples=50, deadline=None)
def test_any_doubles_come_back(values, tmp_path_factory):
    for ending in (".csv", ".parquet"):
        path = tmp_path_factory.mktemp("t") / f"x{ending}"
        save_table(path, {"x_1": np.array(values, dtype=float)}, notes={})
        assert np.array_equal(read_table(path)[0]["x_1"], np.array(values, dtype=float), equal_nan=True)


def test_long_tables_are_written_in_pieces_that_fit_together(tmp_path):
    x = np.arange(10_000) * 0.1
    save_table(tmp_path / "t.csv", {"x_1": x}, notes={})
    assert np.array_equal(read_table(tmp_path / "t.csv")[0]["x_1"], x)


@pytest.mark.parametrize(
    ("name", "columns", "says"),
    [
        ("t.xls", {"t_s": [1.0]}, ".csv or .parquet"),
        ("t.csv", {}, "there is none"),
        ("t.csv", {"t_s": [1.0], "p_W": [1.0, 2.0]}, "t_s 1, p_W 2"),
        ("t.csv", {"t_s": [[1.0]]}, "'t_s'"),
        ("t.csv", {"t_s": [None]}, "'t_s'"),
        ("t.csv", {"mode": ["a\nb"]}, "line break"),
        ("missing/t.parquet", {"t_s": [1.0]}, "cannot be written"),
    ],
)
def test_what_is_no_table_is_refused_and_nothing_is_left(tmp_path, name, columns, says):
    with pytest.raises(ChargewrightError, match=says):
        save_table(tmp_path / name, columns, notes={})
    assert list(tmp_path.iterdir()) == []


def test_a_missing_library_is_told_with_what_helps(tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pyarrow.parquet", None)
    with pytest.raises(ChargewrightError, match="pip install pyarrow"):
        save_table(tmp_path / "t.parquet", {"t_s": [1.0]}, notes={})
    assert list(tmp_path.iterdir()) == []

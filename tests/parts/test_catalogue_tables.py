"""Tables of parts: what is read, what is refused, and how the refusal is told."""

from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from chargewright.base.errors import PartsError
from chargewright.parts._table import MAX_BYTES, MAX_ROWS, built_in, parse_table, read_table, table_text
from chargewright.parts.capacitor import PART as CAPACITOR
from chargewright.parts.capacitor import Capacitor
from chargewright.parts.catalogue import KINDS, load_parts
from chargewright.parts.kind import PartKind, catalogue
from chargewright.parts.sense_resistor import PART as SENSE
from chargewright.parts.sense_resistor import SenseResistor
from chargewright.spec.rules import PartsSpec

HEAD = "name,r [mohm],tol [%],temp_co [ppm/K],p_max [W],rth [K/W],area [mm2],cost [1]"
ROW = "MINE 4mohm,4,1,75,1,60,5.1,0.2"


def refusal(text: str, part: PartKind = SENSE) -> str:
    with pytest.raises(PartsError) as caught:
        parse_table(text, part, shown="mine.csv", origin="mine.csv")
    return str(caught.value)


def sense(text: str) -> SenseResistor:
    (record,) = parse_table(text, SENSE, shown="mine.csv", origin="mine.csv")
    return record


# What is read.


def test_numbers_become_si():
    part = sense(f"{HEAD}\n{ROW}\n")
    assert (part.name, part.origin) == ("MINE 4mohm", "mine.csv")
    values = (part.r, part.tol, part.temp_co, part.p_max, part.rth, part.area, part.cost)
    assert values == pytest.approx((4e-3, 0.01, 75e-6, 1.0, 60.0, 5.1e-6, 0.2), rel=1e-12)


def test_a_column_may_be_in_any_unit_of_its_kind():
    head = HEAD.replace("r [mohm]", "r [uohm]").replace("tol [%]", "tol [1]").replace("p_max [W]", "p_max [mW]")
    part = sense(f"{head}\nMINE,4000,0.01,75,1000,60,5.1,0.2\n")
    assert (part.r, part.tol, part.p_max) == pytest.approx((4e-3, 0.01, 1.0), rel=1e-12)


def test_columns_may_stand_in_any_order_and_comments_and_empty_lines_anywhere():
    head, row = (",".join(reversed(text.split(","))) for text in (HEAD, ROW))
    assert sense(f"# mine\n\n{head}\n  # first\n\n{row}\n# end") == sense(f"{HEAD}\n{ROW}")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_endings_of_all_systems_and_a_byte_order_mark_are_read(end: str, tmp_path: Path):
    path = tmp_path / "mine.csv"
    path.write_bytes(("\ufeff" + end.join([HEAD, ROW, ""])).encode())
    assert len(read_table(path, SENSE)) == 1


def test_temperatures_are_read_as_celsius():
    text = table_text(built_in(CAPACITOR))
    assert "temp_max [degC]" in text
    parts = parse_table(text, CAPACITOR, shown="", origin="")
    assert set(np.round(parts.column("temp_max"), 6)) == {378.15, 398.15}


def test_an_empty_cell_means_that_it_does_not_apply():
    text = table_text(catalogue(CAPACITOR, [built_in(CAPACITOR).named("CAP 100uF 35V polymer 8mm")]))
    assert ",,," not in text.split("\n")[0]
    (part,) = parse_table(text, CAPACITOR, shown="", origin="")
    assert part.v_half == np.inf


def test_a_column_with_a_default_may_be_left_out():
    text = (
        "name,kind,c_0 [uF],tol_c [%],v_max [V],esr [mohm],esl [nH],i_rms_max [A],temp_max [degC],area [mm2],cost [1]"
    )
    (part,) = parse_table(text + "\nMINE,polymer,100,20,35,17,4,3.6,105,69,0.5", CAPACITOR, shown="", origin="")
    assert isinstance(part, Capacitor)
    assert np.isnan(part.life_rated)


# Round trip.


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False, allow_subnormal=False)


NAMES = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=40).map(str.strip).filter(bool)


@st.composite
def records(draw: st.DrawFn, part: PartKind) -> object:
    values = {"name": draw(NAMES), "origin": "x"}
    for column in part.columns[1:]:
        low, high = column.info.low, column.info.high
        values[column.name] = draw(numbers(low, high) if column.plain else st.sampled_from(column.choices))
    return part.record(**values)


@pytest.mark.parametrize("part", KINDS, ids=[part.key for part in KINDS])
@given(data=st.data())
def test_whatever_is_written_is_read_back(part: PartKind, data: st.DataObject):
    rows = data.draw(st.lists(records(part), max_size=3, unique_by=lambda row: row.name))
    written = catalogue(part, rows)
    again = parse_table(table_text(written, ["a comment"]), part, shown="mine.csv", origin="x")
    assert [row.name for row in again] == [row.name for row in written]
    for column in part.columns:
        if column.plain:
            # Ten digits are written; a temperature's are shared with its offset.
            assert again.column(column.name) == pytest.approx(written.column(column.name), rel=2e-9, abs=1e-300)
        else:
            assert list(again.column(column.name)) == list(written.column(column.name))


@pytest.mark.parametrize("part", KINDS, ids=[part.key for part in KINDS])
def test_built_in_tables_survive_the_round_trip_exactly(part: PartKind):
    again = parse_table(table_text(built_in(part)), part, shown="", origin="built-in invented")
    for name, column in built_in(part).columns.items():
        assert np.array_equal(again.column(name), column, equal_nan=column.dtype.kind == "f"), name


# What is refused.


@given(st.binary(max_size=400))
@example(b"\x00")
@example(b"\xff\xfe")
@example(b'"')
@example(b"name\n\x0c")
def test_random_bytes_are_refused_in_words(tmp_path_factory: pytest.TempPathFactory, raw: bytes):
    path = tmp_path_factory.mktemp("tables") / "mine.csv"
    path.write_bytes(raw)
    with pytest.raises(PartsError, match=r"mine\.csv"):
        read_table(path, SENSE)


@given(at=st.integers(0, 200), cut=st.integers(0, 30), put=st.text(max_size=12))
def test_a_damaged_table_is_read_or_refused_in_words(at: int, cut: int, put: str):
    text = f"# mine\n{HEAD}\n{ROW}\n{ROW.replace('4mohm', '5mohm')}\n"
    damaged = text[:at] + put + text[at + cut :]
    told = ""
    try:
        parts = parse_table(damaged, SENSE, shown="mine.csv", origin="mine.csv")
    except PartsError as error:
        parts, told = catalogue(SENSE, []), str(error)
    assert not told or told.startswith("mine.csv")
    assert all(np.all(np.isfinite(parts.column(column.name))) for column in SENSE.columns if column.plain)


def test_a_wrong_number_is_told_with_file_line_column_value_and_range():
    message = refusal(f"# mine\n{HEAD}\n{ROW.replace(',4,', ',40000,')}")
    assert message.startswith("mine.csv:3  r = '40000'\n")
    assert "out of range" in message
    assert "0.05 to 10000 mohm, for resistance at 25 °C" in message


@pytest.mark.parametrize("cell", ["4 mohm", "4,0", "nan", "inf", "1e999", "0x4", "1_0", "٤", "--4", "4" * 200])
def test_what_is_no_plain_number_in_range_is_refused(cell: str):
    assert "accepted: " in refusal(f'{HEAD}\nMINE,"{cell}",1,75,1,60,5.1,0.2')


def test_an_empty_cell_is_refused_where_there_must_be_a_number():
    assert "mine.csv:2  p_max = ''\n    the cell is empty" in refusal(f"{HEAD}\nMINE,4,1,75,,60,5.1,0.2")


@pytest.mark.parametrize("name", ["MINE\t4", "MINE\x1b[31m", "M" * 201])
def test_a_name_that_cannot_be_shown_on_one_line_is_refused(name: str):
    assert "is no plain text" in refusal(f"{HEAD}\n{name},4,1,75,1,60,5.1,0.2")


@pytest.mark.parametrize("name", ['"MINE', '"MI"NE'])
def test_a_quote_without_its_pair_is_refused(name: str):
    assert "mine.csv:2\n    cannot be split into cells" in refusal(f"{HEAD}\n{name},4,1,75,1,60,5.1,0.2")


def test_a_decimal_comma_is_recognised():
    message = refusal(f"{HEAD}\nMINE,4,7,1,75,1,60,5.1,0.2")
    assert "9 cells where the first line names 8 columns" in message
    assert "decimal comma" in message


def test_all_problems_of_a_file_are_told_at_once_but_no_flood():
    rows = "\n".join(f"MINE {n},-1,1,75,1,60,5.1,0.2" for n in range(100))
    message = refusal(f"{HEAD}\n{rows}")
    assert message.count("out of range") == 12
    assert message.endswith("... and 88 more problems of the same file")


def test_an_unknown_column_gets_the_nearest_and_missing_ones_are_listed():
    message = refusal(HEAD.replace("p_max", "p_mx").replace("rth [K/W],", "") + "\n")
    assert "'p_mx [W]'\n    a column that is not known; accepted: 'p_max [W]'" in message
    assert message.endswith("columns are missing: rth [K/W]")


def test_a_column_without_a_unit_is_refused():
    message = refusal(HEAD.replace("r [mohm]", "r"))
    assert "mine.csv:1  'r'\n    the unit is missing; accepted: a resistance with its unit: 'r [mohm]'" in message


def test_a_unit_of_another_kind_is_refused():
    assert "is the unit of a voltage" in refusal(HEAD.replace("r [mohm]", "r [mV]"))


def test_a_column_that_stands_twice_is_refused():
    assert "a second column of that name" in refusal(f"{HEAD},tol [%]\n{ROW},1")


def test_the_origin_is_not_the_table_s_to_say():
    assert "'origin'\n    a column that is not known" in refusal(f"{HEAD},origin\n{ROW},mine")


def test_a_name_that_stands_twice_is_refused():
    message = refusal(f"{HEAD}\n{ROW}\n{ROW}")
    assert message == "mine.csv:3  name = 'MINE 4mohm'\n    stands in line 2 too; give one another name"


def test_an_unknown_kind_of_capacitor_gets_the_nearest():
    text = table_text(catalogue(CAPACITOR, [built_in(CAPACITOR).record(0)])).replace(",ceramic,", ",ceramc,")
    assert "ceramic, polymer, electrolytic; did you mean 'ceramic'?" in refusal(text, CAPACITOR)


def test_a_file_that_is_not_there_is_told(tmp_path: Path):
    with pytest.raises(PartsError, match="cannot be read"):
        read_table(tmp_path / "none.csv", SENSE)
    with pytest.raises(PartsError, match="cannot be read"):
        read_table(tmp_path, SENSE)
    with pytest.raises(PartsError, match="cannot be read"):
        read_table(tmp_path / "no\0ne.csv", SENSE)


def test_a_file_that_is_too_large_is_refused(tmp_path: Path):
    path = tmp_path / "mine.csv"
    path.write_bytes(b"#" * (MAX_BYTES + 1))
    with pytest.raises(PartsError, match="larger than 2 MB"):
        read_table(path, SENSE)


def test_a_table_of_too_many_parts_is_refused():
    rows = "\n".join(f"M{n},4,1,75,1,60,5.1,0.2" for n in range(MAX_ROWS + 1))
    assert f"holds at most {MAX_ROWS}" in refusal(f"{HEAD}\n{rows}")


# The catalogue.


def test_rows_and_columns_tell_the_same():
    parts = built_in(SENSE)
    for n, row in enumerate(parts):
        assert parts.record(n) is row
        for field in fields(row):
            assert parts.column(field.name)[n] == getattr(row, field.name)


def test_a_choice_keeps_rows_and_columns_together():
    parts = built_in(SENSE)
    chosen = parts.where(parts.column("r") > 4e-3)
    assert 0 < len(chosen) < len(parts)
    assert all(row.r > 4e-3 for row in chosen)
    assert list(chosen.column("name")) == [row.name for row in chosen]
    assert len(parts.where(np.zeros(len(parts), dtype=bool))) == 0


@pytest.mark.parametrize("mask", [[True], [0, 1, 2]])
def test_a_choice_of_another_length_or_by_number_is_refused(mask: list):
    with pytest.raises(PartsError, match="one yes or no for each"):
        built_in(SENSE).where(mask)


def test_columns_cannot_be_changed():
    with pytest.raises(ValueError, match="read-only"):
        built_in(SENSE).column("r")[0] = 1.0


def test_an_unknown_column_or_part_gets_the_nearest():
    with pytest.raises(PartsError, match="did you mean 'p_max'"):
        built_in(SENSE).column("p_mx")
    with pytest.raises(PartsError, match=r"did you mean 'RES 10mohm 1% 3\.2mm'"):
        built_in(SENSE).named("RES 10mohm 1% 3.2m")


def test_two_catalogues_merge_and_keep_their_origins():
    mine = parse_table(f"{HEAD}\n{ROW}", SENSE, shown="mine.csv", origin="mine.csv")
    both = built_in(SENSE).merged(mine)
    assert len(both) == len(built_in(SENSE)) + 1
    assert both.column("origin")[-1] == "mine.csv"
    assert both.named("MINE 4mohm").r == pytest.approx(4e-3)


def test_a_name_in_both_catalogues_is_refused():
    taken = replace(built_in(SENSE).record(3), origin="mine.csv")
    with pytest.raises(PartsError, match=r"mine\.csv  name = 'RES 1mohm 1% 6\.4mm'\n.*built-in invented too"):
        built_in(SENSE).merged(catalogue(SENSE, [taken]))


# The parts of a design.


def test_a_design_without_tables_gets_the_built_in_parts():
    assert load_parts().sense_resistors is built_in(SENSE)


def test_a_design_s_table_is_added_and_found_beside_the_design(tmp_path: Path):
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / "sense.csv").write_text(f"{HEAD}\n{ROW}\n", encoding="utf-8")
    parts = load_parts(PartsSpec(sense_resistors="parts/sense.csv"), tmp_path)
    assert parts.sense_resistors.column("origin")[-1] == "sense.csv"
    assert len(parts.sense_resistors) == len(built_in(SENSE)) + 1


def test_built_in_parts_can_be_left_out_where_there_is_a_table_of_each_kind(tmp_path: Path):
    tables = {}
    for key, part in zip(
        ("switches", "inductors", "capacitors", "sense_resistors", "clamp_diodes"), KINDS, strict=True
    ):
        (tmp_path / part.table).write_text(table_text(built_in(part).where(np.arange(len(built_in(part))) < 2)))
        tables[key] = part.table
    parts = load_parts(PartsSpec(only_mine=True, **tables), tmp_path)
    assert len(parts.switches) == len(parts.clamp_diodes) == 2
    assert set(parts.inductors.column("origin")) == {"inductor.csv"}
    with pytest.raises(PartsError, match=r"parts\.capacitors names no table"):
        load_parts(PartsSpec(only_mine=True, **(tables | {"capacitors": None})), tmp_path)


def test_a_table_without_parts_is_refused(tmp_path: Path):
    (tmp_path / "sense.csv").write_text(HEAD, encoding="utf-8")
    with pytest.raises(PartsError, match="holds no parts"):
        load_parts(PartsSpec(sense_resistors="sense.csv"), tmp_path)

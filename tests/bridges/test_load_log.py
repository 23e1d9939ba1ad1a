"""A measured load log: what is well formed is kept to the last joule, what is not is refused with its place."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargewright.base.errors import LogError
from chargewright.bridges.load_log import read_load_log


@pytest.fixture
def log(tmp_path: Path):
    """Return a function that writes lines to a file and reads them as a log."""

    def read(text: str | bytes, **options):
        path = tmp_path / "load.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_load_log(path, **options)

    return read


def refused(log, text, **options) -> str:
    with pytest.raises(LogError) as told:
        log(text, **options)
    return str(told.value)


def test_time_and_power(log):
    # By hand: 2 W for 1 s, 4 W for 1 s, 6 W for one usual distance (1 s) more.
    found = log("time [s],power [W]\n0,2\n1,4\n2,6\n")
    assert list(found.power) == [2.0, 4.0, 6.0]
    assert found.energy == 12.0
    assert (found.rows, found.source) == (3, None)


@pytest.mark.parametrize(
    ("head", "row"),
    [
        ("time [min],power [mW]", "{m},3000"),
        ("Test Time / s,Power / W", "{s},3"),
        ("t_s;p_load_W", "{s};3"),
        ("Time (h)\tPower (kW)", "{h}\t0.003"),
        ("elapsed time [ms],current [mA],voltage [V]", "{ms},250,12"),
        ('"time [s]","power [W]","remark"', "{s},3,nothing"),
    ],
)
def test_units_stand_in_the_head_in_any_common_form(log, head, row):
    rows = [row.format(s=60 * k, m=k, h=repr(k / 60), ms=60000 * k) for k in range(4)]
    found = log("\n".join([head, *rows]), step=60.0)
    np.testing.assert_allclose(found.power, 3.0, rtol=1e-12)  # 250 mA at 12 V are 3 W
    assert found.energy == pytest.approx(4 * 60 * 3.0)


def test_columns_with_other_names_are_mapped(log):
    text = "Zeit,Leistung,Temp\n0,5,20\n10,5,20\n20,5,21\n"
    found = log(text, columns={"time": "Zeit", "power": "Leistung"}, units={"time": "s", "power": "W"}, step=10.0)
    assert list(found.power) == [5.0, 5.0, 5.0]


def test_dates_with_times_of_day(log):
    found = log("timestamp,power [W]\n2026-03-01T08:00:00,1\n2026-03-01T08:00:30,3\n2026-03-01T08:01:00,1\n", step=30.0)
    assert list(found.power) == [1.0, 3.0, 1.0]
    # Zones count: an hour east and an hour later is the same instant.
    text = "timestamp,power [W]\n2026-03-01T08:00:00+00:00,1\n2026-03-01T09:00:30+01:00,3\n2026-03-01T08:01:00Z,1\n"
    assert list(log(text, step=30.0).power) == [1.0, 3.0, 1.0]


def test_sources_by_name(log):
    found = log("time [s],power [W],source\n0,1,desk\n2,1,none\n4,1,car\n6,1,\n", step=1.0)
    assert found.sources == ("desk", "car")
    assert list(found.source) == [0, 0, -1, -1, 1, 1, -1, -1]


@settings(max_examples=60)
@given(
    steps=st.lists(st.floats(1e-3, 5.0), min_size=2, max_size=80),
    powers=st.lists(st.floats(0.0, 1e3), min_size=80, max_size=80),
    step=st.sampled_from([0.1, 0.37, 1.0, 7.0, 60.0]),
)
def test_resampling_keeps_the_energy(tmp_path_factory, steps, powers, step):
    # Definition: each power holds until the next row, the last one for the usual distance. rel 1e-9 is the promise.
    path = tmp_path_factory.mktemp("logs") / "load.csv"
    t = np.concatenate([[0.0], np.cumsum(steps)])
    p = np.array(powers[: len(t)])
    path.write_text(
        "time [s],power [W]\n" + "".join(f"{a!r},{b!r}\n" for a, b in zip(t.tolist(), p.tolist(), strict=True))
    )
    found = read_load_log(path, step=step, gaps="hold")
    energy = float(np.sum(p[:-1] * np.diff(t)) + p[-1] * np.median(np.diff(t)))
    assert float(np.sum(found.power)) * step == pytest.approx(energy, rel=1e-9, abs=1e-9)
    assert found.energy == pytest.approx(energy, rel=1e-9, abs=1e-9)
    assert np.all(found.peak >= found.power * (1.0 - 1e-6))
    assert float(np.max(found.peak)) == pytest.approx(float(np.max(p)), rel=1e-6)


def test_a_peak_shorter_than_the_step_is_not_lost(log):
    found = log("time [ms],power [W]\n" + "".join(f"{k * 10},{90 if k == 137 else 2}\n" for k in range(300)), step=1.0)
    assert found.peak.max() == 90.0
    assert found.power[1] == pytest.approx(2.0 + 88.0 * 0.01)


def test_many_pieces_are_one_log(log, monkeypatch):
    text = "time [s],power [W]\n" + "".join(f"{k},{k % 7}\n" for k in range(5000))
    whole = log(text, step=3.0)
    monkeypatch.setattr("chargewright.bridges.load_log._PIECE", 200)
    told = []
    pieces = log(text, step=3.0, progress=told.append)
    np.testing.assert_allclose(pieces.power, whole.power, rtol=1e-12)
    assert pieces.rows == whole.rows == 5000
    assert len(told) > 100
    assert told[-1] == 1.0


def test_an_empty_file_and_one_that_is_no_text(log):
    assert "is empty" in refused(log, "")
    assert "nothing but empty lines" in refused(log, "\n\n# remark\n")
    assert "no row below" in refused(log, "time [s],power [W]\n")
    assert "workbook" in refused(log, b"PK\x03\x04 and so on")
    assert "UTF-8" in refused(log, "time [s],power [W]\n0,1\n1,1\n".encode("utf-16"))
    assert "UTF-8" in refused(log, b"time [s],power [W]\n0,1\n1,\xff\n2,2\n")
    assert "two are needed" in refused(log, "time [s],power [W]\n0,1\n")


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(LogError, match="No such file"):
        read_load_log(tmp_path / "none.csv")


def test_a_head_without_units_or_names(log):
    assert "'time' has no unit" in refused(log, "time,power [W]\n0,1\n1,2\n")
    assert "holds numbers" in refused(log, "0,1\n1,2\n2,3\n")
    assert "the unit of a current" in refused(log, "time [s],power [A]\n0,1\n1,2\n")
    assert "did you mean 'W'" in refused(log, "time [s],power [w]\n0,1\n1,2\n")
    assert "neither a column of power" in refused(log, "time [s],current [A]\n0,1\n1,2\n")
    assert "no column of times" in refused(log, "x [s],power [W]\n0,1\n1,2\n")
    assert "could each be the power" in refused(log, "time [s],p_a_W,p_b_W\n0,1,1\n1,2,2\n")
    assert "no column is called 'Last'" in refused(log, "time [s],power [W]\n0,1\n1,2\n", columns={"power": "Last"})
    assert "no column is used as 'heat'" in refused(log, "time [s],power [W]\n0,1\n1,2\n", columns={"heat": "x"})
    assert "two columns are called" in refused(log, "time [s],power [W],power [W]\n0,1,1\n1,2,2\n")


def test_a_gap_is_refused_or_filled_as_asked(log):
    text = "time [s],power [W]\n" + "".join(f"{k},4\n" for k in [*range(20), *range(80, 100)])
    told = refused(log, text)
    assert "1 gap: 61 s before line 22" in told
    assert "let the last value hold on" in told
    held, off = log(text, gaps="hold"), log(text, gaps="off")
    assert held.energy == pytest.approx(4.0 * 100.0)
    assert off.energy == pytest.approx(4.0 * 40.0)
    assert list(off.power[18:22]) == [4.0, 4.0, 0.0, 0.0]
    assert any("61 s in all" in n for n in held.notes)


def test_rows_that_cannot_be_read_are_all_counted(log):
    text = "time [s],power [W]\n0,1\n1,\n2,nan\n3,inf\n4,x\n" + "".join(f"{k},1\n" for k in range(5, 12))
    told = refused(log, text)
    assert "4 rows that cannot be read: line 3: 'power [W]' is empty; line 4" in told
    assert "…" in told
    dropped = log(text, bad="drop")
    assert dropped.energy == pytest.approx(12.0)  # the 1 W before them holds on
    assert any("Dropped" in n and "4 rows" in n for n in dropped.notes)


def test_time_that_runs_backwards_or_stands_still(log):
    told = refused(log, "time [s],power [W]\n0,1\n1,2\n0.5,3\n2,4\n")
    assert "1 time that runs backwards: line 4, by 500 ms" in told
    told = refused(log, "time [s],power [W]\n0,1\n1,2\n1,3\n2,4\n")
    assert "stands still with another value: line 4" in told
    found = log("time [s],power [W]\n0,1\n1,2\n1,2\n2,4\n")
    assert found.energy == pytest.approx(1 + 2 + 4)
    assert any("1 repeated row: line 4" in n for n in found.notes)


def test_a_sign_that_is_swapped(log):
    text = "time [s],current [A],voltage [V]\n0,-1,8\n1,-2,8\n2,-1,8\n"
    assert "counts consumption as negative" in refused(log, text)
    found = log(text, negative="flip")
    assert list(found.power) == [8.0, 16.0, 8.0]
    assert any("sign" in n for n in found.notes)
    assert "a load cannot give power" in refused(log, "time [s],power [W]\n0,5\n1,-3\n2,5\n")


def test_noise_below_zero_becomes_zero_and_is_said(log):
    found = log("time [s],power [W]\n0,10\n1,-0.004\n2,10\n")
    assert list(found.power) == [10.0, 0.0, 10.0]
    assert any("set to zero, which adds 4 mJ" in n for n in found.notes)


def test_mixed_separators(log):
    assert "by semicolons, in the head by commas" in refused(log, "time [s],power [W]\n0,1\n1;2\n2,3\n")
    assert "3 fields where the head has 2" in refused(log, "time [s],power [W]\n0,1\n1,2,5\n2,3\n")
    assert "same number of fields" in refused(log, "time [s],power [W]\n0;1\n1;2\n")


def test_a_decimal_comma_is_read_and_said(log):
    found = log("time [s];power [W]\n0;1,5\n1;2,5\n2;3,5\n")
    assert list(found.power) == [1.5, 2.5, 3.5]
    assert any("decimal comma" in n for n in found.notes)
    assert "not a plain number" in refused(log, "time [s];power [W]\n0;1.234,5\n1;2,5\n2;3,5\n")


def test_remarks_before_the_head_are_passed_over_and_said(log):
    found = log("# logger 5\n\ntime [s],power [W]\n0,1\n1,2\n")
    assert any("2 lines before the head" in n for n in found.notes)


def test_a_log_too_long_for_its_step_is_refused_before_it_takes_the_memory(log):
    told = refused(log, "time [h],power [W]\n0,1\n20000,1\n40000,1\n", step=1.0)
    assert "take a longer step, or check the unit" in told
    assert len(log("time [h],power [W]\n0,1\n20000,1\n40000,1\n", step=3600.0).power) == 60000


@pytest.mark.parametrize("step", [0.0, 1e6])
def test_a_step_out_of_range(log, step):
    assert "1 ms to 1 day" in refused(log, "time [s],power [W]\n0,1\n1,2\n", step=step)


def test_memory_does_not_grow_with_the_file(tmp_path, monkeypatch):
    # 200 000 rows of 10 ms read in pieces of 64 kB: what is kept are 2000 steps, so little more than the pieces.
    import tracemalloc

    path = tmp_path / "load.csv"
    with path.open("w") as file:
        file.write("time [ms],power [W]\n")
        file.writelines(f"{k * 10},{k % 13}\n" for k in range(200_000))
    monkeypatch.setattr("chargewright.bridges.load_log._PIECE", 1 << 16)
    tracemalloc.start()
    found = read_load_log(path, step=1.0)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(found.power) == 2000
    assert peak < path.stat().st_size

"""Writing the folder: everything there, all or nothing, the same bytes each time, nothing heavy without need."""

import subprocess
import sys
from pathlib import Path

import pytest

from chargewright.base.errors import ChargewrightError
from chargewright.dossier.record import Dossier
from chargewright.report import write
from chargewright.report.blocks import Picture
from chargewright.report.write import ReportFiles, write_report


@pytest.fixture(scope="module")
def files(dossier: Dossier, tmp_path_factory: pytest.TempPathFactory) -> ReportFiles:
    return write_report(dossier, tmp_path_factory.mktemp("out") / "report")


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file of a folder by its name."""
    return {f.relative_to(folder).as_posix(): f.read_bytes() for f in sorted(folder.rglob("*")) if f.is_file()}


def test_everything_is_there(files: ReportFiles, pictures: dict[str, Picture]):
    assert files.pdf is not None
    for file in (files.html, files.pdf, files.record, *files.figures, *files.tables):
        assert file.stat().st_size > 50, file.name
    names = {f.name for f in files.figures}
    assert names == {f"{key}.{kind}" for key in pictures for kind in ("svg", "png")}
    assert {"paths.csv", "losses.csv", "parts.csv", "set_points.csv", "findings.csv", "day_curve.csv"} <= {
        f.name for f in files.tables
    }


def test_no_file_tells_where_the_design_lies(files: ReportFiles, dossier: Dossier):
    for name, data in contents(files.folder).items():
        assert dossier.study.case.folder.name.encode() not in data, name


def test_the_same_study_gives_the_same_bytes(files: ReportFiles, dossier: Dossier, tmp_path: Path):
    again = write_report(dossier, tmp_path / "report")
    assert contents(again.folder) == contents(files.folder)


def test_pdf_and_png_can_be_left_out(dossier: Dossier, tmp_path: Path):
    files = write_report(dossier, tmp_path / "report", pdf=False, png=False)
    assert files.pdf is None
    assert not list(files.folder.rglob("*.pdf"))
    assert not list(files.folder.rglob("*.png"))
    assert files.figures


def test_a_later_report_replaces_the_earlier_one(dossier: Dossier, hopeless: Dossier, tmp_path: Path):
    write_report(dossier, tmp_path / "report", pdf=False, png=False)
    files = write_report(hopeless, tmp_path / "report", pdf=False, png=False)
    assert not (files.folder / "tables" / "set_points.csv").exists()


def test_a_report_that_breaks_off_leaves_what_was_there(
    dossier: Dossier, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    files = write_report(dossier, tmp_path / "report", pdf=False, png=False)
    before = contents(files.folder)

    def broken(*_: object) -> str:
        raise RuntimeError("the disk is on fire")

    monkeypatch.setattr(write, "csv_text", broken)
    with pytest.raises(RuntimeError, match="on fire"):
        write_report(dossier, tmp_path / "report", pdf=False, png=False, date="today")
    assert contents(files.folder) == before


def test_a_folder_of_somebody_else_is_left_alone(dossier: Dossier, tmp_path: Path):
    (tmp_path / "thesis.txt").write_text("years of work", encoding="utf-8")
    with pytest.raises(ChargewrightError, match="was not made by Chargewright"):
        write_report(dossier, tmp_path, pdf=False, png=False)
    assert (tmp_path / "thesis.txt").read_text(encoding="utf-8") == "years of work"


def test_progress_only_goes_forward(dossier: Dossier, tmp_path: Path):
    told: list[float] = []
    write_report(dossier, tmp_path / "report", progress=lambda _step, share: told.append(share))
    assert told == sorted(told)
    assert told[0] == 0.0
    assert told[-1] == 1.0


@pytest.mark.parametrize("module", ["matplotlib", "jinja2", "typst"])
def test_importing_the_room_loads_nothing_heavy(module: str):
    code = f"import sys, chargewright.report.write, chargewright.report.pdf; sys.exit({module!r} in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], timeout=60).returncode == 0

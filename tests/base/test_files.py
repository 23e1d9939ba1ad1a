"""Saving a file and replacing a folder: a run that breaks off, at any stage, leaves what was there before."""

import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from chargewright.base import files
from chargewright.base.errors import ChargewrightError
from chargewright.base.files import (
    MARKER,
    require_replaceable,
    require_writable,
    save_text_atomically,
    write_folder_atomically,
)


class PulledPlug(BaseException):
    """Stands for an interruption: like KeyboardInterrupt it is no Exception."""


def listing(folder: Path) -> dict[str, str]:
    return {p.relative_to(folder).as_posix(): p.read_text("utf-8") for p in folder.rglob("*") if p.is_file()}


def fill_with(**contents: str):
    def fill(folder: Path) -> None:
        (folder / "figures").mkdir()
        for name, content in contents.items():
            (folder / "figures" / name).write_text(content, "utf-8")

    return fill


def pull_the_plug(*_: object, **__: object) -> None:
    raise PulledPlug


# One text file.


def test_a_saved_text_is_read_back_byte_for_byte(tmp_path: Path):
    path = tmp_path / "a.design"
    save_text_atomically(path, "name: Ω\r\nnotes: x\n")
    assert path.read_bytes() == "name: Ω\r\nnotes: x\n".encode()
    assert os.listdir(tmp_path) == ["a.design"]


@pytest.mark.parametrize("stage", ["fsync", "replace", "open"])
@pytest.mark.parametrize("error", [PulledPlug, OSError(28, "No space left on device")])
def test_a_save_that_breaks_off_leaves_the_earlier_text_and_no_leftovers(tmp_path, monkeypatch, stage, error):
    path = tmp_path / "a.design"
    path.write_text("earlier")

    def fail(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(files.os, stage, fail)
    with pytest.raises((PulledPlug, ChargewrightError)):
        save_text_atomically(path, "later")
    monkeypatch.undo()
    assert path.read_text() == "earlier"
    assert os.listdir(tmp_path) == ["a.design"]


def test_a_save_that_fails_says_why_and_that_nothing_changed(tmp_path: Path):
    with pytest.raises(ChargewrightError, match=r"cannot be written: No such file or directory\. It is as it"):
        save_text_atomically(tmp_path / "missing" / "a.design", "x")


def test_a_text_that_is_no_unicode_is_refused_before_anything_is_written(tmp_path: Path):
    with pytest.raises(ChargewrightError, match="UTF-8"):
        save_text_atomically(tmp_path / "a.design", "\ud800")
    assert not list(tmp_path.iterdir())


def test_a_save_keeps_permissions_and_follows_a_link(tmp_path: Path):
    real = tmp_path / "real.design"
    real.write_text("x")
    real.chmod(0o640)
    link = tmp_path / "link.design"
    link.symlink_to(real)
    save_text_atomically(link, "y")
    assert link.is_symlink()
    assert real.read_text() == "y"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


def killed_at(function: str, then: str) -> None:
    """Run `then` in a process that is killed, without any clean-up, right after the first call of an os function."""
    script = (
        "import os; from pathlib import Path; from chargewright.base import files\n"
        f"real = os.{function}\n"
        "def once(*args):\n"
        "    real(*args); os._exit(9)\n"
        f"os.{function} = once\n" + then
    )
    assert subprocess.run([sys.executable, "-c", script]).returncode == 9


def test_the_draft_of_a_killed_save_goes_with_the_next_save(tmp_path: Path):
    path = tmp_path / "a.design"
    path.write_text("earlier")
    killed_at("fsync", f"files.save_text_atomically(Path({str(path)!r}), 'later')")
    assert path.read_text() == "earlier"
    assert len(os.listdir(tmp_path)) == 2
    save_text_atomically(path, "later")
    assert os.listdir(tmp_path) == ["a.design"]
    assert path.read_text() == "later"


# A folder.


def test_a_folder_is_made_with_its_marker(tmp_path: Path):
    target = tmp_path / "deep" / "study"
    write_folder_atomically(target, fill_with(a="1"))
    assert listing(target)["figures/a"] == "1"
    assert "keep nothing of your own in it" in (target / MARKER).read_text()
    assert os.listdir(target.parent) == ["study"]


def test_a_second_run_replaces_the_whole_folder(tmp_path: Path):
    target = tmp_path / "study"
    write_folder_atomically(target, fill_with(a="1", b="1"))
    write_folder_atomically(target, fill_with(a="2"))
    assert set(listing(target)) == {"figures/a", MARKER}
    assert listing(target)["figures/a"] == "2"
    assert os.listdir(tmp_path) == ["study"]


def fail_at(stage: str, monkeypatch: pytest.MonkeyPatch):
    """Return a `fill`, and break the given stage of the run."""
    if stage == "first file":
        return pull_the_plug
    if stage == "half filled":

        def fill(folder: Path) -> None:
            fill_with(a="2")(folder)
            raise PulledPlug

        return fill
    if stage == "marker":
        write_text = Path.write_text

        def write(path: Path, *args: str) -> int:
            return pull_the_plug() if path.name == MARKER else write_text(path, *args)

        monkeypatch.setattr(Path, "write_text", write)
    calls = {"first rename": 1, "second rename": 2}
    if stage in calls:
        rename, left = os.rename, [calls[stage]]

        def counted(source: Path, to: Path) -> None:
            left[0] -= 1
            if left[0] == 0:
                raise PulledPlug
            rename(source, to)

        monkeypatch.setattr(files.os, "rename", counted)
    return fill_with(a="2")


@pytest.mark.parametrize("stage", ["first file", "half filled", "marker", "first rename", "second rename"])
def test_a_run_that_breaks_off_leaves_the_earlier_folder_whole(tmp_path, monkeypatch, stage):
    target = tmp_path / "study"
    write_folder_atomically(target, fill_with(a="1", b="1"))
    before = listing(target)
    fill = fail_at(stage, monkeypatch)
    with pytest.raises(PulledPlug):
        write_folder_atomically(target, fill)
    monkeypatch.undo()
    assert listing(target) == before
    assert os.listdir(tmp_path) == ["study"]
    write_folder_atomically(target, fill_with(a="3"))  # and the next run works
    assert listing(target)["figures/a"] == "3"


def test_a_run_that_breaks_off_while_it_removes_the_earlier_folder_leaves_the_new_one(tmp_path, monkeypatch):
    target = tmp_path / "study"
    write_folder_atomically(target, fill_with(a="1"))
    rmtree, left = shutil.rmtree, [1]

    def once(*args: object, **kwargs: object) -> None:
        if left[0]:
            left[0] = 0
            raise PulledPlug
        rmtree(*args, **kwargs)

    monkeypatch.setattr(files.shutil, "rmtree", once)
    with pytest.raises(PulledPlug):
        write_folder_atomically(target, fill_with(a="2"))
    assert listing(target)["figures/a"] == "2"


def test_a_killed_run_between_the_renames_is_mended_by_the_next_one(tmp_path: Path):
    target = tmp_path / "study"
    write_folder_atomically(target, fill_with(a="1"))
    killed_at("rename", f"files.write_folder_atomically(Path({str(target)!r}), lambda f: (f / 'b').write_text('2'))")
    assert not target.exists()
    assert len(os.listdir(tmp_path)) == 2  # the earlier folder and the draft, both under hidden names
    with pytest.raises(PulledPlug):
        write_folder_atomically(target, pull_the_plug)
    assert listing(target)["figures/a"] == "1"
    assert os.listdir(tmp_path) == ["study"]


def test_leftovers_of_a_living_run_are_left_alone(tmp_path: Path):
    target = tmp_path / "study"

    def fill(draft: Path) -> None:
        write_folder_atomically(target, fill_with(a="of another run"))
        assert draft.is_dir()
        fill_with(a="1")(draft)

    write_folder_atomically(target, fill)
    assert listing(target)["figures/a"] == "1"


def test_an_empty_folder_is_filled(tmp_path: Path):
    target = tmp_path / "study"
    target.mkdir()
    write_folder_atomically(target, fill_with(a="1"))
    assert listing(target)["figures/a"] == "1"


def test_a_folder_that_no_run_made_is_not_replaced(tmp_path: Path):
    target = tmp_path / "photos"
    target.mkdir()
    (target / "cat.txt").write_text("cat")
    with pytest.raises(ChargewrightError, match="was not made by Chargewright and is not empty"):
        write_folder_atomically(target, fill_with(a="1"))
    assert listing(target) == {"cat.txt": "cat"}


def test_a_file_that_the_user_put_into_a_made_folder_is_not_lost(tmp_path: Path):
    target = tmp_path / "study"
    write_folder_atomically(target, fill_with(a="1"))
    (target / "my notes.txt").write_text("dear")
    with pytest.raises(ChargewrightError, match=r"would be lost: my notes\.txt\. Move them"):
        write_folder_atomically(target, fill_with(a="2"))
    assert listing(target)["my notes.txt"] == "dear"


def test_what_file_managers_leave_does_not_stand_in_the_way(tmp_path: Path):
    target = tmp_path / "study"
    write_folder_atomically(target, fill_with(a="1"))
    (target / ".DS_Store").write_text("")
    write_folder_atomically(target, fill_with(a="2"))
    assert listing(target)["figures/a"] == "2"


def test_a_file_in_the_place_of_the_folder_is_not_replaced(tmp_path: Path):
    target = tmp_path / "study"
    target.write_text("x")
    with pytest.raises(ChargewrightError, match="is a file"):
        write_folder_atomically(target, fill_with(a="1"))


def test_an_error_of_the_filler_goes_through_as_it_is(tmp_path: Path):
    def fill(folder: Path) -> None:
        (folder / "missing" / "a").write_text("x")

    with pytest.raises(FileNotFoundError):
        write_folder_atomically(tmp_path / "study", fill)
    assert not list(tmp_path.iterdir())


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(ChargewrightError, match="cannot be written"):
        write_folder_atomically(tmp_path / "file" / "study", fill_with(a="1"))


# What cannot be written is refused before the work.


def test_a_folder_that_can_be_written_passes_and_nothing_is_left(tmp_path: Path):
    require_replaceable(tmp_path / "a" / "b")
    require_writable(tmp_path / "a")
    assert os.listdir(tmp_path) == []


def test_a_folder_of_others_and_a_file_are_refused_beforehand(tmp_path: Path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("keep me")
    (tmp_path / "file").write_text("")
    with pytest.raises(ChargewrightError, match="was not made by Chargewright"):
        require_replaceable(tmp_path / "mine")
    for check in (require_replaceable, require_writable):
        with pytest.raises(ChargewrightError, match="is a file"):
            check(tmp_path / "file")
        with pytest.raises(ChargewrightError, match=r"is a file|cannot be written"):
            check(tmp_path / "file" / "below")


def test_a_place_that_the_system_refuses_is_told_beforehand(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(ChargewrightError, match="cannot be written: Permission denied"):
        require_replaceable(tmp_path / "report")

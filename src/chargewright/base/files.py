"""Writing files so that a run which is broken off leaves what was there before, whole.

A file is written beside its target and then takes its place. A folder is filled beside its target and then
swapped in; folders made so carry the marker file, and only such folders, or empty ones, are ever replaced.
"""

import errno
import os
import platform
import re
import secrets
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from chargewright.base.errors import ChargewrightError

MARKER = ".chargewright"
_MARKER_HEAD = "Made by Chargewright. The next run replaces the whole folder: keep nothing of your own in it.\n"
_LEFT_BY_FILE_MANAGERS = {".DS_Store", "Thumbs.db", "desktop.ini"}


def save_text_atomically(path: Path, text: str) -> None:
    """Write `text` as UTF-8 to `path`, which afterwards holds either all of it or, on any failure, what it held before.

    A link is followed, the file's permissions are kept. Raises ChargewrightError if the file cannot be written.
    """
    with _told(path):
        data = text.encode("utf-8")
    save_bytes_atomically(path, data)


def save_bytes_atomically(path: Path, data: bytes) -> None:
    """Write `data` to `path`, like `save_text_atomically`."""
    write_file_atomically(path, lambda file: file.write(data))


def write_file_atomically(path: Path, fill: Callable[[BinaryIO], object]) -> None:
    """Let `fill` write a new file, then put it in the place of `path`, like `save_text_atomically`."""
    with _told(path):
        target = path.resolve()
        _clean_up(target, ("part",))
        draft = _sibling(target, "part")
        try:
            descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
            with open(descriptor, "wb") as file:
                fill(file)
                file.flush()
                os.fsync(file.fileno())
            if target.is_file():
                shutil.copymode(target, draft)
            os.replace(draft, target)
        finally:
            draft.unlink(missing_ok=True)


def write_folder_atomically(target: Path, fill: Callable[[Path], None]) -> None:
    """Let `fill` write into a new folder, then swap it in as `target`; if anything fails, `target` is as it was before.

    Whatever `fill` raises goes through. Raises ChargewrightError if `target` is a file, or a folder with things that
    no earlier run made, or cannot be written. Results can be made again, so nothing is forced to the disk.
    """
    target = target.resolve()
    with _told(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        _clean_up(target, ("new", "old"))
        _require_ours(target)
        draft = _sibling(target, "new")
        draft.mkdir()
    try:
        fill(draft)
        with _told(target):
            _mark(draft)
            _swap(draft, target)
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def require_replaceable(target: Path) -> None:
    """Raise ChargewrightError, before long work begins, where `write_folder_atomically` would refuse `target`."""
    target = target.resolve()
    with _told(target):
        _require_ours(target)
        _try(target.parent)


def require_writable(folder: Path) -> None:
    """Raise ChargewrightError where no file could be put into `folder`, which need not exist; nothing is left."""
    with _told(folder):
        _try(folder.resolve())


def _try(folder: Path) -> None:
    """Make and remove a folder in the nearest folder that is there; raises what the system says against it."""
    while not folder.exists():
        folder = folder.parent
    if not folder.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, f"{folder} is a file")
    probe = _sibling(folder / "probe", "new")
    probe.mkdir()
    probe.rmdir()


def _swap(draft: Path, target: Path) -> None:
    earlier = _sibling(target, "old")
    try:
        if target.exists():
            os.rename(target, earlier)
        os.rename(draft, target)
    except BaseException:
        if earlier.exists() and not target.exists():
            os.rename(earlier, target)
        raise
    shutil.rmtree(earlier, ignore_errors=True)  # what remains of it goes with a later run


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what the system refuses into words for the user."""
    try:
        yield
    except UnicodeEncodeError:
        raise ChargewrightError(f"{path} cannot be saved: the text has signs that UTF-8 does not know.") from None
    except OSError as error:
        reason = error.strerror or str(error)
        raise ChargewrightError(f"{path} cannot be written: {reason}. It is as it was before.") from error


def _sibling(target: Path, stage: str) -> Path:
    return target.with_name(f".{target.name}.{stage}.{_host()}.{os.getpid()}.{secrets.token_hex(4)}")


def _host() -> str:
    return re.sub("[^A-Za-z0-9-]", "-", platform.node())[:32] or "here"


def _clean_up(target: Path, stages: tuple[str, ...]) -> None:
    """Remove what runs that are dead have left beside `target`; if the last died in mid-swap, put its folder back."""
    leftovers = list(_left_by_dead_runs(target, stages))
    for path, stage in leftovers:
        if stage == "old" and not target.exists():
            os.rename(path, target)
        elif path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)


def _left_by_dead_runs(target: Path, stages: tuple[str, ...]) -> Iterator[tuple[Path, str]]:
    start = rf"\.{re.escape(target.name)}\.({'|'.join(stages)})\.{re.escape(_host())}"
    pattern = re.compile(rf"{start}\.([0-9]+)\.[0-9a-f]{{8}}")
    for path in sorted(target.parent.iterdir()):
        match = pattern.fullmatch(path.name)
        if match and not _alive(int(match[2])):
            yield path, match[1]


def _alive(process: int) -> bool:
    if os.name != "posix":  # no harmless way to ask
        return True
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:  # there, but not ours
        return True
    return True


def _mark(folder: Path) -> None:
    (folder / MARKER).write_text(_MARKER_HEAD + "".join(f"{name}\n" for name in sorted(_names(folder))), "utf-8")


def _names(folder: Path) -> set[str]:
    return {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if not path.is_dir() and path.name not in _LEFT_BY_FILE_MANAGERS and path != folder / MARKER
    }


def _require_ours(target: Path) -> None:
    if not target.exists():
        return
    if not target.is_dir():
        raise ChargewrightError(f"{target} is a file; results go into a folder. Name another one.")
    marker = target / MARKER
    if not marker.is_file():
        if any(target.iterdir()):
            raise ChargewrightError(
                f"{target} was not made by Chargewright and is not empty, so it is not replaced. Name another folder."
            )
        return
    made = set(marker.read_text("utf-8", errors="replace").splitlines()[1:])
    others = sorted(_names(target) - made)
    if others:
        more = f" and {len(others) - 3} more" if len(others) > 3 else ""
        raise ChargewrightError(
            f"{target} holds files that no run made and that would be lost: {', '.join(others[:3])}{more}. "
            "Move them elsewhere, or name another folder."
        )

"""A measured load log (CSV) in: time and power, or current and voltage, with units in the heads.

Nothing is guessed in silence: what is mended is said in the notes of the log, what cannot be is refused with the lines
where it stands. The file is read in pieces and resampled on the way, so that its size does not matter.
"""

from collections.abc import Callable, Iterator, Mapping
from io import TextIOWrapper
from pathlib import Path
from typing import Literal

from chargewright.base.errors import LogError
from chargewright.base.units import show
from chargewright.bridges._log_head import Head, read_head
from chargewright.bridges._log_reading import Reading
from chargewright.bridges._log_rows import Rows, rows_of
from chargewright.studies.usage.series import LoadLog

Gaps = Literal["refuse", "hold", "off"]
Bad = Literal["refuse", "drop"]
_PIECE = 1 << 23
"""Signs read at once."""
_LONGEST_HEAD = 10_000


def read_load_log(
    path: Path,
    *,
    step: float = 1.0,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    gaps: Gaps = "refuse",
    bad: Bad = "refuse",
    negative: Literal["refuse", "flip"] = "refuse",
    progress: Callable[[float], None] | None = None,
) -> LoadLog:
    """Return a load log, averaged over steps of `step` seconds; its energy is kept to 1e-9.

    columns  : role (time, power, current, voltage, source) to the head of its column, where names do not tell
    units    : role to unit, for heads without one
    gaps     : what to do where rows are missing: refuse, let the last value hold on, or take the product as off
    bad      : what to do with rows that cannot be read: refuse, or drop each so that the value before holds on
    negative : "flip" for a log that counts consumption as negative
    progress : told the share of the file that is read
    Raises LogError.
    """
    if not 1e-3 <= step <= 86400.0:
        raise LogError(f"a load log is averaged over 1 ms to 1 day (got {show(step, 's')})")
    sign = -1.0 if negative == "flip" else 1.0
    reading = Reading(where=path.name, step=step, gaps=gaps, bad=bad, sign=sign)
    for rows, done in _pieces(path, columns or {}, units or {}, reading.notes):
        reading.take(rows)
        if progress is not None:
            progress(done)
    return reading.finished()


def _pieces(
    path: Path, columns: Mapping[str, str], units: Mapping[str, str], notes: list[str]
) -> Iterator[tuple[Rows, float]]:
    """Yield the rows of the file piece by piece, and the share of it that is read."""
    where = path.name
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            _require_text(file.read(4), size, where)
            text = TextIOWrapper(file, encoding="utf-8-sig", newline="")
            text.seek(0)
            lines = text.readlines(_PIECE)
            first = _head_line(lines, where, notes)
            rows = lines[first + 1 :]
            head = _layout(lines[first], rows, where, columns, units)
            number = first + 2
            while rows:
                yield rows_of(rows, number, head), min(file.tell() / size, 1.0)
                number += len(rows)
                rows = text.readlines(_PIECE)
    except UnicodeDecodeError as error:
        raise LogError(f"{where}: this is not UTF-8 text ({error.reason}); save it as CSV (UTF-8)") from None
    except OSError as error:
        raise LogError(f"{path}: {error.strerror or error}") from None


def _require_text(start: bytes, size: int, where: str) -> None:
    if size == 0:
        raise LogError(f"{where}: the file is empty")
    if start[:2] == b"PK":
        raise LogError(f"{where}: this is a workbook or an archive, not CSV; export the sheet as CSV (UTF-8)")
    if start[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\0" in start:
        raise LogError(f"{where}: this is not UTF-8 text; save it as CSV (UTF-8)")


def _head_line(lines: list[str], where: str, notes: list[str]) -> int:
    """Return which of the first lines is the head: the first one that is neither empty nor a remark."""
    first = next((k for k, line in enumerate(lines) if line.strip() and not line.startswith("#")), None)
    if first is None:
        raise LogError(f"{where}: the file holds nothing but empty lines and remarks")
    if first > 0:
        notes.append(
            f"{first} line{'s' if first > 1 else ''} before the head {'are' if first > 1 else 'is'} passed over."
        )
    if len(lines[first]) > _LONGEST_HEAD:
        raise LogError(f"{where}: the first line has {len(lines[first])} signs; this is no log of rows")
    return first


def _layout(head: str, rows: list[str], where: str, columns: Mapping[str, str], units: Mapping[str, str]) -> Head:
    shown = next((line for line in rows if line.strip()), None)
    if shown is None:
        raise LogError(f"{where}: there is a head, but no row below it")
    return read_head(head.rstrip("\r\n"), shown.rstrip("\r\n"), where, columns, units)

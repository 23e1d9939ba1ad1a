"""Tables as files: CSV or Parquet, as the file's ending says, with notes on what stands in them.

Every column carries its unit at the end of its name. A CSV begins with the notes, one `# key: value` a line, then the
head; numbers are written so that they read back the same to the last bit. Parquet keeps the notes as its metadata.
"""

import io
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import ChargewrightError
from chargewright.base.files import write_file_atomically
from chargewright.base.version import own_version

Columns = Mapping[str, npt.ArrayLike | Sequence[str]]
"""Name with unit to values: numbers, or text."""

SIGNS = "current and power into the pack, from a source and into a load are positive; a loss is positive"
UNITS = "SI; the end of a column's name is its unit (1: a ratio or a count); a column without one holds text"

_FORMULA = ("=", "+", "-", "@")
_ROWS_AT_ONCE = 4096


def table_notes(title: str, **more: str) -> dict[str, str]:
    """Return the notes that every table carries: what it is, its units and signs, and what made it."""
    return {"title": title, "units": UNITS, "signs": SIGNS, "made by": f"Chargewright {own_version()}", **more}


def save_table(path: Path, columns: Columns, *, notes: Mapping[str, str]) -> None:
    """Write a table as `.csv` or `.parquet`, as `path` ends; an earlier file is replaced whole or not at all.

    columns : name, with its unit at its end, to values; as many values in each
    notes   : key to text, one line each: see `table_notes`
    Raises ChargewrightError for another ending, columns that do not fit together, and files that cannot be written.
    """
    writers = {".csv": _write_csv, ".parquet": _write_parquet}
    if path.suffix.lower() not in writers:
        raise ChargewrightError(f"{path}: a table is written as .csv or .parquet, whichever the name ends with")
    arrays = {name: _array(name, values) for name, values in columns.items()}
    lengths = {name: len(values) for name, values in arrays.items()}
    if not arrays or len(set(lengths.values())) > 1:
        told = ", ".join(f"{name} {count}" for name, count in lengths.items()) or "there is none"
        raise ChargewrightError(f"{path}: the columns of a table need as many values each; {told}")
    for text in (*arrays, *notes, *notes.values()):
        _require_one_line(text)
    write_file_atomically(path, lambda file: writers[path.suffix.lower()](file, arrays, notes))


def read_table(path: Path) -> tuple[dict[str, npt.NDArray[Any]], dict[str, str]]:
    """Return the columns and the notes of a file that `save_table` wrote.

    A CSV does not say which columns hold text: those in which every cell is a number are numbers.
    """
    if path.suffix.lower() == ".parquet":
        parquet = _parquet()
        table = parquet.read_table(path)
        kept = {key.decode(): text.decode() for key, text in (table.schema.metadata or {}).items()}
        kept.pop("ARROW:schema", None)
        return {name: table[name].to_numpy() for name in table.column_names}, kept
    return _read_csv(path.read_text(encoding="utf-8"))


def _array(name: str, values: npt.ArrayLike | Sequence[str]) -> npt.NDArray[Any]:
    array = np.asarray(values)
    if array.size == 0 and array.dtype.kind not in "fiuU":
        array = array.astype(float)
    if array.ndim != 1 or array.dtype.kind not in "fiubU":
        raise ChargewrightError(f"column {name!r} of a table has to be one row of numbers or of text")
    if array.dtype.kind == "U":
        for text in set(array.tolist()):
            _require_one_line(text)
    return array.astype(np.int64 if array.dtype.kind in "iub" else np.float64) if array.dtype.kind != "U" else array


def _require_one_line(text: str) -> None:
    if "\n" in text or "\r" in text:
        raise ChargewrightError(f"a name with a line break cannot stand in a table: {text!r}")


def _write_csv(file: BinaryIO, arrays: Mapping[str, npt.NDArray[Any]], notes: Mapping[str, str]) -> None:
    head = [f"# {key}: {text}" for key, text in notes.items()] + [",".join(_quoted(name) for name in arrays)]
    file.write(("\n".join(head) + "\n").encode())
    for rows in _in_pieces(arrays):
        file.write(("\n".join(map(",".join, rows)) + "\n").encode())


def _in_pieces(arrays: Mapping[str, npt.NDArray[Any]]) -> Iterator[list[tuple[str, ...]]]:
    count = len(next(iter(arrays.values())))
    for start in range(0, count, _ROWS_AT_ONCE):
        pieces = (values[start : start + _ROWS_AT_ONCE].tolist() for values in arrays.values())
        yield list(zip(*([_cell(value) for value in piece] for piece in pieces), strict=True))


def _cell(value: str | float) -> str:
    """Return the shortest text that reads back as the same number, or a text that no spreadsheet runs as a formula."""
    if not isinstance(value, str):
        return repr(value)
    return _quoted(f"'{value}" if value.startswith(_FORMULA) else value)


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if any(c in text for c in ',;"') or text.startswith("#") else text


def _read_csv(text: str) -> tuple[dict[str, npt.NDArray[Any]], dict[str, str]]:
    import csv

    lines = io.StringIO(text)
    notes: dict[str, str] = {}
    head = lines.readline()
    while head.startswith("# "):
        key, _, note = head[2:].rstrip("\n").partition(": ")
        notes[key] = note
        head = lines.readline()
    names = next(csv.reader([head]))
    rows = list(csv.reader(lines))
    return {name: _values([row[k] for row in rows]) for k, name in enumerate(names)}, notes


def _values(cells: list[str]) -> npt.NDArray[Any]:
    try:
        return np.array([float(cell) for cell in cells])
    except ValueError:
        return np.array([cell[1:] if cell[:1] == "'" and cell[1:].startswith(_FORMULA) else cell for cell in cells])


def _write_parquet(file: BinaryIO, arrays: Mapping[str, npt.NDArray[Any]], notes: Mapping[str, str]) -> None:
    parquet = _parquet()
    import pyarrow

    table = pyarrow.table(dict(arrays)).replace_schema_metadata(dict(notes))
    parquet.write_table(table, file, compression="zstd")


def _parquet() -> Any:
    try:
        import pyarrow.parquet  # heavy: a quarter of a second
    except ImportError:
        raise ChargewrightError(
            "Parquet needs the library pyarrow, which has no ready-made files for every machine. "
            "Take .csv, or: pip install pyarrow"
        ) from None
    return pyarrow.parquet

"""Files that a design file names: tables of parts, a cell table, a controller description."""

from pathlib import Path

from chargewright.base.errors import PartsError
from chargewright.base.near import nearest


def is_file_name(text: str) -> bool:
    """Return whether a value names a file, and not something that is shipped: it has a folder or an ending."""
    return "/" in text or "\\" in text or bool(Path(text).suffix)


def resolve_path(design_path: Path, text: str) -> Path:
    """Return the file that `text` names, taken from the folder of the design file unless it is absolute.

    Raises PartsError if there is no such ordinary file.
    """
    folder = design_path.absolute().parent
    try:
        path = (folder / text).resolve()
        if path.is_file():
            return path
        is_folder = path.is_dir()
        near = nearest(path.name, [p.name for p in path.parent.iterdir()]) if path.parent.is_dir() else None
    except (OSError, ValueError, RuntimeError):  # a name that no file can have, or a circle of links
        raise PartsError(f"{text[:80]!r} cannot be the name of a file.") from None
    if is_folder:
        raise PartsError(f"{text!r} is a folder; a file is wanted.")
    hint = f" Did you mean {near!r}?" if near else ""
    raise PartsError(f"There is no file {text!r} beside the design file, in {folder}.{hint}")

"""A YAML file read safely: plain data only, every value with its line, every problem collected before one is raised."""

from collections.abc import Callable, Iterator
from typing import Any, TypeVar

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from chargewright.base.errors import PartsError, Problem, QuantityError, SpecError
from chargewright.base.near import nearest
from chargewright.base.units import Toleranced, parse, parse_toleranced

T = TypeVar("T")

_MAX_BYTES = 64 * 1024
_MAX_DEPTH = 8


class Document:
    """One file and the problems found in it so far."""

    def __init__(self, path: str, text: str) -> None:
        self.path = path
        self.problems: list[Problem] = []
        self.root = Node(self, _load(path, text), "", 1)

    def check(self) -> None:
        """Raise PartsError with all problems, in file order, if there are any."""
        if self.problems:
            raise PartsError(str(SpecError(self.path, self.problems)))


class Node:
    """One mapping of the file; each reader takes a key, and `finish` complains about keys that nobody took."""

    def __init__(self, document: Document, data: CommentedMap, where: str, line: int) -> None:
        self._document = document
        self._data = data
        self._where = where
        self._first_line = line
        self._taken: set[str] = set()

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def __iter__(self) -> Iterator[Any]:
        """Yield the keys as they stand in the file."""
        return iter(list(self._data))

    def problem(self, key: Any, message: str, cure: str = "") -> None:
        """Record that something is wrong at `key`."""
        found = self._data.get(key)
        self._document.problems.append(
            Problem(
                line=self._line(key),
                key=f"{self._where}.{key}" if self._where else str(key),
                found="" if found is None or isinstance(found, dict | list) else repr(_plain(found)),
                message=message,
                cure=cure,
            )
        )

    def node(self, key: Any) -> "Node | None":
        """Return the mapping at `key`, or None if it is not there."""
        value = self._take(key)
        if value is None:
            return None
        if not isinstance(value, CommentedMap):
            self.problem(key, "a group of keys with values is wanted here")
            return None
        return Node(self._document, value, f"{self._where}.{key}" if self._where else str(key), self._line(key))

    def text(self, key: str, default: str | None = None) -> str:
        """Return a text; without a default it has to be there."""
        value = self._wanted(key, default is None, "a text")
        if value is None:
            return default or ""
        if not isinstance(value, str) or not value.strip() or len(value) > 2000:
            self.problem(key, "a text of 1 to 2000 characters is wanted")
            return default or ""
        return str(value).strip()

    def choice(self, key: str, options: tuple[str, ...], default: str) -> str:
        """Return one of a few words."""
        value = self.text(key, default)
        if value not in options:
            close = nearest(value, options)
            self.problem(
                key, f"one of {', '.join(map(repr, options))} is wanted", f"Did you mean {close!r}?" if close else ""
            )
            return default
        return value

    def yes_no(self, key: str, default: bool) -> bool:
        """Return a yes or no."""
        value = self._take(key)
        if value is None:
            return default
        if isinstance(value, bool):
            return value
        if value in ("yes", "no"):
            return bool(value == "yes")
        self.problem(key, "yes or no is wanted")
        return default

    def integer(
        self, key: str, low: int, high: int, default: int | None = None, *, required: bool = False
    ) -> int | None:
        """Return a whole number, decimal or 0x… hexadecimal."""
        value = self._wanted(key, required, f"a whole number from {low} to {high}")
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            self.problem(key, f"a whole number from {low} to {high} is wanted (0x10 and 16 are the same)")
            return default
        return int(value)

    def quantity(self, key: Any, unit: str, default: float | None = None, *, required: bool = False) -> float | None:
        """Return the SI value of a number with its unit."""
        if self._wanted(key, required, "a number with its unit") is None:
            return default
        return self._parsed(key, lambda text: parse(text, unit))

    def band(self, key: str, unit: str, default: Toleranced | None = None) -> Toleranced | None:
        """Return a number with a tolerance, or a 'LOW to HIGH'."""
        return self._parsed(key, lambda text: parse_toleranced(text, unit)) if key in self else default

    def deviation(self, key: str, unit: str, around: float, default: Toleranced) -> Toleranced:
        """Return the band that a bare tolerance, "±5 %" or "+1 % -9 %", makes around `around` (0, or 1 for a ratio)."""
        if key not in self:
            return default
        found = str(self._data[key])
        relative = "%" in found or "ppm" in found
        if around == 1.0:
            # A share of one volt is the ratio itself.
            head, unit, accepted = "1 V", "V", "'±0.5 %' or '+1 % -9 %'"
            wrong = not relative or "V" in found
        else:
            # A share of nothing would silently be nothing.
            head, accepted = f"0 {unit}", f"a deviation such as '±0.001 {unit}', in a unit of its own and not in %"
            wrong = relative
        if wrong:
            self._take(key)
            self.problem(key, f"accepted here: {accepted}")
            return default
        band = self._parsed(key, lambda text: parse_toleranced(f"{head} {text}", unit), accepted)
        return default if band is None else band

    def finish(self) -> None:
        """Complain about every key that no reader took."""
        for key in self._data:
            if key not in self._taken:
                close = nearest(str(key), self._taken)
                self.problem(
                    key,
                    "this key is not known here",
                    f"Did you mean {close!r}?" if close else f"Known: {', '.join(sorted(self._taken))}.",
                )

    def _parsed(self, key: Any, reader: Callable[[str], T], accepted: str = "") -> T | None:
        value = self._take(key)
        if value is None or isinstance(value, dict | list | bool):
            self.problem(key, "a number with its unit is wanted")
            return None
        try:
            return reader(str(value))
        except QuantityError as error:
            self.problem(
                key, f"accepted here: {accepted or error.accepted}", "" if accepted else f"Found: {error.found}."
            )
            return None

    def _take(self, key: Any) -> Any:
        self._taken.add(key)
        return self._data.get(key)

    def _wanted(self, key: Any, required: bool, what: str) -> Any:
        value = self._take(key)
        if value is None and required:
            self.problem(key, f"missing: {what} is needed here")
        return value

    def _line(self, key: Any) -> int:
        # A missing key is shown at the group in which it is missing.
        return int(self._data.lc.key(key)[0]) + 1 if key in self._data else self._first_line


def _plain(value: Any) -> Any:
    return int(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _load(path: str, text: str) -> CommentedMap:
    if len(text.encode()) > _MAX_BYTES:
        raise PartsError(f"{path}: the file has more than {_MAX_BYTES // 1024} KiB; a controller file is far smaller")
    try:
        _refuse_tricks(path, text)
        data = YAML(typ="rt").load(text)
    except MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        said = (error.problem or "this is not YAML").splitlines()[0]
        raise PartsError(f"{path}:{line}  the file cannot be read\n    {said}") from error
    except (YAMLError, ValueError, RecursionError) as error:
        raise PartsError(f"{path}: the file cannot be read\n    {str(error).splitlines()[0]}") from error
    if not isinstance(data, CommentedMap):
        raise PartsError(f"{path}: a controller file starts with keys such as 'name:'; this one holds something else")
    return data


def _refuse_tricks(path: str, text: str) -> None:
    """Refuse what plain data does not need: aliases can grow without bounds, tags ask for objects."""
    depth = 0
    for event in YAML(typ="safe", pure=True).parse(text):
        line = event.start_mark.line + 1 if event.start_mark else 1
        if getattr(event, "anchor", None):
            raise PartsError(f"{path}:{line}  anchors (&) and aliases (*) are not accepted\n    Write the value out.")
        if getattr(event, "tag", None):
            raise PartsError(f"{path}:{line}  tags (!) are not accepted\n    A controller file is plain data.")
        name = type(event).__name__
        depth += name.endswith("StartEvent") - name.endswith("EndEvent")
        if depth > _MAX_DEPTH + 2:
            raise PartsError(f"{path}:{line}  groups are nested more than {_MAX_DEPTH} deep")

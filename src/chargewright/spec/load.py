"""The design file becomes a `Design`, or one error that names every problem with its line.

Which keys there are, what may stand under them and in which range comes from the records alone (`spec._shape`).
Nothing in a file is executed, nothing expands, and size, depth and number of entries are bounded (`spec._tree`).
"""

from collections.abc import Iterable, Sequence
from dataclasses import MISSING
from pathlib import Path
from typing import Any

from chargewright.base.errors import PartsError, Problem, SpecError
from chargewright.base.near import nearest
from chargewright.spec._shape import Shape, kinds_of, shapes_of, shapes_under
from chargewright.spec._tree import MAX_BYTES, Group, Listing, Node, Refused, Scalar, read_tree
from chargewright.spec._values import Unfit, did_you_mean, example_of, found, value_of
from chargewright.spec._words import quoted, visible
from chargewright.spec.consistency import Contradiction, contradictions
from chargewright.spec.design import SCHEMA_VERSION, Design
from chargewright.spec.references import is_file_name, resolve_path


def load_design(path: Path) -> Design:
    """Return the design that a file describes; files that it names must be there.

    Raises SpecError with every problem of the file, whatever the file holds.
    """
    return _design(_read(path), str(path), path)


def parse_design(text: str, name: str) -> Design:
    """Return the design that `text` describes; `name` stands for the file in messages. Raises SpecError."""
    return _design(text, name, None)


def design_error(path: Path, wrong: Sequence[Contradiction]) -> SpecError:
    """Return what only a later look at a design found, with the lines of its file where that can still be read."""
    try:
        tree, problems = read_tree(_read(path).removeprefix("\ufeff"), str(path))
    except SpecError:
        places: _Reader | None = None
    else:
        places = _Reader(problems, path)
        places.keys(tree, shapes_of(Design), "", line=0)
    return SpecError(str(path), [_placed(c, places) for c in wrong])


def _read(path: Path) -> str:
    def stop(message: str, cure: str = "", line: int = 0) -> SpecError:
        return SpecError(str(path), [Problem(line=line, key="", found="", message=message, cure=cure)])

    try:
        if path.is_dir():
            raise stop("This is a folder, not a design file.", "Name the file inside it.")
        if not path.exists():
            names = [p.name for p in path.parent.iterdir()] if path.parent.is_dir() else []
            raise stop("There is no such file.", did_you_mean(path.name, names))
        if not path.is_file():
            raise stop("This is not an ordinary file.", "Name a text file.")
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "its name is not valid"
        raise stop(f"The file cannot be read: {reason}.") from None
    if len(data) > MAX_BYTES:
        raise stop(f"The file is larger than {MAX_BYTES // 1024} KiB, the most that a design file may have.")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise stop("The file is UTF-16 text.", "Save it as UTF-8.")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        message = f"The byte 0x{data[error.start]:02X} in this line is not UTF-8 text."
        raise stop(message, "Save the file as UTF-8.", line) from None


def _design(text: str, name: str, path: Path | None) -> Design:
    tree, problems = read_tree(text.removeprefix("\ufeff"), name)
    reader = _Reader(problems, path)
    values = reader.keys(tree, shapes_of(Design), "", line=0)
    problems += [_placed(contradiction, reader) for contradiction in contradictions(values)]
    if problems:
        raise SpecError(name, problems)
    return Design(**values)


def _placed(wrong: Contradiction, places: "_Reader | None") -> Problem:
    line, found = places.place(wrong.key) if places else (0, "")
    return Problem(line=line, key=wrong.key, found=found, message=wrong.message, cure=wrong.cure)


class _Reader:
    """Walks the tree along the records; what does not fit becomes a problem, and its value stays away."""

    def __init__(self, problems: list[Problem], path: Path | None) -> None:
        self._problems = problems
        self._path = path
        self._places: dict[str, tuple[int, str]] = {}

    def place(self, key: str) -> tuple[int, str]:
        """Return the line of a key and what stands there; of the group around it where the key is left out."""
        if key in self._places:
            return self._places[key]
        parent = key.rpartition(".")[0]
        return (self.place(parent)[0], "") if parent else (0, "")

    def keys(self, group: Group, accepted: Iterable[Shape], path: str, line: int) -> dict[str, Any]:
        """Return the values of a group that could be read; keys left out have their default.

        line : where the group is named, for what is missing in it
        """
        shapes = {shape.key: shape for shape in accepted}
        misspelt = self._unknown(group, shapes, path)
        values: dict[str, Any] = {}
        for key, shape in shapes.items():
            dotted = f"{path}.{key}" if path else key
            node = group.get(key)
            if node is None:
                if not shape.must_be_given:
                    values[key] = shape.default
                elif key not in misspelt:
                    self._missing(shape, line, dotted)
                continue
            value = self._value(shape, node, dotted, group.line_of(key))
            if value is not MISSING:
                values[key] = value
        return values

    def _unknown(self, group: Group, shapes: Iterable[str], path: str) -> set[str]:
        """Report unknown keys; return the known ones that were probably meant."""
        meant = set()
        for entry in group.entries:
            key = entry.key.text
            if key in shapes:
                continue
            where = path or "a design file"
            close = nearest(key, shapes)
            if close:
                meant.add(close)
                stands = "" if group.get(close) is None else ", which stands here already"
                cure = f'Did you mean "{close}"{stands}?'
            elif key in _HOMES:
                cure = f"The key belongs to {' or '.join(_HOMES[key])}: write it there."
            else:
                cure = f"Known keys: {_list(shapes)}."
            shown = visible(key)
            dotted = f"{path}.{shown}" if path else shown
            self._add(entry.key.line, dotted, "", f"{quoted(key)} is not a key of {where}.", cure)
        return meant

    def _missing(self, shape: Shape, line: int, dotted: str) -> None:
        example = example_of(shape) if shape.form != "group" else ""
        if shape.form == "group":
            inner = [s.key for record in shape.records for s in shapes_of(record) if s.must_be_given]
            cure = f"Add {shape.key}: with {_list(dict.fromkeys(inner))}." if inner else f"Add {shape.key}:"
        else:
            options = _list(shape.choices) if shape.choices else ""
            cure = f"Add '{shape.key}: {options.split(', ')[0] if options else example.strip(chr(34))}'"
            cure += f" (one of {options})." if len(shape.choices) > 1 else "."
        self._add(line, dotted, "", f"This key is missing: {shape.info.why}.", cure)

    def _value(self, shape: Shape, node: Node, dotted: str, line: int) -> Any:
        """Return the value under a key, which stands in `line`, or MISSING if it has been reported."""
        if isinstance(node, Refused):
            return MISSING
        if not shape.many:
            return self._one(shape, node, dotted, line)
        self._places[dotted] = (line, "")
        if not isinstance(node, Listing):
            what = "a group of keys" if isinstance(node, Group) else found(node)
            cure = (
                "Start the item with '- '."
                if isinstance(node, Group)
                else f"Write it as a list: {_list_example(shape)}"
            )
            self._add(line, dotted, "", f"A list is wanted here, not {what}: {shape.info.why}.", cure)
            return MISSING
        if len(node.items) > shape.info.max_items:
            message = f"The list has {len(node.items)} items; at most {shape.info.max_items} are accepted."
            self._add(line, dotted, "", message, "")
            return MISSING
        if not node.items and shape.must_be_given:
            self._add(line, dotted, "", f"The list is empty: {shape.info.why}.", "Give at least one.")
            return MISSING
        values = [self._one(shape, item, f"{dotted}[{i}]", item.line) for i, item in enumerate(node.items)]
        return MISSING if any(value is MISSING for value in values) else tuple(values)

    def _one(self, shape: Shape, node: Node, dotted: str, line: int) -> Any:
        if isinstance(node, Refused):
            return MISSING
        if isinstance(node, Scalar) and node.text:
            line = node.line  # an empty value is marked where the next key stands, so its key's line is the better one
        self._places[dotted] = (line, found(node) if isinstance(node, Scalar) else "")
        if shape.form == "group":
            return self._record(shape, node, dotted, line)
        if not isinstance(node, Scalar):
            what = "a list" if isinstance(node, Listing) else "a group of keys"
            example = example_of(shape)
            cure = f"For example {example}." if example else ""
            self._add(line, dotted, "", f"One value is wanted here, not {what}: {shape.info.why}.", cure)
            return MISSING
        try:
            value = value_of(shape, node)
            self._require_file(shape, value)
        except Unfit as unfit:
            self._add(line, dotted, found(node), unfit.message, self._newer(shape, node) or unfit.cure)
            return MISSING
        return value

    def _newer(self, shape: Shape, node: Scalar) -> str:
        newer = (
            shape.key == "schema" and node.text.isdecimal() and len(node.text) < 6 and int(node.text) > SCHEMA_VERSION
        )
        return "A newer version of Chargewright wrote this file: update, or use the file's older form." if newer else ""

    def _require_file(self, shape: Shape, value: Any) -> None:
        if self._path is not None and shape.info.names_file and is_file_name(value):
            try:
                resolve_path(self._path, value)
            except PartsError as error:
                raise Unfit(str(error)) from None

    def _record(self, shape: Shape, node: Node, dotted: str, line: int) -> Any:
        if not isinstance(node, Group):
            what = "a list" if isinstance(node, Listing) else "one value"
            nothing = isinstance(node, Scalar) and node.plain and not node.text
            message = f"A group of keys is wanted here, not {'nothing' if nothing else what}: {shape.info.why}."
            keys = _list(s.key for s in shapes_of(shape.records[0]))
            self._add(line, dotted, found(node) if isinstance(node, Scalar) else "", message, f"Known keys: {keys}.")
            return MISSING
        kinds = kinds_of(shape.records)
        record = self._kind(node, kinds, dotted, line) if kinds else shape.records[0]
        if record is None:
            return MISSING
        shapes = shapes_under(record, shape.default)
        values = self.keys(node, shapes, dotted, line)
        return record(**values) if len(values) == len(shapes) else MISSING

    def _kind(self, node: Group, kinds: dict[str, type], dotted: str, line: int) -> type | None:
        kind = node.get("kind")
        options = ", ".join(kinds)
        if isinstance(kind, Scalar):
            if kind.text in kinds:
                return kinds[kind.text]
            cure = did_you_mean(kind.text, kinds)
            self._add(kind.line, f"{dotted}.kind", found(kind), f"One of these is wanted: {options}.", cure)
        elif kind is None:
            message = f"The key 'kind' is missing, which says what this is: {options}."
            self._add(line, f"{dotted}.kind", "", message, f"Add 'kind: {next(iter(kinds))}'.")
        elif not isinstance(kind, Refused):
            self._add(kind.line, f"{dotted}.kind", "", f"One of these is wanted: {options}.", "")
        return None

    def _add(self, line: int, key: str, what: str, message: str, cure: str) -> None:
        self._problems.append(Problem(line=line, key=key, found=what, message=message, cure=cure))


def _list(words: Iterable[str]) -> str:
    return ", ".join(words)


def _list_example(shape: Shape) -> str:
    return shape.info.example or "[first, second]"


def _homes(record: type, path: str = "") -> dict[str, list[str]]:
    """Return for each key the groups it belongs to, as far as these are one or two."""
    homes: dict[str, list[str]] = {}
    todo = [(record, path)]
    while todo:
        record, path = todo.pop()
        for shape in shapes_of(record):
            if path and path not in homes.setdefault(shape.key, []):
                homes[shape.key].append(path)
            todo.extend((inner, f"{path}.{shape.key}" if path else shape.key) for inner in shape.records)
    return {key: places for key, places in homes.items() if len(places) <= 2}


_HOMES = _homes(Design)

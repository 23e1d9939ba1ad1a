"""The text of a design file as a tree of keys, lists and texts, each with its line and its place in the file.

The tree is made from the events of ruamel.yaml's parser, not from the objects that it could build: every value stays
the text that the user wrote, so that nothing is turned into a date, a yes or an octal number behind their back. What
can expand, execute or hide (aliases, tags, merge keys, several documents) is refused here, and size, depth and number
of entries are bounded while the events come in.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

from chargewright.base.errors import Problem, SpecError
from chargewright.spec._syntax import directive_problem, syntax_problem
from chargewright.spec._words import visible

MAX_BYTES = 256 * 1024
MAX_DEPTH = 12
MAX_NODES = 5_000

_UNWANTED = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ufeff\ufffe\uffff]")


@dataclass(frozen=True, slots=True)
class Scalar:
    """One text; `plain` if it stands without quotes, `block` if it stands below its key after | or >."""

    line: int
    start: int
    end: int
    text: str
    plain: bool
    block: bool


@dataclass(frozen=True, slots=True)
class Listing:
    """A list."""

    line: int
    start: int
    end: int
    items: "tuple[Node, ...]"
    flow: bool


@dataclass(frozen=True, slots=True)
class Entry:
    """One key with what stands under it."""

    key: Scalar
    value: "Node"


@dataclass(frozen=True, slots=True)
class Group:
    """A group of keys, in file order, each key once."""

    line: int
    start: int
    end: int
    entries: tuple[Entry, ...]
    flow: bool

    def get(self, key: str) -> "Node | None":
        """Return what stands under `key`."""
        return next((e.value for e in self.entries if e.key.text == key), None)

    def line_of(self, key: str) -> int:
        """Return the line of a key that is there."""
        return next(e.key.line for e in self.entries if e.key.text == key)


@dataclass(frozen=True, slots=True)
class Refused:
    """Something that has been reported already; nobody has to complain about it again."""

    line: int
    start: int
    end: int


Node: TypeAlias = Scalar | Listing | Group | Refused


def read_tree(text: str, name: str) -> tuple[Group, list[Problem]]:
    """Return the tree of a design file and what was refused on the way.

    Raises SpecError where no tree can be made at all: broken YAML, an empty file, a list at the top, a file too big.
    """
    _require_sound_text(text, name)
    return _Builder(name).build(text)


def _require_sound_text(text: str, name: str) -> None:
    size = len(text) if text.isascii() else len(text.encode("utf-8", "surrogatepass"))
    if size > MAX_BYTES:
        _stop(name, 0, f"The file has {size // 1024} KiB; a design file has at most {MAX_BYTES // 1024} KiB.")
    found = _UNWANTED.search(text)
    if found:
        line = len(re.findall("\r\n|\n|\r", text[: found.start()])) + 1
        code = f"U+{ord(found[0]):04X}"
        _stop(name, line, f"The invisible character {code} stands in this line.", "Delete it, or retype the line.")
    if all(line.lstrip().startswith("#") for line in text.splitlines() if line.strip()):
        _stop(name, 0, "The file is empty.", "Start from the commented starter file, or from the twelve-line example.")


def _stop(name: str, line: int, message: str, cure: str = "") -> None:
    raise SpecError(name, [Problem(line=line, key="", found="", message=message, cure=cure)])


class _Builder:
    def __init__(self, name: str) -> None:
        self._name = name
        self._problems: list[Problem] = []
        self._nodes = 0

    def build(self, text: str) -> tuple[Group, list[Problem]]:
        events = self._events(text)
        top: Node | None = None
        for event in events:
            kind = type(event).__name__
            if kind == "DocumentStartEvent":
                if top is not None:
                    self._stop(event, "A second document starts here; a design file is one document.")
                if event.version or event.tags:
                    self._stop_at_directive(text)
            elif (kind.endswith("StartEvent") and kind != "StreamStartEvent") or kind in ("ScalarEvent", "AliasEvent"):
                top = self._node(event, events, depth=1)
        if isinstance(top, Group):
            return top, self._problems
        if not isinstance(top, Refused):
            message = "A design file is a group of keys at the top (name, sources, pack, system)."
            cure = "Start each line at the left with a key and a colon: 'pack:'."
            self._problems.append(Problem(line=top.line if top else 0, key="", found="", message=message, cure=cure))
        raise SpecError(self._name, self._problems)

    def _events(self, text: str) -> Iterator[Any]:
        from ruamel.yaml import YAML  # 20 ms: only where a file is read

        last = None
        try:
            for event in YAML(typ="safe", pure=True).parse(text):
                yield event
                last = event
        except Exception as error:  # broken input makes the parser raise more than its own errors
            raise SpecError(self._name, [*self._problems, syntax_problem(error, last)]) from None

    def _stop(self, event: Any, message: str, cure: str = "") -> None:
        line = event.start_mark.line + 1
        problem = Problem(line=line, key="", found="", message=message, cure=cure)
        raise SpecError(self._name, [*self._problems, problem])

    def _stop_at_directive(self, text: str) -> None:
        line = next((i for i, line in enumerate(text.splitlines(), 1) if line.startswith("%")), 1)
        raise SpecError(self._name, [*self._problems, directive_problem(line)])

    def _refuse(self, event: Any, key: str, message: str, cure: str) -> None:
        line = event.start_mark.line + 1
        self._problems.append(Problem(line=line, key=key, found="", message=message, cure=cure))

    def _node(self, event: Any, events: Iterator[Any], depth: int, key: str = "") -> Node:
        node = self._plain_node(event, events, depth, key)
        if getattr(event, "tag", None) in (None, "!"):
            return node
        cure = "Delete the word with the exclamation mark."
        self._refuse(event, key, "A type mark ('!...') stands here; this is not allowed in a design file.", cure)
        return Refused(node.line, node.start, node.end)

    def _plain_node(self, event: Any, events: Iterator[Any], depth: int, key: str) -> Node:
        self._nodes += 1
        if self._nodes > MAX_NODES:
            self._stop(event, f"The file has more than {MAX_NODES} keys and values.")
        if depth > MAX_DEPTH:
            self._stop(event, f"Keys are nested more than {MAX_DEPTH} deep here; a design file needs four.")
        kind = type(event).__name__
        line, start, end = event.start_mark.line + 1, event.start_mark.index, event.end_mark.index
        if kind == "AliasEvent":
            cure = "Write the value out at each place."
            self._refuse(
                event, key, f"'*{visible(event.anchor, 40)}' refers to a value elsewhere; this is not allowed.", cure
            )
            return Refused(line, start, end)
        if event.anchor:
            cure = f"Delete '&{visible(event.anchor, 40)}' and write the value out at each place."
            self._refuse(event, key, "An anchor stands here; references are not allowed in a design file.", cure)
        if kind == "ScalarEvent":
            return Scalar(line, start, end, event.value, event.style is None, event.style in ("|", ">"))
        if kind == "SequenceStartEvent":
            items: list[Node] = []
            while type(inner := next(events)).__name__ != "SequenceEndEvent":
                items.append(self._node(inner, events, depth + 1, f"{key}[{len(items)}]"))
            return Listing(line, start, inner.end_mark.index, tuple(items), bool(event.flow_style))
        return self._group(event, events, depth, key)

    def _group(self, event: Any, events: Iterator[Any], depth: int, path: str) -> Node:
        entries: dict[str, Entry] = {}
        while type(inner := next(events)).__name__ != "MappingEndEvent":
            key = self._node(inner, events, depth + 1, path)
            name = key.text if isinstance(key, Scalar) else ""
            dotted = f"{path}.{visible(name)}" if path else visible(name)
            value = self._node(next(events), events, depth + 1, dotted)
            if not isinstance(key, Scalar) or not name:
                self._refuse(
                    inner, path, "A key is missing before the colon, or is no plain word.", "Write 'key: value'."
                )
            elif name == "<<":
                self._refuse(
                    inner, dotted, "'<<' would merge another group; this is not allowed.", "Write its keys out."
                )
            elif name in entries:
                first = entries[name].key.line
                message = f"'{visible(name)}' is given twice; it already stands in line {first}."
                self._refuse(inner, dotted, message, "Delete one of the two.")
            else:
                entries[name] = Entry(key, value)
        flow = bool(event.flow_style)
        return Group(
            event.start_mark.line + 1, event.start_mark.index, inner.end_mark.index, tuple(entries.values()), flow
        )

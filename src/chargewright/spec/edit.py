"""Changing values in the text of a design file: only the edited lines change; comments, order and layout stay."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass

from chargewright.base.errors import ChargewrightError, SpecError
from chargewright.base.near import nearest
from chargewright.spec._shape import Shape, kinds_of, shapes_of
from chargewright.spec._tree import Group, Listing, Node, Scalar, read_tree
from chargewright.spec._words import as_yaml, quoted, reads_as
from chargewright.spec.design import Design

_STEP = re.compile(r"([A-Za-z_][A-Za-z0-9_]*)((?:\[[0-9]{1,4}\])?)")
_REMARK = re.compile(r"( {2,})(#.*)?")


def set_values(text: str, values: Mapping[str, str]) -> str:
    """Return the text of a design file with some values changed, each given as a file would write it.

    values : dotted key to value, for example {"sources[0].voltage": "19 V ±5 %", "rules.bus_min": "6 V"}; a key that
             the file leaves out is added at the end of its group; a list of texts is given as '["a", "b"]'
    Whether the values make a sound design is the loader's question. Raises ChargewrightError for a key that no design
    file has, or an item that this one lacks; SpecError if the text is no tree of keys.
    """
    for key, value in values.items():
        text = _set(text, key, value.strip())
    return text


@dataclass(frozen=True, slots=True)
class _Step:
    key: str
    index: int | None


def _set(text: str, dotted: str, value: str) -> str:
    mark = "\ufeff" if text.startswith("\ufeff") else ""
    text = text.removeprefix(mark)
    tree, problems = read_tree(text, "the design file")
    if problems:
        raise SpecError("the design file", problems)
    steps = _steps(dotted)
    shape, group, flow, left = _walk(tree, steps, dotted)
    if left:
        return mark + _add(text, group, left, _rendered(shape, value, flow or group.flow, dotted), flow or group.flow)
    node = _at(group, steps[-1], dotted)
    if not isinstance(node, Scalar | Listing):
        raise ChargewrightError(f"{dotted} is a group of keys; name one of them: {dotted}.…")
    return mark + _replace(text, group, steps[-1], node, _rendered(shape, value, flow or group.flow, dotted))


def _steps(dotted: str) -> list[_Step]:
    steps = []
    for part in dotted.split("."):
        match = _STEP.fullmatch(part)
        if match is None:
            raise ChargewrightError(f"{quoted(dotted)} is not a key; write it like 'sources[0].voltage'.")
        steps.append(_Step(match[1], int(match[2][1:-1]) if match[2] else None))
    return steps


def _walk(tree: Group, steps: list[_Step], dotted: str) -> tuple[Shape, Group, bool, list[_Step]]:
    """Return the shape of the last step, the deepest group that is there, whether it stands in braces, what is left."""
    shapes, group, flow = shapes_of(Design), tree, tree.flow
    left: list[_Step] = []
    for number, step in enumerate(steps):
        last = number == len(steps) - 1
        shape = _known(step.key, shapes, dotted)
        if last != (shape.form != "group") or (shape.form == "group" and shape.many) != (step.index is not None):
            raise ChargewrightError(f"{dotted} does not lead to one value; {shape.key} is {_form(shape)}.")
        node = None if left else _at(group, step, dotted)
        if node is None:
            if step.index is not None:
                raise ChargewrightError(f"{dotted}: the file has no item {step.index} of {step.key}.")
            left.append(step)
        elif isinstance(node, Group):
            flow, group = flow or group.flow, node
        elif not last:
            raise ChargewrightError(f"{dotted}: {step.key} is no group of keys in the file.")
        if not last:
            shapes = shapes_of(_record(shape, None if left else group))
    return shape, group, flow, left


def _known(key: str, shapes: tuple[Shape, ...], dotted: str) -> Shape:
    for shape in shapes:
        if shape.key == key:
            return shape
    close = nearest(key, [s.key for s in shapes])
    hint = f" Did you mean {close!r}?" if close else ""
    raise ChargewrightError(f"{dotted}: {key!r} is not a key of a design file.{hint}")


def _form(shape: Shape) -> str:
    if shape.form != "group":
        return "a value"
    return f"a list: {shape.key}[0], ..." if shape.many else "a group of keys"


def _record(shape: Shape, group: Group | None) -> type:
    kinds = kinds_of(shape.records)
    kind = group.get("kind") if group else None
    return kinds.get(kind.text, shape.records[0]) if kinds and isinstance(kind, Scalar) else shape.records[0]


def _at(group: Group, step: _Step, dotted: str) -> Node | None:
    node = group.get(step.key)
    if step.index is None or node is None:
        return node
    if not isinstance(node, Listing) or step.index >= len(node.items):
        raise ChargewrightError(f"{dotted}: the file has no item {step.index} of {step.key}.")
    return node.items[step.index]


def _rendered(shape: Shape, value: str, flow: bool, dotted: str) -> str:
    if shape.many:
        listing = read_tree(f"x: {value}\n", "the value")[0].get("x")
        if "\n" in value or not isinstance(listing, Listing) or not listing.flow:
            raise ChargewrightError(f'{dotted} is a list; give it as \'["first", "second"]\'.')
        return value
    if flow and re.search(r"[,\[\]{}]", value):
        return json.dumps(value, ensure_ascii=False)
    return as_yaml(value) if shape.form in ("text", "choice") or not reads_as(value) else value


def _replace(text: str, group: Group, step: _Step, node: Scalar | Listing, value: str) -> str:
    start, end = node.start, _end(text, node)
    if end <= start or (isinstance(node, Scalar) and not node.text and node.plain):  # nothing stands there yet
        key = next(e.key for e in group.entries if e.key.text == step.key)
        start = end = text.index(":", key.end) + 1
        value = f" {value}"
    remark = _REMARK.match(text, end)
    rest = text[end:]
    if remark and remark[2]:  # keep the remark in its column as long as there is room
        gap = max(2, len(remark[1]) - (len(value) - (end - start)))
        rest = " " * gap + text[remark.start(2) :]
    return text[:start] + value + rest


def _end(text: str, node: Node) -> int:
    """Return where a node really ends; a block's own end lies where the next key begins."""
    return node.start + len(text[node.start : node.end].rstrip()) if isinstance(node, Scalar) else _last_end(text, node)


def _last_end(text: str, node: Node) -> int:
    if isinstance(node, Group) and not node.flow and node.entries:
        last = node.entries[-1]
        empty = isinstance(last.value, Scalar) and not last.value.text
        return text.index(":", last.key.end) + 1 if empty else _last_end(text, last.value)
    if isinstance(node, Listing) and not node.flow and node.items:
        return _last_end(text, node.items[-1])
    return _end(text, node) if isinstance(node, Scalar) else node.end


def _add(text: str, group: Group, left: list[_Step], value: str, flow: bool) -> str:
    keys = [step.key for step in left]
    if flow:
        added = f"{keys[0]}: " + "".join(f"{{{key}: " for key in keys[1:]) + value + "}" * (len(keys) - 1)
        if not group.entries:
            return text[: group.start + 1] + added + text[group.start + 1 :]
        end = _last_end(text, group.entries[-1].value)
        return f"{text[:end]}, {added}{text[end:]}"
    line_end = "\r\n" if "\r\n" in text else "\n"
    first = group.entries[0].key.start
    indent = " " * (first - max(text.rfind("\n", 0, first), text.rfind("\r", 0, first)) - 1)
    lines = [f"{indent}{'  ' * depth}{key}:" for depth, key in enumerate(keys)]
    lines[-1] += f" {value}"
    end = text.find("\n", _last_end(text, group)) + 1
    if not end:
        return text.rstrip(" ") + line_end + line_end.join(lines) + line_end
    if remarks := re.compile(rf"(?:{indent} +#[^\n]*\n)+").match(text, end):  # they belong to the group above
        end = remarks.end()
    return text[:end] + line_end.join(lines) + line_end + text[end:]

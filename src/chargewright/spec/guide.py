"""The tables of the guide to the design file, made from the records."""

from collections.abc import Iterator

from chargewright.spec._describe import default_of, example_text, quantity_of, range_of
from chargewright.spec._shape import Shape, kinds_of, shapes_of, shapes_under
from chargewright.spec.design import Design

_HEAD = "| key | meaning | value | range | default |\n| --- | --- | --- | --- | --- |"


def field_tables() -> str:
    """Return every key of a design file as Markdown: one table for each group."""
    top = shapes_of(Design)
    return "\n\n".join([f"### The file itself\n\n{_table(top)}", *_groups(top, "", "")]) + "\n"


def _groups(shapes: tuple[Shape, ...], path: str, of_kind: str) -> Iterator[str]:
    for shape in shapes:
        if shape.form != "group":
            continue
        dotted = f"{path}.{shape.key}" if path else shape.key
        kinds = {record: f" with `kind: {kind}`" for kind, record in kinds_of(shape.records).items()}
        for record in shape.records:
            kind = kinds.get(record, of_kind)
            inner = shapes_under(record, shape.default)
            why = f"{shape.info.why[0].upper()}{shape.info.why[1:]}{': a list' if shape.many else ''}."
            yield f"### `{dotted}`{kind}\n\n{why}\n\n{_table(inner)}"
            yield from _groups(inner, f"{dotted}[]" if shape.many else dotted, kind)


def _table(shapes: tuple[Shape, ...]) -> str:
    return "\n".join([_HEAD, *map(_row, shapes)])


def _row(shape: Shape) -> str:
    value = "group of keys" if shape.form == "group" else quantity_of(shape)
    value = f"list of {value.replace('group', 'groups').replace('text', 'texts')}" if shape.many else value
    cells = (f"`{shape.key}`", shape.info.why, value, range_of(shape), _default(shape))
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _default(shape: Shape) -> str:
    example = f"; for example `{example_text(shape)}`" if shape.form != "group" and example_text(shape) else ""
    if shape.must_be_given:
        return "must be given" + (example if shape.key != "kind" else "")
    return f"`{default_of(shape)}`" if default_of(shape) else f"may be left out{example}"

"""A starter file: every key of a design file with its reason, range and default, made from the records.

What has to be given stands there with an example; everything else is commented out as "#key: default".
"""

from textwrap import wrap

from chargewright.spec._describe import default_of, example_text, range_of
from chargewright.spec._shape import Shape, kinds_of, shapes_of, shapes_under
from chargewright.spec._words import as_yaml
from chargewright.spec.design import Design

_REMARK_AT, _WIDTH = 46, 120
_LEAST_REMARK = 24
"""Width that a remark has beside a long value, beyond the line's own."""
_TIED = "\u00a0"
"""A blank at which no remark is broken."""
_STANDING = {"schema", "system.load"}
"""Keys that may be left out, but stand in the starter: the form of the file, and the plainest way to state the load."""
_HEAD = """\
# A design file for Chargewright: what feeds the product, what stores for it, what it feeds.
#
# Every value carries its unit: "20 V ±5 %", "10 mohm", "65 W", "2 h 30 min"; m is milli, and minutes are min.
# A line like "#key: value" shows a default or an example. To change it, take away its "#", and that of the group that
# it stands in. A key that has a "#" of its own inside such a group is an example; the group works without it.
"""

_Line = tuple[str, str]
"""What stands in the file, and the remark to its right."""


def starter_text(name: str = "Slate tablet") -> str:
    """Return a commented starter file for a product called `name`; it loads as it stands."""
    lines: list[_Line] = []
    group_above = False
    for shape in shapes_of(Design):
        if shape.form == "group" or group_above:
            lines.append(("", ""))
        group_above = shape.form == "group"
        lines += _key(shape, "", 0, inside_off=False, value=as_yaml(name) if shape.key == "name" else "")
    return _HEAD + "\n" + "".join(f"{text}\n" for line in lines for text in _with_remark(*line))


def _key(shape: Shape, path: str, indent: int, *, inside_off: bool, value: str = "") -> list[_Line]:
    """Return the lines of a key; `inside_off` says that the group around it is commented out as a whole."""
    dotted = f"{path}.{shape.key}" if path else shape.key
    stands = shape.must_be_given or dotted in _STANDING
    default = default_of(shape)
    if shape.form == "group":
        off = not stands
        lines = [(f"{' ' * indent}{shape.key}:", shape.info.why), *_inside(shape, dotted, indent + 2, off=off)]
        off = off and not (inside_off and shape.default)
    else:
        limits = range_of(shape).replace(" ", _TIED) if shape.info.unit else range_of(shape)
        remark = f"{shape.info.why} ({limits})" if limits else shape.info.why
        lines = [(f"{' ' * indent}{shape.key}: {value or default or example_text(shape)}", remark)]
        off = not stands and not (inside_off and default)
    return _off(lines, indent) if off else lines


def _inside(shape: Shape, path: str, indent: int, *, off: bool) -> list[_Line]:
    lines: list[_Line] = []
    if not shape.many:
        shapes = shapes_under(shape.records[0], shape.default)
        return [line for s in shapes for line in _key(s, path, indent, inside_off=off)]
    for number, record in enumerate(shape.records):
        item = [line for s in shapes_of(record) for line in _key(s, path, indent + 2, inside_off=off or number > 0)]
        first, remark = item[0]
        kinds = ", ".join(kinds_of(shape.records))
        item[0] = (f"{' ' * indent}- {first.strip()}", f"{remark} ({kinds})" if kinds else remark)
        lines += _off(item, indent) if number else item
    return lines


def _off(lines: list[_Line], indent: int) -> list[_Line]:
    return [(f"{text[:indent]}#{text[indent:]}", remark) for text, remark in lines]


def _with_remark(text: str, remark: str) -> list[str]:
    if not remark:
        return [text]
    column = max(_REMARK_AT, len(text) + 2)
    width = max(_WIDTH - column - 2, _LEAST_REMARK)
    first, *more = (line.replace(_TIED, " ") for line in wrap(remark, width, break_on_hyphens=False))
    return [f"{text:{column}}# {first}", *(f"{' ' * column}# {line}" for line in more)]

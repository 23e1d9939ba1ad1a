"""From a controller file to a `Controller`; the format's guide is docs/controller-file.md."""

from collections.abc import Iterator
from functools import lru_cache
from importlib.resources import files
from itertools import combinations
from math import inf
from pathlib import Path
from typing import Any, Literal, cast

from chargewright.base.errors import PartsError
from chargewright.base.near import nearest
from chargewright.base.units import exact, show
from chargewright.setpoints._document import Document, Node
from chargewright.setpoints.controller import Accuracy, Choices, Controller, Field, HostLost, Linear, SpecialCode
from chargewright.setpoints.quantise import code_range, codes_of_width
from chargewright.setpoints.quantities import QUANTITIES, Quantity

FORMAT = 1
_AFTERMATHS = ("stops charging", "goes back to reset values", "keeps its values")


def shipped_controllers() -> tuple[str, ...]:
    """Return the names of the descriptions that come with Chargewright."""
    return tuple(
        sorted(entry.name.removesuffix(".yaml") for entry in _shelf().iterdir() if entry.name.endswith(".yaml"))
    )


def load_controller(name: str, folder: Path | None = None) -> Controller:
    """Return a shipped description by its name, or the one in a file (`*.yaml`), relative to `folder`.

    Raises PartsError with every problem of the file, each with its line and key.
    """
    if name.endswith((".yaml", ".yml")):
        path = (folder or Path()) / name
        try:
            return read_controller(path.read_text(encoding="utf-8"), str(name))
        except (OSError, UnicodeDecodeError) as error:
            reason = "is not a text in UTF-8" if isinstance(error, UnicodeDecodeError) else "cannot be read"
            raise PartsError(f"controller file {name!r} {reason}; looked for it at {path}") from error
    if name not in shipped_controllers():
        close = nearest(name, shipped_controllers())
        hint = f"did you mean {close!r}?" if close else f"shipped: {', '.join(shipped_controllers())}"
        raise PartsError(f"controller {name!r} is not known; {hint} A file's name ends in .yaml")
    return read_controller((_shelf() / f"{name}.yaml").read_text(encoding="utf-8"), f"{name}.yaml")


@lru_cache(maxsize=32)
def read_controller(text: str, path: str) -> Controller:
    """Return the controller that `text` describes; `path` only names it in messages."""
    document = Document(path, text)
    top = document.root
    top.integer("format", FORMAT, FORMAT, required=True)
    width = top.integer("register_width", 8, 16, 16) or 16
    if width not in (8, 16):
        top.problem("register_width", "8 or 16 is wanted")
    r_pack, r_source = _sense(top.node("sense"))
    controller = Controller(
        name=top.text("name"),
        origin=top.text("origin"),
        notes=top.text("notes", ""),
        # 0x00 to 0x07 and 0x78 to 0x7F are reserved by the bus.
        address=top.integer("address", 0x08, 0x77, 0x08, required=True) or 0x08,
        pec=top.yes_no("pec", False),
        register_width=width,
        keep_other_bits=top.choice("other_bits", ("keep", "zero"), "keep") == "keep",
        r_pack=r_pack,
        r_source=r_source,
        host_lost=_host_lost(top.node("host_lost")),
        fields=tuple(_fields(top, width)),
    )
    top.finish()
    _check_overlaps(top, controller.fields)
    document.check()
    return controller


def _shelf() -> Any:
    return files("chargewright.setpoints") / "controllers"


def _sense(node: Node | None) -> tuple[float | None, float | None]:
    if node is None:
        return None, None
    found = [node.quantity(place, "ohm") for place in ("pack", "source")]
    for place, r in zip(("pack", "source"), found, strict=True):
        if r is not None and not 1e-6 <= r <= 10.0:
            node.problem(place, "a sense resistor of 1 µΩ to 10 Ω is wanted")
    node.finish()
    return found[0], found[1]


def _host_lost(node: Node | None) -> HostLost:
    if node is None:
        return HostLost()
    lost = HostLost(
        timeout=node.band("timeout", "s"),
        refresh=node.band("refresh", "s"),
        then=cast(
            Literal["stops charging", "goes back to reset values", "keeps its values"],
            node.choice("then", _AFTERMATHS, "goes back to reset values"),
        ),
    )
    node.finish()
    return lost


def _fields(top: Node, register_width: int) -> Iterator[Field]:
    group = top.node("fields")
    if group is None:
        top.problem("fields", "missing: the quantities that the controller can be told")
        return
    for key in group:
        node = group.node(key)
        quantity = QUANTITIES.get(key)
        if quantity is None:
            close = nearest(str(key), QUANTITIES)
            hint = f"Did you mean {close!r}?" if close else f"Known: {', '.join(QUANTITIES)}."
            group.problem(key, "no quantity has this name", hint)
        elif node is not None:
            field = _field(node, quantity, register_width)
            if field is not None:
                yield field


def _field(node: Node, quantity: Quantity, register_width: int) -> Field | None:
    register = node.integer("register", 0, 255, required=True)
    low_bit = node.integer("low_bit", 0, register_width - 1, 0) or 0
    width = node.integer("width", 1, register_width - low_bit, register_width - low_bit) or 1
    field_of_words = {"register": register or 0, "low_bit": low_bit, "width": width}
    signed = node.yes_no("signed", False)
    scale = _choices(node, quantity) if "values" in node else _linear(node, quantity)
    special = tuple(_special(node, quantity))
    accuracy = _accuracy(node, quantity)
    reset = node.integer("reset", -(1 << 15), (1 << 16) - 1)
    readable = node.yes_no("readable", True)
    reset_means, notes = node.text("reset_means", ""), node.text("notes", "")
    node.finish()
    if scale is None:
        return None
    field = Field(
        quantity=quantity,
        **field_of_words,
        signed=signed,
        scale=scale,
        special=special,
        accuracy=accuracy,
        reset=reset,
        reset_means=reset_means,
        readable=readable,
        notes=notes,
    )
    _check_codes(node, field)
    return field


def _linear(node: Node, quantity: Quantity) -> Linear | None:
    unit = quantity.unit
    step, minimum, maximum = (node.quantity(key, unit, required=True) for key in ("step", "minimum", "maximum"))
    offset = node.quantity("offset", unit, 0.0)
    if step is None or minimum is None or maximum is None or offset is None:
        return None
    if step <= 0.0:
        node.problem("step", "a step above zero is wanted")
        return None
    scale = Linear(step=step, offset=offset, minimum=minimum, maximum=maximum)
    low, high = code_range(scale)
    if low > high:
        node.problem("maximum", f"no code lies between {show(minimum, unit)} and {show(maximum, unit)}")
        return None
    return scale


def _choices(node: Node, quantity: Quantity) -> Choices | None:
    group = node.node("values")
    if group is None:
        return None
    pairs: list[tuple[int, float]] = []
    for code in group:
        value = group.quantity(code, quantity.unit)
        if not isinstance(code, int) or isinstance(code, bool):
            group.problem(code, "the code before the colon has to be a whole number")
        elif value is not None:
            pairs.append((int(code), value))
    if not pairs:
        node.problem("values", "at least one line 'code: value' is wanted")
        return None
    return Choices(values=tuple(sorted(pairs, key=lambda pair: pair[1])))


def _special(node: Node, quantity: Quantity) -> Iterator[SpecialCode]:
    group = node.node("special")
    if group is None:
        return
    for code in group:
        entry = group.node(code)
        if entry is None:
            continue
        unlimited = entry.text("value", "") == "unlimited" if "value" in entry else False
        value = inf if unlimited else entry.quantity("value", quantity.unit, required=True)
        means = entry.text("means")
        entry.finish()
        if not isinstance(code, int) or isinstance(code, bool):
            group.problem(code, "the code before the colon has to be a whole number")
        elif value is not None:
            yield SpecialCode(code=int(code), value=value, means=means)


def _accuracy(node: Node, quantity: Quantity) -> Accuracy:
    gain = node.deviation("gain", "1", 1.0, exact(1.0))
    if not 0.5 <= gain.low <= gain.high <= 2.0:
        node.problem("gain", "a gain error within -50 % and +100 % is wanted")
    offset = exact(0.0) if quantity.unit == "1" else node.deviation("offset_error", quantity.unit, 0.0, exact(0.0))
    sense = node.deviation("sense_offset", "V", 0.0, exact(0.0)) if quantity.sense else exact(0.0)
    return Accuracy(
        gain=gain,
        of_full_scale=node.choice("gain_of", ("value", "full scale"), "value") == "full scale",
        full_scale=node.quantity("full_scale", quantity.unit),
        offset=offset,
        sense_offset=sense,
        resolution_bits=node.integer("resolution_bits", 1, 24),
    )


def _check_codes(node: Node, field: Field) -> None:
    """Codes have to fit the bits, and a code that means something of its own must not be reached by rounding."""
    low, high = codes_of_width(field)
    if isinstance(field.scale, Linear):
        least, most = code_range(field.scale)
        if least < low or most > high:
            key = "maximum" if most > high else "minimum"
            node.problem(key, f"codes {least} to {most} are needed, {field.width} bits carry {low} to {high}")
    else:
        for code, _ in field.scale.values:
            if not low <= code <= high:
                node.problem("values", f"code {code} does not fit {field.width} bits, which carry {low} to {high}")
    for special in field.special:
        if not low <= special.code <= high:
            node.problem("special", f"code {special.code} does not fit {field.width} bits, which carry {low} to {high}")
        elif _is_reached(field, special.code):
            node.problem(
                "special",
                f"code {special.code} ({special.means}) is also an ordinary value",
                "Move 'minimum' or 'maximum', or drop the line from 'values', so that rounding cannot reach it.",
            )
    if field.reset is not None and not low <= field.reset <= high:
        node.problem("reset", f"this code does not fit {field.width} bits, which carry {low} to {high}")


def _is_reached(field: Field, code: int) -> bool:
    if isinstance(field.scale, Linear):
        low, high = code_range(field.scale)
        return low <= code <= high
    return any(code == listed for listed, _ in field.scale.values)


def _check_overlaps(top: Node, fields: tuple[Field, ...]) -> None:
    for one, other in combinations(fields, 2):
        if one.register == other.register and one.mask & other.mask:
            top.problem(
                "fields",
                f"{one.quantity.key} and {other.quantity.key} share bits of register 0x{one.register:02X}",
                "Check 'low_bit' and 'width' of both.",
            )

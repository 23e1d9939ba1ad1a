"""One text of the design file becomes one value, or the words that say what is wrong with it and what was meant."""

import math
import re
from collections.abc import Callable, Iterable
from typing import Any, TypeVar

from chargewright.base.errors import QuantityError
from chargewright.base.near import nearest
from chargewright.base.units import Toleranced, parse, parse_toleranced, show, spellings_of
from chargewright.spec._shape import Shape
from chargewright.spec._tree import Scalar
from chargewright.spec._words import FALSE, NOTHING, TRUE, quoted, reads_as, visible
from chargewright.spec.fields import Info, Rated

_WHOLE = re.compile("[+-]?(?:0|[1-9][0-9]*)")
_LEADING = re.compile(r"\s*([+\-−–]?[0-9.]+(?:[eE][+-]?[0-9]+)?)\s*([^\s0-9±+\-.,]\S*)?")


T = TypeVar("T")


class Unfit(Exception):
    """A text that is not the value wanted; carries the message and the cure."""

    def __init__(self, message: str, cure: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.cure = cure


def value_of(shape: Shape, scalar: Scalar) -> Any:
    """Return the value that `scalar` stands for under the key of `shape`, in SI; raises Unfit."""
    if scalar.plain and scalar.text in NOTHING:
        example = example_of(shape)
        give = f"Give a value, for example {example}" if example else "Give a value"
        raise Unfit("Nothing stands here.", f"{give}{'' if shape.must_be_given else ', or delete the line'}.")
    return _READERS[shape.form](shape, scalar)


def found(scalar: Scalar) -> str:
    """Return what stands in the file, as a message quotes it: one line, not too long."""
    return scalar.text[:60] if scalar.plain and reads_as(scalar.text) else quoted(scalar.text)


def example_of(shape: Shape) -> str:
    """Return how a value of this key may be written, as a message quotes it."""
    if shape.form == "flag":
        return "true"
    if shape.form == "choice":
        return shape.choices[0]
    if shape.form == "whole" or shape.many or not shape.info.example:
        return shape.info.example
    return f'"{shape.info.example}"'


def _whole(shape: Shape, scalar: Scalar) -> int:
    info = shape.info
    if not _WHOLE.fullmatch(scalar.text) or len(scalar.text) > 18:
        as_number = _number_or_none(scalar.text)
        meant = f"Did you mean {round(as_number)}?" if as_number is not None and abs(as_number) < 1e6 else ""
        raise Unfit(f"A whole number is wanted, {info.low:g} … {info.high:g}: {info.why}.", meant)
    value = int(scalar.text)
    if not info.low <= value <= info.high:
        limits = f"is outside {info.low:g} … {info.high:g}" if info.low < info.high else f"is not {info.low:g}"
        raise Unfit(f"{value} {limits}: {info.why}.", f"For example {info.example}.")
    return value


def _number_or_none(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _number(shape: Shape, scalar: Scalar) -> float:
    info = shape.info

    def fits(text: str) -> bool:
        return info.low <= parse(text, info.unit) <= info.high

    value = _read(scalar.text, info, lambda text: parse(text, info.unit), fits)
    if not info.low <= value <= info.high:
        raise _outside(scalar.text, info.low, info.high, info.unit, info, fits)
    return value


def _band(shape: Shape, scalar: Scalar) -> Toleranced:
    info = shape.info

    def fits(text: str) -> bool:
        band = parse_toleranced(text, info.unit)
        return info.low <= band.low and band.high <= info.high

    band = _read(scalar.text, info, lambda text: parse_toleranced(text, info.unit), fits)
    for end, value in (("", band.typ), ("The lower end of ", band.low), ("The upper end of ", band.high)):
        if not _within(info.low, value, info.high):
            raise _outside(scalar.text, info.low, info.high, info.unit, info, fits, start=end)
    return band


def _within(low: float, value: float, high: float) -> bool:
    slack = 1e-9 * max(abs(low), abs(value))  # "100 % to ..." may come out a rounding below 1
    return low - slack <= value <= high + slack


def _rated(shape: Shape, scalar: Scalar) -> Rated:
    info = shape.info

    def fits(text: str) -> bool:
        current = _current(text)
        return info.low <= current.value <= (info.high_rate if current.per_capacity else info.high)

    current = _read(scalar.text, info, _current, fits)
    low, high, unit = (0.0, info.high_rate, "rate") if current.per_capacity else (info.low, info.high, "A")
    if not low <= current.value <= high:
        raise _outside(scalar.text, low, high, unit, info, fits)
    return current


def _current(text: str) -> Rated:
    try:
        return Rated(parse(text, "rate"), True)
    except QuantityError:
        pass
    try:
        return Rated(parse(text, "A"), False)
    except QuantityError as error:
        accepted = "a current (A, mA) or a multiple of the capacity per hour ('0.5 C')"
        raise QuantityError(error.found, accepted) from None


def _read(text: str, info: Info, reader: Callable[[str], T], fits: Callable[[str], bool]) -> T:
    try:
        return reader(text)
    except QuantityError as error:
        other = text.replace(",", ".", 1) if text.count(",") == 1 else None
        meant = other if other and _does(fits, other) else _meant(text, info, fits, known_only=True)
        raise Unfit(_sentence(str(error)), f'Did you mean "{meant}"?' if meant else "") from None


def _sentence(text: str) -> str:
    return text if text.endswith(("?", ".")) else f"{text}."


def _outside(
    text: str, low: float, high: float, unit: str, info: Info, fits: Callable[[str], bool], *, start: str = ""
) -> Unfit:
    plain = unit == "1" and high > 2.0
    low_text, high_text = (f"{low:g}", f"{high:g}") if plain else (show(low, unit), show(high, unit))
    meant = _meant(text, info, fits, known_only=False)
    message = f"{start}{visible(text.strip())} is outside {low_text} … {high_text}: {info.why}."
    return Unfit(message, f'Did you mean "{meant}"?' if meant else "")


def _meant(text: str, info: Info, fits: Callable[[str], bool], *, known_only: bool) -> str | None:
    """Return the same number with the unit that was probably meant: of those that fit, the nearest in size."""
    match = _LEADING.match(text[:80])
    if match is None:
        return None
    number, word = match[1], match[2]
    if known_only and word not in (None, "m"):  # an unknown or wrong unit has its hint in the message already
        return None
    units = ["rate", "A"] if info.unit == "A|rate" else [info.unit]
    options: list[tuple[float, int, str]] = []
    if word == "C" and "rate" in units and _does(fits, f"{float(number) / 1e3:g} C"):
        options.append((-1.0, 0, f"{float(number) / 1e3:g} C"))  # no prefix goes with C-rates
    for unit in units:
        for spelling in (*spellings_of(unit), *([""] if unit == "1" else [])):
            other = f"{number} {spelling}".strip() + text[match.end() :]
            if spelling != word and _does(fits, other):
                options.append((_distance(word, spelling, unit), len(options), other.replace("degC", "°C").strip()))
    return min(options)[2] if options else None


def _distance(word: str | None, spelling: str, unit: str) -> float:
    if word is None:
        return 0.0
    if word == "m" and spelling == "min":
        return -1.0
    try:
        size, other = (abs(parse(f"1 {s}" if s else "1", "dK" if unit == "K" else unit)) for s in (word, spelling))
    except QuantityError:
        return 9.0
    return abs(math.log10(size / other))


def _does(fits: Callable[[str], bool], text: str) -> bool:
    try:
        return fits(text)
    except QuantityError:
        return False


def _flag(shape: Shape, scalar: Scalar) -> bool:
    if scalar.plain and scalar.text in (*TRUE, *FALSE):
        return scalar.text in TRUE
    meant = {"yes": "true", "on": "true", "1": "true", "true": "true", "no": "false", "off": "false", "0": "false"}
    word = meant.get(scalar.text.lower(), "false" if scalar.text.lower() == "false" else "")
    quotes = ", without quotes" if word and not scalar.plain else ""
    raise Unfit(f"true or false is wanted: {shape.info.why}.", f"Did you mean {word}{quotes}?" if word else "")


def _choice(shape: Shape, scalar: Scalar) -> str:
    if scalar.text in shape.choices:
        return scalar.text
    raise Unfit(f"One of these is wanted: {', '.join(shape.choices)}.", did_you_mean(scalar.text, shape.choices))


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return the sentence that offers the nearest known word, or nothing."""
    close = nearest(word, known)
    return f'Did you mean "{close}"?' if close else ""


def _text(shape: Shape, scalar: Scalar) -> str:
    info, text = shape.info, scalar.text
    if scalar.plain:
        kind = reads_as(text)
        if kind:
            raise Unfit(f"{text[:40]} reads as {kind}, where a text is wanted: {info.why}.", f"Write {quoted(text)}.")
    if info.many_lines:
        text = text.rstrip()
    if not text.strip():
        raise Unfit("The text is empty.", f"For example {example_of(shape)}." if info.example else "")
    if len(text) > info.max_length:
        raise Unfit(f"The text has {len(text)} characters; at most {info.max_length} are accepted.")
    if not info.many_lines and (text != text.strip() or any(not c.isprintable() for c in text)):
        raise Unfit("The text has a line break, a blank at its end or an invisible character.", "Write it in one line.")
    return text


_READERS: dict[str, Callable[[Shape, Scalar], Any]] = {
    "number": _number,
    "whole": _whole,
    "band": _band,
    "rated": _rated,
    "flag": _flag,
    "choice": _choice,
    "text": _text,
}

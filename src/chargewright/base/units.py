"""Units: text becomes SI numbers in `parse`, SI numbers become text in `show`, and nowhere else.

Inside Chargewright everything is SI: volt, ampere, ohm, second, kelvin, coulomb, joule, ratio. The list of unit
spellings is closed, prefix case matters (mV is not MV), `m` is milli and never minutes, and a bare number where a
unit is due is an error: guessing is how 5 mohm becomes 5 ohm.
"""

import math
import re
from dataclasses import dataclass
from typing import Annotated, Any, TypeAlias

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import QuantityError
from chargewright.base.near import nearest

Real: TypeAlias = float | npt.NDArray[np.float64]

Volts = Annotated[Any, "V"]
Amps = Annotated[Any, "A"]
Ohms = Annotated[Any, "ohm"]
Watts = Annotated[Any, "W"]
Joules = Annotated[Any, "J"]
Coulombs = Annotated[Any, "C"]
Farads = Annotated[Any, "F"]
Henries = Annotated[Any, "H"]
Hertz = Annotated[Any, "Hz"]
Seconds = Annotated[Any, "s"]
Kelvins = Annotated[Any, "K"]
Ratio = Annotated[Any, "1"]
Metres = Annotated[Any, "m"]
SquareMetres = Annotated[Any, "m2"]
CubicMetres = Annotated[Any, "m3"]
Webers = Annotated[Any, "V*s"]
Teslas = Annotated[Any, "T"]
OhmMetres = Annotated[Any, "ohm*m"]
KelvinsPerWatt = Annotated[Any, "K/W"]
PerKelvin = Annotated[Any, "1/K"]
VoltsPerSecond = Annotated[Any, "V/s"]
WattsPerCubicMetre = Annotated[Any, "W/m3"]
SquareAmps = Annotated[Any, "A2"]
VoltsPerKelvin = Annotated[Any, "V/K"]
OhmsPerMetre = Annotated[Any, "ohm/m"]
VoltsPerCoulomb = Annotated[Any, "V/C"]
Duty = Annotated[Any, "1", (0.0, 1.0)]
"""A share of the period; the range catches per cent."""
AbsoluteKelvins = Annotated[Any, "K", (100.0, math.inf)]
"""An absolute temperature; the range catches degrees Celsius."""

ZERO_CELSIUS = 273.15
"""0 °C in kelvin (definition of the Celsius scale)."""

_PREFIX = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}
_NAMES = {
    "V": "voltage",
    "A": "current",
    "ohm": "resistance",
    "W": "power",
    "J": "energy",
    "C": "charge",
    "F": "capacitance",
    "H": "inductance",
    "Hz": "frequency",
    "s": "time",
    "K": "temperature",
    "dK": "temperature difference",
    "1": "ratio",
    "rate": "charge rate (current over capacity)",
    "m": "length",
    "m2": "area",
    "m3": "volume",
    "kg": "mass",
    "K/W": "thermal resistance",
    "J/K": "heat capacity",
    "V/s": "slew rate",
    "1/K": "temperature coefficient",
    "V/K": "entropic coefficient",
}
"""Every unit a field can be in, with the word for the quantity."""


@dataclass(frozen=True, slots=True)
class _Spelling:
    unit: str
    scale: float
    offset: float = 0.0


def _spellings() -> dict[str, _Spelling]:
    table: dict[str, _Spelling] = {}
    for prefixes, base, unit in (
        ("n u m k", "V", "V"),
        ("n u m", "A", "A"),
        ("u m k M", "ohm", "ohm"),
        ("n u m k", "W", "W"),
        ("n u m k", "J", "J"),
        ("p n u m", "F", "F"),
        ("n u m", "H", "H"),
        ("m k M", "Hz", "Hz"),
        ("n u m", "s", "s"),
        ("u m", "m", "m"),
        ("n u m", "C_oulomb", "C"),
    ):
        for prefix in ["", *prefixes.split()]:
            table[prefix + base.replace("C_oulomb", "coulomb")] = _Spelling(unit, _PREFIX[prefix])
    for prefix in ("", "m", "u"):
        table[prefix + "Ah"] = _Spelling("C", 3600.0 * _PREFIX[prefix])
    for prefix in ("", "m", "k"):
        table[prefix + "Wh"] = _Spelling("J", 3600.0 * _PREFIX[prefix])
    table |= {
        "nC": _Spelling("C", 1e-9),
        "uC": _Spelling("C", 1e-6),
        "min": _Spelling("s", 60.0),
        "h": _Spelling("s", 3600.0),
        "d": _Spelling("s", 86400.0),
        "degC": _Spelling("K", 1.0, ZERO_CELSIUS),
        "K": _Spelling("K", 1.0),
        "%": _Spelling("1", 0.01),
        "ppm": _Spelling("1", 1e-6),
        "C": _Spelling("rate", 1.0 / 3600.0),
        "cm": _Spelling("m", 0.01),
        "mm2": _Spelling("m2", 1e-6),
        "cm2": _Spelling("m2", 1e-4),
        "mm3": _Spelling("m3", 1e-9),
        "cm3": _Spelling("m3", 1e-6),
        "g": _Spelling("kg", 1e-3),
        "kg": _Spelling("kg", 1.0),
        "K/W": _Spelling("K/W", 1.0),
        "J/K": _Spelling("J/K", 1.0),
        "V/s": _Spelling("V/s", 1.0),
        "V/ms": _Spelling("V/s", 1e3),
        "V/us": _Spelling("V/s", 1e6),
        "mV/us": _Spelling("V/s", 1e3),
        "ppm/K": _Spelling("1/K", 1e-6),
        "%/K": _Spelling("1/K", 0.01),
        "mV/K": _Spelling("V/K", 1e-3),
    }
    return table


_SPELLINGS = _spellings()
_ALIASES = str.maketrans({"µ": "u", "μ": "u", "Ω": "ohm", "Ω": "ohm", "−": "-", "–": "-"})
_NUMBER = r"[+-]?(?:\d+(?:\.\d+)?|\.\d+)(?:[eE][+-]?\d{1,3})?"
_QUANTITY = re.compile(rf"({_NUMBER})\s*([^\s\d+\-±.,][^\s±]*)?")
_PLAIN = re.compile(_NUMBER, re.ASCII)
_MAX_TEXT = 80


@dataclass(frozen=True, slots=True)
class Toleranced:
    """A number with the band it may really have: `low` ≤ `typ` ≤ `high`, all in the same SI unit."""

    typ: float
    low: float
    high: float

    def scaled(self, factor: float) -> "Toleranced":
        """Return the band times a positive factor."""
        return Toleranced(self.typ * factor, self.low * factor, self.high * factor)


def exact(value: float) -> Toleranced:
    """Return `value` as a band of no width."""
    return Toleranced(value, value, value)


def unit_name(unit: str) -> str:
    """Return the trade's word for what `unit` measures; raises KeyError for a unit no field may have."""
    return _NAMES[unit]


def spellings_of(unit: str) -> tuple[str, ...]:
    """Return every spelling that `parse` accepts for an SI unit, in the order in which they are listed."""
    wanted = "K" if unit == "dK" else unit
    return tuple(text for text, spelling in _SPELLINGS.items() if spelling.unit == wanted)


def _clean(text: str) -> str:
    if len(text) > _MAX_TEXT:
        raise QuantityError(f"a quantity of {len(text)} characters", "one number and one unit, at most 80 characters")
    return text.strip().translate(_ALIASES).replace("°C", "degC").replace("+/-", "±")


def _known_spelling(spelling: str, unit: str, shown: str) -> _Spelling:
    known = _SPELLINGS.get(spelling)
    if known is None:
        close = nearest(spelling, spellings_of(unit))
        hint = f"did you mean {close!r}?" if close else f"one of {', '.join(spellings_of(unit)[:8])}"
        raise QuantityError(f"{shown!r} has the unit {spelling!r}, which is not known", hint)
    return known


def _to_si(number: str, spelling: str | None, unit: str, shown: str, *, difference: bool = False) -> float:
    value = float(number)
    if spelling is None:
        if unit == "1":
            return value
        accepted = ", ".join(spellings_of(unit)[:8])
        raise QuantityError(f"{shown!r} has no unit", f"a {_NAMES[unit]} with its unit ({accepted})")
    known = _known_spelling(spelling, unit, shown)
    if unit == "dK":
        difference, unit = True, "K"
    if known.unit != unit:
        raise QuantityError(
            f"{shown!r} is a {_NAMES[known.unit]}",
            f"a {_NAMES[unit]} ({', '.join(spellings_of(unit)[:8])})",
        )
    return value * known.scale + (0.0 if difference else known.offset)


def parse(text: str, unit: str) -> float:
    """Return the SI value of `text`, which must be one number and one unit of the kind `unit`.

    text : for example "10 mohm", "20 V", "-10 °C", "5 %"; decimal point, no thousands separators
    unit : the SI unit wanted, a key that `unit_name` knows; "dK" is a temperature difference
    Raises QuantityError, saying what was found and what is accepted.
    """
    cleaned = _clean(text)
    match = _QUANTITY.fullmatch(cleaned)
    if match is None:
        raise QuantityError(f"{text.strip()!r} is not a quantity", _what(unit))
    value = _to_si(match[1], match[2], unit, text.strip())
    if not math.isfinite(value):
        raise QuantityError(f"{text.strip()!r} is too large for a number", _what(unit))
    return value


@dataclass(frozen=True, slots=True)
class PlainUnit:
    """The unit in the head of a table's column, under which numbers stand without one."""

    spelling: str
    scale: float
    offset: float

    def read(self, text: str) -> float:
        """Return the SI value of a plain number; raises QuantityError for anything else."""
        if len(text) > _MAX_TEXT or not _PLAIN.fullmatch(text):
            shown = text if len(text) <= 20 else text[:20] + "..."
            raise QuantityError(f"{shown!r} is not a plain number", f"a number in {self.spelling}, like 4.7 or 1e-3")
        return float(text) * self.scale + self.offset

    def write(self, value: float, digits: int = 10) -> str:
        """Return an SI value as the plain number that `read` turns back into it, to `digits` digits."""
        return f"{(value - self.offset) / self.scale:.{digits}g}"


def plain_unit(spelling: str, unit: str) -> PlainUnit:
    """Return the unit that a column's head spells, for values of the kind `unit`; "1" is a ratio's own spelling.

    Raises QuantityError if the spelling is unknown or measures something else.
    """
    spelling = _clean(spelling)
    if unit == "1" and spelling == "1":
        return PlainUnit("1", 1.0, 0.0)
    known = _known_spelling(spelling, unit, spelling)
    if known.unit != unit:
        raise QuantityError(f"{spelling!r} is the unit of a {_NAMES[known.unit]}", _what(unit))
    return PlainUnit(spelling, known.scale, known.offset)


def parse_toleranced(text: str, unit: str) -> Toleranced:
    """Return the band of `text`: "20 V", "20 V ±5 %", "20 V ±0.5 V", "20 V +1 % -9 %" or "19 V to 21 V".

    unit : as in `parse`. Percentages are of the typical value; an offset unit (°C) takes differences in K.
    Raises QuantityError.
    """
    cleaned = _clean(text)
    low_high = re.fullmatch(rf"(.+?)\s+to\s+({_NUMBER}.*)", cleaned)
    if low_high:
        low, high = parse(low_high[1], unit), parse(low_high[2], unit)
        if low > high:
            raise QuantityError(f"{text.strip()!r} runs downwards", "the lower value first: 'LOW to HIGH'")
        return Toleranced((low + high) / 2.0, low, high)
    head = _QUANTITY.match(cleaned)
    if head is None:
        raise QuantityError(f"{text.strip()!r} is not a quantity", _what(unit))
    typ = parse(head[0], unit)
    rest = cleaned[head.end() :].strip()
    if not rest:
        return exact(typ)
    if rest.startswith("±"):
        band = abs(_deviation(rest[1:].strip(), typ, unit, text))
        return Toleranced(typ, typ - band, typ + band)
    both = re.fullmatch(rf"(\+\s*[^\s+-]+\s*[^\s\d+-]*)\s*(-\s*.+)", rest)
    if both is None:
        raise QuantityError(f"{text.strip()!r} has a tolerance that cannot be read", "'20 V ±5 %' or '20 V +1 % -9 %'")
    up = _deviation(both[1].replace(" ", "", 1) if both[1][1:2] == " " else both[1], typ, unit, text)
    down = _deviation(both[2].replace(" ", "", 1) if both[2][1:2] == " " else both[2], typ, unit, text)
    return Toleranced(typ, typ + down, typ + up)


def _deviation(text: str, typ: float, unit: str, shown: str) -> float:
    match = _QUANTITY.fullmatch(text)
    if match is None or match[2] is None:
        raise QuantityError(f"{shown.strip()!r} has a tolerance without a unit", "'±5 %' or '±0.5 V', with the unit")
    if match[2] == "%" and unit != "1":
        return abs(typ) * float(match[1]) / 100.0
    return _to_si(match[1], match[2], unit, shown.strip(), difference=True)


def _what(unit: str) -> str:
    return f"one number and one unit: a {_NAMES[unit]} ({', '.join(spellings_of(unit)[:8]) or 'no unit'})"


_SHOWN = {"ohm": "Ω", "1": "", "dK": "K", "V*s": "V·s", "ohm*m": "Ω·m", "ohm/m": "Ω/m"}
_SHOWN |= {"m2": "m²", "m3": "m³", "W/m3": "W/m³", "A2": "A²"}
_PREFIXABLE = {"V", "A", "ohm", "W", "J", "F", "H", "Hz", "s", "C", "m", "V*s", "T"}
_STEPS = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))


def show(value: float, unit: str, digits: int = 4) -> str:
    """Return an SI value as text for people: "150 mV", "99.25 %", "45 °C", "2 h 05 min".

    unit   : SI unit; "1" gives a percentage below 2 and a plain number above ("rate" gives the C-rate); charge is
             shown in Ah, large energies in Wh, temperatures in °C
    digits : significant digits
    """
    if value != value:
        return "not available"
    if math.isinf(value):
        return "unlimited" if value > 0 else "-unlimited"
    if unit == "K":
        return f"{_digits(value - ZERO_CELSIUS, min(digits, 4))} °C"
    if unit == "rate":
        return f"{_digits(value * 3600.0, digits)} C"
    if unit == "C" and abs(value) >= 1.0:
        return show_scaled(value / 3600.0, "Ah", digits)
    if unit == "J" and abs(value) >= 360.0:
        return show_scaled(value / 3600.0, "Wh", digits)
    if unit == "s" and abs(value) >= 90.0:
        return _clock(value)
    if unit == "1":
        return f"{_digits(value * 100.0, digits)} %" if abs(value) < 2.0 else _digits(value, digits)
    return (
        show_scaled(value, unit, digits)
        if unit in _PREFIXABLE
        else f"{_digits(value, digits)} {_SHOWN.get(unit, unit)}"
    )


def show_scaled(value: float, unit: str, digits: int = 4) -> str:
    """Return `value` with the SI prefix that leaves one to three digits before the point: "150 mV"."""
    text = _SHOWN.get(unit, unit)
    size = abs(value)
    if size < 1e-15:
        return f"0 {text}"
    for scale, prefix in _STEPS:
        if size >= scale * 0.9999995:
            return f"{_digits(value / scale, digits)} {prefix}{text}"
    return f"{value:.3g} {text}"


def _digits(value: float, digits: int) -> str:
    if value == 0.0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{min(decimals, 12)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _clock(seconds: float) -> str:
    minutes = round(abs(seconds) / 60.0)
    sign = "-" if seconds < 0 else ""
    if minutes < 60:
        return f"{sign}{minutes} min"
    days, rest = divmod(minutes, 1440)
    hours, minutes = divmod(rest, 60)
    return f"{sign}{days} d {hours} h" if days >= 3 else f"{sign}{days * 24 + hours} h {minutes:02d} min"

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

from chargewright.base._spellings import (
    MAX_TEXT,
    NAMES,
    NUMBER,
    SPELLINGS,
    UNIT_WORD,
    a_name,
    clean,
    known_spelling,
    listed,
    scaled,
    spelling_pattern,
    wanted,
)
from chargewright.base._spellings import ZERO_CELSIUS as ZERO_CELSIUS
from chargewright.base._spellings import spellings_of as spellings_of
from chargewright.base.errors import QuantityError

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
Teslas = Annotated[Any, "T"]
OhmMetres = Annotated[Any, "ohm*m"]
KelvinsPerWatt = Annotated[Any, "K/W"]
PerKelvin = Annotated[Any, "1/K"]
VoltsPerSecond = Annotated[Any, "V/s"]
SquareAmps = Annotated[Any, "A2"]
KelvinDifference = Annotated[Any, "dK"]
VoltsPerKelvin = Annotated[Any, "V/K"]
OhmsPerMetre = Annotated[Any, "ohm/m"]
VoltsPerCoulomb = Annotated[Any, "V/C"]
Duty = Annotated[Any, "1", (0.0, 1.0)]
"""A share of the period; the range catches per cent."""
AbsoluteKelvins = Annotated[Any, "K", (100.0, math.inf)]
"""An absolute temperature; the range catches degrees Celsius."""

_SIGNED = rf"[+-]?{NUMBER}"
_PLAIN = re.compile(_SIGNED)
_QUANTITY = re.compile(rf"({_SIGNED})\s*({UNIT_WORD})?")
_DURATION = re.compile(
    r"(-?)(?:([0-9]{1,6}) ?d)?\s*(?:([0-9]{1,6}) ?h)?\s*(?:([0-9]{1,6}) ?min)?\s*(?:([0-9]{1,6}) ?s)?"
)
_LOW_TO_HIGH = re.compile(rf"(.+?)\s+to\s+({_SIGNED}.*)")
_TOLERANCE = re.compile(
    rf"±\s*(?P<both>{NUMBER})\s*(?P<both_unit>{UNIT_WORD})?"
    rf"|\+\s*(?P<up>{NUMBER})\s*(?P<up_unit>{UNIT_WORD})?\s*-\s*(?P<down>{NUMBER})\s*(?P<down_unit>{UNIT_WORD})?"
)


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
    return NAMES[unit]


def _to_si(number: str, spelling: str | None, unit: str, shown: str, *, difference: bool = False) -> float:
    value = float(number)
    if spelling is None:
        if unit != "1":
            raise QuantityError(f"{shown!r} has no unit", f"{a_name(unit)} with its unit ({listed(unit)})")
    else:
        known = known_spelling(spelling, unit, shown)
        if unit == "dK":
            difference, unit = True, "K"
        if known.unit != unit:
            raise QuantityError(f"{shown!r} is {a_name(known.unit)}", f"{a_name(unit)} ({listed(unit)})")
        value = scaled(value, known.scale) + (0.0 if difference else known.offset)
    if not math.isfinite(value):
        raise QuantityError(f"{shown!r} is too large for a number", wanted(unit))
    if unit == "K" and value < 0.0 and not difference:
        raise QuantityError(f"{shown!r} is below absolute zero", wanted(unit))
    return value


def parse(text: str, unit: str) -> float:
    """Return the SI value of `text`, which must be one number and one unit of the kind `unit`.

    text : for example "10 mohm", "20 V", "-10 °C", "5 %"; decimal point, no thousands separators; for a time also
           "2 h 30 min"
    unit : the SI unit wanted, a key that `unit_name` knows; "dK" is a temperature difference
    Raises QuantityError, saying what was found and what is accepted.
    """
    cleaned = clean(text)
    match = _QUANTITY.fullmatch(cleaned)
    if match is None:
        if unit == "s" and (seconds := _duration(cleaned)) is not None:
            return seconds
        raise _not_a_quantity(cleaned, unit, text.strip())
    return _to_si(match[1], match[2], unit, text.strip())


def _duration(cleaned: str) -> float | None:
    match = _DURATION.fullmatch(cleaned)
    if match is None or not any(match.groups()[1:]):
        return None
    seconds = sum(int(n) * size for n, size in zip(match.groups()[1:], (86400, 3600, 60, 1), strict=True) if n)
    return -float(seconds) if match[1] else float(seconds)


def _not_a_quantity(cleaned: str, unit: str, shown: str) -> QuantityError:
    if re.search("[0-9],[0-9]", cleaned):
        return QuantityError(f"{shown!r} has a comma", "a decimal point and no thousands separators, like '1.5 V'")
    if re.search("[0-9][ _'][0-9]", cleaned):
        return QuantityError(f"{shown!r} has digits in groups", "a number without thousands separators, like '1500 V'")
    if re.search(r"±|[0-9]\s*\S*\s+(to\b|[+-])", cleaned):
        return QuantityError(f"{shown!r} has a tolerance, which is not wanted here", wanted(unit))
    return QuantityError(f"{shown!r} is not a quantity", wanted(unit))


@dataclass(frozen=True, slots=True)
class PlainUnit:
    """The unit in the head of a table's column, under which numbers stand without one."""

    spelling: str
    scale: float
    offset: float

    def read(self, text: str) -> float:
        """Return the SI value of a plain number; raises QuantityError for anything else."""
        if len(text) > MAX_TEXT or not _PLAIN.fullmatch(text):
            shown = text if len(text) <= 20 else text[:20] + "..."
            raise QuantityError(f"{shown!r} is not a plain number", f"a number in {self.spelling}, like 4.7 or 1e-3")
        value = scaled(float(text), self.scale) + self.offset
        if not math.isfinite(value):
            raise QuantityError(f"{text!r} is too large for a number", f"a number in {self.spelling}")
        return value

    def write(self, value: float, digits: int = 10) -> str:
        """Return an SI value as the plain number that `read` turns back into it, to `digits` digits."""
        return f"{(value - self.offset) / self.scale:.{digits}g}"


def plain_unit(spelling: str, unit: str) -> PlainUnit:
    """Return the unit that a column's head spells, for values of the kind `unit`; "1" is a ratio's own spelling.

    Raises QuantityError if the spelling is unknown or measures something else.
    """
    spelling = clean(spelling)
    if unit == "1" and spelling == "1":
        return PlainUnit("1", 1.0, 0.0)
    known = known_spelling(spelling, unit, spelling)
    if known.unit != unit:
        raise QuantityError(f"{spelling!r} is the unit of {a_name(known.unit)}", wanted(unit))
    return PlainUnit(spelling, known.scale, known.offset)


def parse_toleranced(text: str, unit: str) -> Toleranced:
    """Return the band of `text`: "20 V", "20 V ±5 %", "20 V ±0.5 V", "20 V +1 % -9 %" or "19 V to 21 V".

    unit : as in `parse`. Percentages are of the typical value. A ratio's tolerance is a plain number ("1.2 ±0.1"),
           since a percentage of a percentage can be read two ways; a temperature's is in K.
    Raises QuantityError.
    """
    cleaned, shown = clean(text), text.strip()
    low_high = _LOW_TO_HIGH.fullmatch(cleaned)
    if low_high:
        low, high = parse(low_high[1], unit), parse(low_high[2], unit)
        if low > high:
            raise QuantityError(f"{shown!r} runs downwards", "the lower value first: 'LOW to HIGH'")
        return Toleranced((low + high) / 2.0, low, high)
    head = _QUANTITY.match(cleaned)
    if head is None:
        raise _not_a_quantity(cleaned, unit, shown)
    typ = _to_si(head[1], head[2], unit, shown)
    rest = cleaned[head.end() :].strip()
    if not rest:
        return exact(typ)
    match = _TOLERANCE.fullmatch(rest)
    if match is None:
        raise QuantityError(f"{shown!r} has a tolerance that cannot be read", "'20 V ±5 %' or '20 V +1 % -9 %'")
    if match["both"]:
        up = down = _deviation(match["both"], match["both_unit"], typ, unit, shown)
    else:
        up = _deviation(match["up"], match["up_unit"], typ, unit, shown)
        down = _deviation(match["down"], match["down_unit"], typ, unit, shown)
    return Toleranced(typ, typ - down, typ + up)


def _deviation(number: str, spelling: str | None, typ: float, unit: str, shown: str) -> float:
    if unit == "1" and spelling is not None:
        raise QuantityError(f"{shown!r} can be read two ways", "for a ratio '1.2 ±0.1' or '110 % to 130 %'")
    if spelling is None and unit != "1":
        raise QuantityError(f"{shown!r} has a tolerance without a unit", "'±5 %' or '±0.5 V', with the unit")
    if spelling in ("%", "ppm") and unit not in ("K", "dK"):
        return abs(typ) * _to_si(number, spelling, "1", shown)
    return _to_si(number, spelling, unit, shown, difference=True)


def quantity_pattern(unit: str) -> str:
    """Return a regular expression (ECMA 262) that every text accepted by `parse` matches; a few more do, too."""
    spelling = rf"(?:\s*{spelling_pattern(unit)})" + ("?" if unit == "1" else "")
    several = rf"(?:\s*[0-9]+\s*{spelling_pattern(unit)})*" if unit == "s" else ""
    return rf"^\s*[+\-\u2212\u2013]?{NUMBER}{spelling}{several}\s*$"


def band_pattern(unit: str) -> str:
    """Return a regular expression (ECMA 262) that every text accepted by `parse_toleranced` matches."""
    one = quantity_pattern(unit)[1:-1]
    return rf"^{one}(?:(?:\+/-|[±+]).*|to\s+.*)?$"


_SHOWN = {"ohm": "Ω", "1": "", "dK": "K", "V*s": "V·s", "ohm*m": "Ω·m", "ohm/m": "Ω/m"}
_SHOWN |= {"m2": "m²", "m3": "m³", "W/m3": "W/m³", "A2": "A²"}
_PREFIXABLE = {"V", "A", "ohm", "W", "J", "F", "H", "Hz", "s", "C", "m", "V*s", "T"}
_STEPS = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))
WATT_HOURS_FROM = 360.0
"""Energy [J] from which `show` writes Wh."""
_SHOWN_AS = {"1/K": ("ppm/K", 1e6), "V/K": ("mV/K", 1e3), "m2": ("mm²", 1e6)}


def show(value: float, unit: str, digits: int = 4) -> str:
    """Return an SI value as text for people: "150 mV", "99.25 %", "45 °C", "2 h 05 min".

    unit   : SI unit; "1" gives a percentage below 2 and a plain number above ("rate" gives the C-rate); charge is
             shown in Ah, large energies in Wh, temperatures in °C, angles in degrees
    digits : significant digits
    """
    if value != value:
        return "not available"
    if math.isinf(value):
        return "unlimited" if value > 0 else "-unlimited"
    if unit == "K":
        return f"{_digits(_no_dust(value - ZERO_CELSIUS), min(digits, 4))} °C"
    if unit == "rad":
        return f"{_digits(_no_dust(math.degrees(value)), min(digits, 3))}°"
    if unit == "rate":
        return f"{_digits(value * 3600.0, digits)} C"
    if unit == "C" and (value == 0.0 or abs(value) >= 1.0):
        return show_scaled(value / 3600.0, "Ah", digits)
    if unit == "J" and abs(value) >= WATT_HOURS_FROM:
        return show_scaled(value / 3600.0, "Wh", digits)
    if unit == "s" and abs(value) >= 90.0:
        return _clock(value)
    if unit == "1":
        return f"{_digits(_no_dust(value * 100.0), digits)} %" if abs(value) < 2.0 else _digits(value, digits)
    if unit in _SHOWN_AS:
        name, factor = _SHOWN_AS[unit]
        return f"{_digits(value * factor, digits)} {name}"
    return (
        show_scaled(value, unit, digits)
        if unit in _PREFIXABLE
        else f"{_digits(value, digits)} {_SHOWN.get(unit, unit)}"
    )


def show_energy(joules: float, digits: int = 4) -> str:
    """Return an energy in Wh however small it is: for figures that stand side by side."""
    return show_scaled(joules / 3600.0, "Wh", digits)


def show_scaled(value: float, unit: str, digits: int = 4) -> str:
    """Return `value` with the SI prefix that leaves one to three digits before the point: "150 mV"."""
    text = _SHOWN.get(unit, unit)
    size = abs(float(f"{value:.{digits - 1}e}"))  # rounded first: 999.96 mV is 1 V, not 1000 mV
    if size < 1e-15:
        return f"0 {text}"
    for scale, prefix in _STEPS:
        if size >= scale * (1.0 - 1e-12):
            return f"{_digits(value / scale, digits)} {prefix}{text}"
    return f"{value:.3g} {text}"


def _no_dust(value: float) -> float:
    """Return zero for what rounding has left of it: degrees and per cent below a millionth mean nothing."""
    return 0.0 if abs(value) < 1e-6 else value


def _digits(value: float, digits: int) -> str:
    if value == 0.0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{min(decimals, 12)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _clock(seconds: float) -> str:
    size, sign = abs(seconds), "-" if seconds < 0 else ""
    if size < 600.0 and round(size) % 60:  # "2 min" for 100 s would be a fifth off
        return f"{sign}{round(size)} s"
    minutes = round(size / 60.0)
    if minutes < 60:
        return f"{sign}{minutes} min"
    days, rest = divmod(minutes, 1440)
    hours, minutes = divmod(rest, 60)
    return f"{sign}{days} d {hours} h" if days >= 3 else f"{sign}{days * 24 + hours} h {minutes:02d} min"


_SPELLED = {"K": ("degC",), "dK": ("K",), "1": ("%",)}
"""Units of which a file is written in one spelling only."""


def spell(value: float, unit: str) -> str:
    """Return an SI value as text for a file: `parse` reads it back to ten digits; ASCII but for the degree sign."""
    if unit == "1" and abs(value) >= 2.0:
        return f"{value:.10g}"
    options: list[tuple[bool, bool, int, int, str]] = []
    for spelling in _SPELLED.get(unit, spellings_of(unit)):
        known = SPELLINGS[spelling]
        number = (value - (known.offset if unit == "K" else 0.0)) / known.scale
        text = f"{number:.10g}"
        handy = number == 0.0 or 1.0 <= abs(float(text)) < 1000.0
        options.append((not handy, "e" in text, len(text), len(options), f"{text} {spelling}"))
    return min(options)[-1].replace("degC", "°C")


def spell_toleranced(band: Toleranced, unit: str) -> str:
    """Return a band as text for a file: `parse_toleranced` reads it back to nine digits."""
    typ, up, down = band.typ, band.high - band.typ, band.typ - band.low
    if up == down == 0.0:
        return spell(typ, unit)
    if unit == "1":
        low_to_high = f"{spell(band.low, unit)} to {spell(band.high, unit)}"
        return low_to_high if math.isclose(up, down) else f"{typ:.10g} +{up:.10g} -{down:.10g}"
    relative = unit != "K" and typ != 0.0
    size = "dK" if unit == "K" else unit
    up_text, down_text = (spell(d / abs(typ), "1") if relative else spell(d, size) for d in (up, down))
    same = math.isclose(up, down, rel_tol=1e-9)
    return f"{spell(typ, unit)} ±{up_text}" if same else f"{spell(typ, unit)} +{up_text} -{down_text}"

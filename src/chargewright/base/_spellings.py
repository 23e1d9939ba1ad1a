"""The closed list of unit spellings, and what a spelling that is not on it probably meant."""

import re
from dataclasses import dataclass

from chargewright.base.errors import QuantityError
from chargewright.base.near import nearest

ZERO_CELSIUS = 273.15
"""0 °C in kelvin (definition of the Celsius scale)."""

NAMES = {
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

NUMBER = r"(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
"""A number without sign: decimal point, no thousands separators, no bare point at the end."""
UNIT_WORD = r"[^\s0-9+\-±.,][^\s±+\-]*"
MAX_TEXT = 80

_PREFIX = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}
_ALIASES = str.maketrans(
    {
        "\u00b5": "u",  # micro sign
        "\u03bc": "u",  # Greek small mu
        "\u2126": "ohm",  # ohm sign
        "\u03a9": "ohm",  # Greek capital omega
        "\u2103": "degC",  # degree Celsius as one sign
        "\u2212": "-",  # minus sign
        "\u2013": "-",  # en dash
        "\u00b2": "2",
        "\u00b3": "3",
    }
)
_WORDS = {
    "V": "volt volts",
    "A": "amp amps ampere amperes",
    "ohm": "ohms r",
    "kohm": "k",
    "W": "watt watts",
    "s": "sec secs second seconds",
    "min": "mins minute minutes",
    "h": "hr hrs hour hours",
    "d": "day days",
    "degC": "celsius",
    "K": "kelvin kelvins",
    "%": "percent",
    "Hz": "hertz",
}
_MEANT = {word: spelling for spelling, words in _WORDS.items() for word in words.split()}


@dataclass(frozen=True, slots=True)
class Spelling:
    """How a spelling becomes SI: times `scale`, plus `offset` unless it is a difference."""

    unit: str
    scale: float
    offset: float = 0.0


def scaled(value: float, scale: float) -> float:
    """Return `value` times `scale`, rounded once: 25 ns is 2.5e-08 s, where 25 times 1e-9 is 2.5000000000000002e-08."""
    whole = round(1.0 / scale)
    return value / whole if whole > 1 and abs(whole * scale - 1.0) < 1e-12 else value * scale


def _table() -> dict[str, Spelling]:
    table: dict[str, Spelling] = {}
    for prefixes, base in (
        ("m u n k", "V"),
        ("m u n", "A"),
        ("m u k M", "ohm"),
        ("m u n k", "W"),
        ("m u n k", "J"),
        ("p n u m", "F"),
        ("m u n", "H"),
        ("k M G m", "Hz"),
        ("m u n", "s"),
        ("m u", "m"),
    ):
        for prefix in ["", *prefixes.split()]:
            table[prefix + base] = Spelling(base, _PREFIX[prefix])
    for prefix in ("", "m", "u"):
        table[prefix + "Ah"] = Spelling("C", 3600.0 * _PREFIX[prefix])
    for prefix in ("m", "u", "n", "p"):
        table[prefix + "C"] = Spelling("C", _PREFIX[prefix])
    for prefix in ("", "m", "k"):
        table[prefix + "Wh"] = Spelling("J", 3600.0 * _PREFIX[prefix])
    return table | {
        "coulomb": Spelling("C", 1.0),
        "min": Spelling("s", 60.0),
        "h": Spelling("s", 3600.0),
        "d": Spelling("s", 86400.0),
        "degC": Spelling("K", 1.0, ZERO_CELSIUS),
        "K": Spelling("K", 1.0),
        "%": Spelling("1", 0.01),
        "ppm": Spelling("1", 1e-6),
        "C": Spelling("rate", 1.0 / 3600.0),
        "cm": Spelling("m", 0.01),
        "mm2": Spelling("m2", 1e-6),
        "cm2": Spelling("m2", 1e-4),
        "m2": Spelling("m2", 1.0),
        "mm3": Spelling("m3", 1e-9),
        "cm3": Spelling("m3", 1e-6),
        "m3": Spelling("m3", 1.0),
        "g": Spelling("kg", 1e-3),
        "kg": Spelling("kg", 1.0),
        "K/W": Spelling("K/W", 1.0),
        "J/K": Spelling("J/K", 1.0),
        "V/s": Spelling("V/s", 1.0),
        "V/ms": Spelling("V/s", 1e3),
        "V/us": Spelling("V/s", 1e6),
        "mV/us": Spelling("V/s", 1e3),
        "ppm/K": Spelling("1/K", 1e-6),
        "%/K": Spelling("1/K", 0.01),
        "mV/K": Spelling("V/K", 1e-3),
    }


SPELLINGS = _table()


def spellings_of(unit: str) -> tuple[str, ...]:
    """Return every spelling that `parse` accepts for an SI unit, in the order in which they are listed."""
    wanted = "K" if unit == "dK" else unit
    return tuple(text for text, spelling in SPELLINGS.items() if spelling.unit == wanted)


def a_name(unit: str) -> str:
    """Return the word for what a unit measures, with its article: "a voltage", "an inductance"."""
    return f"{'an' if NAMES[unit][0] in 'aeiou' else 'a'} {NAMES[unit]}"


def listed(unit: str) -> str:
    """Return the spellings of a unit as a message lists them: "V, mV, uV, nV, kV"."""
    return ", ".join(spellings_of(unit)[:8]).replace("degC", "°C")


def wanted(unit: str) -> str:
    """Return what a message says is accepted: "one number and one unit: a voltage (V, mV, uV, nV, kV)"."""
    return f"one number and one unit: {a_name(unit)} ({listed(unit) or 'no unit'})"


def clean(text: str) -> str:
    """Return `text` with one sign for each of micro, ohm, degree Celsius, minus and plus-minus."""
    if len(text) > MAX_TEXT:
        raise QuantityError(
            f"a quantity of {len(text)} characters", f"one number and one unit, at most {MAX_TEXT} characters"
        )
    return text.strip().translate(_ALIASES).replace("°C", "degC").replace("+/-", "±")


def known_spelling(spelling: str, unit: str, shown: str) -> Spelling:
    """Return what `spelling` stands for; raises QuantityError with the spelling that was probably meant."""
    known = SPELLINGS.get(spelling)
    if known is None:
        meant = _probably_meant(spelling, unit)
        hint = f"; did you mean {meant!r}?" if meant else ""
        raise QuantityError(f"{shown!r} has the unit {spelling!r}, which is not known", (listed(unit) or "1") + hint)
    return known


def _probably_meant(spelling: str, unit: str) -> str | None:
    options = spellings_of(unit)
    same_letters = [o for o in options if o.lower() == spelling.lower()]
    if same_letters:  # "mOhm" is mohm and not Mohm: the letters in the same case decide
        return max(same_letters, key=lambda o: sum(a == b for a, b in zip(o, spelling, strict=True)))
    word = _MEANT.get(spelling.lower())
    meant = word if word in options else nearest(spelling, options)
    return meant.replace("degC", "°C") if meant else None


def spelling_pattern(unit: str) -> str:
    """Return a regular expression for the spellings of a unit, with every sign that `clean` takes for the same."""
    words = sorted(spellings_of(unit), key=len, reverse=True)
    signs = {"degC": "(?:deg|°)C|\u2103", "ohm": "(?:ohm|[\u2126\u03a9])", "u": "[u\u00b5\u03bc]"}
    patterns = []
    for word in words:
        pattern = re.escape(word)
        for plain, any_sign in signs.items():
            pattern = pattern.replace(plain, any_sign)
        patterns.append(re.sub("([23])$", lambda m: f"[{m[1]}{'²' if m[1] == '2' else '³'}]", pattern))
    return "(?:" + "|".join(patterns) + ")"

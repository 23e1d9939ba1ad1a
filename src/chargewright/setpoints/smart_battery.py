"""Smart Battery traffic: what each word between host, battery and charger means, in SI units, and back.

SBC: Smart Battery Charger Specification, SBD: Smart Battery Data Specification; both revision 1.1, SBS Implementers
Forum, December 1998. Bits and units of the charger were read there; battery commands were seen in open
implementations of SBD.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf
from typing import Literal

from chargewright.base.errors import LogError, OutOfRange
from chargewright.base.units import show
from chargewright.setpoints.smbus import Message, decode_frame, signed_word

CHARGER = 0x09
BATTERY = 0x0B

CHARGER_MODE, CHARGING_CURRENT, CHARGING_VOLTAGE, ALARM_WARNING = 0x12, 0x14, 0x15, 0x16
BATTERY_MODE = 0x03
CAPACITY_IN_ENERGY = 0x8000
"""Bit of the battery mode: capacities in 10 mWh and rates in 10 mW instead of mAh and mA."""
BROADCASTS_OFF = 0x4000
"""Bit of the battery mode: the battery does not write to the charger by itself."""

WAKE_UP_CURRENT_MAX = 0.1
"""Greatest current of a charge that nobody asked for [A]. SBC 6.1.8, p. 21."""
OFF_CURRENT_MAX = 0.01
"""Bound of the optional output in the off state [A]. SBC 6.1.8, p. 21."""
POLLING_MAX = 60.0
"""Longest interval at which a level 3 charger asks the battery [s]. SBC 5.2, p. 16."""

_UNLIMITED = 0xFFFF
_STOPPING_ALARMS = 0xF000

ALARM_BITS = {
    15: "over-charged",
    14: "terminate charge",
    13: "reserved alarm",
    12: "over temperature",
    11: "terminate discharge",
    9: "remaining capacity",
    8: "remaining time",
}
"""Upper bits of alarm warning and battery status. SBC 5.1.3 and appendix C; bits 9 and 8 as in a public list of SBD."""
CHARGER_MODE_BITS = {0: "inhibit", 1: "polling", 2: "power-on reset", 3: "requests to zero"}
"""SBC 5.1.4, p. 13."""
CHARGER_STATUS_BITS = {
    0: "inhibited",
    1: "polling",
    2: "voltage not in regulation",
    3: "current not in regulation",
    4: "level 2",
    5: "level 3",
    6: "current out of range",
    7: "voltage out of range",
    8: "safety signal open",
    9: "safety signal cold",
    10: "safety signal hot",
    11: "safety signal under range",
    12: "inhibited by alarm",
    13: "power fail",
    14: "battery present",
    15: "AC present",
}
"""SBC 5.1.5, p. 14."""
_BATTERY_MODE_BITS = {15: "capacities in energy", 14: "charger broadcasts off", 13: "alarm broadcasts off"}
_BATTERY_STATUS_BITS = {
    **ALARM_BITS,
    7: "initialised",
    6: "discharging",
    5: "fully charged",
    4: "fully discharged",
}

_SAFETY_SIGNAL = (
    ("under range", 0.0, 575.0),
    ("hot", 425.0, 3150.0),
    ("normal", 2850.0, 31.5e3),
    ("cold", 28.5e3, inf),
    ("open", 95e3, inf),
)
MUST_NOT_CHARGE = (575.0, 2850.0)
"""Safety-signal resistances between which no charger may charge [Ω]. SBC 6.1.1, p. 19."""

_Kind = Literal[
    "current wanted",
    "voltage wanted",
    "current",
    "voltage",
    "temperature",
    "capacity",
    "rate",
    "time",
    "share",
    "count",
]
_SCALES: dict[str, tuple[float, str]] = {
    "current wanted": (1e-3, "A"),
    "voltage wanted": (1e-3, "V"),
    "current": (1e-3, "A"),
    "voltage": (1e-3, "V"),
    "temperature": (0.1, "K"),
    "time": (60.0, "s"),
    "share": (0.01, "1"),
    "count": (1.0, ""),
}
_IN_CHARGE = {"capacity": (3.6, "C"), "rate": (1e-3, "A")}
"""mAh and mA, where the battery mode's bit 15 is clear."""
_IN_ENERGY = {"capacity": (36.0, "J"), "rate": (0.01, "W")}
"""10 mWh and 10 mW, where it is set."""
_SIGNED = ("current", "rate")
_MAY_BE_UNLIMITED = ("current wanted", "voltage wanted", "time")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entry:
    name: str
    kind: _Kind | None = None
    """None for a word of flags."""
    bits: dict[int, str] | None = None


_CHARGER_COMMANDS = {
    0x11: _Entry(name="charger specification"),
    CHARGER_MODE: _Entry(name="charger mode", bits=CHARGER_MODE_BITS),
    0x13: _Entry(name="charger status", bits=CHARGER_STATUS_BITS),
    CHARGING_CURRENT: _Entry(name="charging current", kind="current wanted"),
    CHARGING_VOLTAGE: _Entry(name="charging voltage", kind="voltage wanted"),
    ALARM_WARNING: _Entry(name="alarm warning", bits=ALARM_BITS),
}
_BATTERY_COMMANDS = {
    0x01: _Entry(name="remaining capacity alarm", kind="capacity"),
    0x02: _Entry(name="remaining time alarm", kind="time"),
    BATTERY_MODE: _Entry(name="battery mode", bits=_BATTERY_MODE_BITS),
    0x04: _Entry(name="at rate", kind="rate"),
    0x08: _Entry(name="temperature", kind="temperature"),
    0x09: _Entry(name="voltage", kind="voltage"),
    0x0A: _Entry(name="current", kind="current"),
    0x0B: _Entry(name="average current", kind="current"),
    0x0C: _Entry(name="largest error", kind="share"),
    0x0D: _Entry(name="relative state of charge", kind="share"),
    0x0E: _Entry(name="absolute state of charge", kind="share"),
    0x0F: _Entry(name="remaining capacity", kind="capacity"),
    0x10: _Entry(name="full charge capacity", kind="capacity"),
    0x11: _Entry(name="run time to empty", kind="time"),
    0x12: _Entry(name="average time to empty", kind="time"),
    0x13: _Entry(name="average time to full", kind="time"),
    CHARGING_CURRENT: _Entry(name="charging current wanted", kind="current wanted"),
    CHARGING_VOLTAGE: _Entry(name="charging voltage wanted", kind="voltage wanted"),
    0x16: _Entry(name="battery status", bits=_BATTERY_STATUS_BITS),
    0x17: _Entry(name="cycle count", kind="count"),
    0x18: _Entry(name="design capacity", kind="capacity"),
    0x19: _Entry(name="design voltage", kind="voltage"),
}
_COMMANDS = {CHARGER: ("charger", _CHARGER_COMMANDS), BATTERY: ("battery", _BATTERY_COMMANDS)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What one word said."""

    device: str
    name: str
    kind: Literal["write", "read"]
    word: int
    value: float | None
    """SI value; None for flags and for words without a known meaning."""
    unit: str
    flags: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The reading for people: "battery: current -1.5 A"."""
        said = show(self.value, self.unit) if self.value is not None else ", ".join(self.flags) or f"0x{self.word:04X}"
        return f"{self.device}: {self.name} {said}"


def charging_current_word(i: float) -> int:
    """Return the word that asks the charger for `i` in A, rounded down to 1 mA; infinite asks for no limit."""
    return _request("charging current", i)


def charging_voltage_word(v: float) -> int:
    """Return the word that asks the charger for `v` in V, rounded down to 1 mV; infinite asks for no limit."""
    return _request("charging voltage", v)


def flags_word(names: tuple[str, ...], bits: dict[int, str]) -> int:
    """Return the word in which the named bits are set; raises OutOfRange for a name that `bits` does not have."""
    by_name = {name: bit for bit, name in bits.items()}
    for name in names:
        if name not in by_name:
            raise OutOfRange(f"no bit is called {name!r}; known: {', '.join(by_name)}")
    return sum(1 << by_name[name] for name in set(names))


def stops_charge(alarm_word: int) -> bool:
    """Return whether an alarm warning obliges the charger to stop: any of the upper four bits (SBC 5.1.3, p. 12)."""
    return bool(alarm_word & _STOPPING_ALARMS)


def safety_signal(r: float) -> tuple[str, ...]:
    """Return how a charger may see a safety-signal resistance in Ω; two names where the bands overlap on purpose."""
    if r < 0.0:
        raise OutOfRange(f"a safety-signal resistance of {r:g} ohm is below zero")
    return tuple(name for name, low, high in _SAFETY_SIGNAL if low <= r <= high)


def interpret(message: Message, capacity_in_energy: bool = False) -> Reading:
    """Return the quantity that a message carries.

    capacity_in_energy : the battery's mode bit 15; without it a factor of ten and another unit go unnoticed
    """
    device, commands = _COMMANDS.get(message.address, (f"device 0x{message.address:02X}", {}))
    entry = commands.get(message.command, _Entry(name=f"command 0x{message.command:02X}"))
    value, unit = _si(entry.kind, message.word, capacity_in_energy) if entry.kind else (None, "")
    return Reading(
        device=device,
        name=entry.name,
        kind=message.kind,
        word=message.word,
        value=value,
        unit=unit,
        flags=tuple(name for bit, name in (entry.bits or {}).items() if message.word >> bit & 1),
    )


def read_capture(text: str, pec: bool = True, capacity_in_energy: bool = False) -> Iterator[Reading]:
    """Yield what captured traffic says: one frame a line, bytes in hexadecimal, "#" starts a comment.

    The battery's capacity unit follows the battery mode as it passes by; `capacity_in_energy` is what holds before.
    Raises LogError, with the line, for what is no frame or has a wrong error code.
    """
    for number, line in enumerate(text.splitlines(), start=1):
        plain = line.partition("#")[0].strip()
        if not plain:
            continue
        try:
            message = decode_frame(bytes.fromhex(plain), pec)
        except ValueError as error:
            raise LogError(f"line {number}: {plain[:60]!r} is not a row of bytes such as '12 14 B8 0B 94'") from error
        except LogError as error:
            raise LogError(f"line {number}: {error}") from error
        if (message.address, message.command) == (BATTERY, BATTERY_MODE):
            capacity_in_energy = bool(message.word & CAPACITY_IN_ENERGY)
        yield interpret(message, capacity_in_energy)


def _request(name: str, value: float) -> int:
    if value == inf:
        return _UNLIMITED
    if not 0.0 <= value < _UNLIMITED / 1e3:
        raise OutOfRange(f"{name} {value:g} is outside 0 … 65.534; 'no limit' is asked for by an infinite value")
    return int(value * 1e3 + 1e-6)


def _si(kind: _Kind, word: int, capacity_in_energy: bool) -> tuple[float, str]:
    scale, unit = (_IN_ENERGY if capacity_in_energy else _IN_CHARGE).get(kind) or _SCALES[kind]
    if kind in _MAY_BE_UNLIMITED and word == _UNLIMITED:
        return inf, unit
    return (signed_word(word) if kind in _SIGNED else word) * scale, unit

"""Sources as the design file describes them: fixed adapters, USB Power Delivery, plain Type-C."""

from dataclasses import dataclass
from typing import Literal

from chargewright.base.units import Toleranced
from chargewright.spec.fields import group, quantity, text

Overload = Literal["constant-current", "fold-back", "latch-off", "hiccup"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CableSpec:
    """The cable between source and product, both conductors together, with its connectors."""

    resistance: float = quantity(
        "ohm", low=0.0, high=2.0, example="60 mohm", default=0.06, why="loop resistance of both conductors"
    )
    connectors: float = quantity(
        "ohm",
        low=0.0,
        high=1.0,
        example="20 mohm",
        default=0.02,
        why="contact resistance of all connectors in the loop",
    )
    inductance: float = quantity("H", low=0.0, high=1e-4, example="1 uH", default=1.0e-6, why="loop inductance")


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedSourceSpec:
    """An adapter or supply with one output voltage."""

    kind: Literal["fixed"] = text(default="fixed", why="kind of source")
    name: str = text(why="what the source is called here", example="wall adapter")
    voltage: Toleranced = quantity(
        "V", low=3.0, high=80.0, example="20 V ±5 %", why="no-load voltage at the source's own connector"
    )
    current: float = quantity("A", low=0.1, high=40.0, example="3.25 A", why="rated output current")
    droop: float = quantity(
        "ohm", low=0.0, high=2.0, example="20 mohm", default=0.02, why="output resistance inside the source"
    )
    cable: CableSpec = group(default=CableSpec(), why="the cable from the source to the product")
    overload: Overload = text(default="hiccup", why="what the source does beyond its overload limit")
    overload_limit: Toleranced = quantity(
        "1",
        low=1.0,
        high=5.0,
        example="115 % to 150 %",
        default=Toleranced(1.3, 1.1, 1.5),
        why="trip point over rated current, with its band",
    )
    overload_time: float = quantity(
        "s", low=0.0, high=60.0, example="2 ms", default=2e-3, why="how long the source stands more than rated current"
    )
    over_voltage: float = quantity(
        "1", low=1.0, high=2.5, example="125 %", default=1.25, why="highest fault voltage over nominal"
    )
    efficiency: float = quantity(
        "1", low=0.3, high=1.0, example="88 %", default=0.88, why="average efficiency from the wall"
    )
    no_load: float = quantity("W", low=0.0, high=5.0, example="0.1 W", default=0.1, why="wall power with nothing drawn")


@dataclass(frozen=True, slots=True, kw_only=True)
class UsbPdSourceSpec:
    """A source that speaks USB Power Delivery and offers several objects."""

    kind: Literal["usb-pd"] = text(default="usb-pd", why="kind of source")
    name: str = text(why="what the source is called here", example="USB-C charger")
    power: float = quantity(
        "W", low=15.0, high=240.0, example="65 W", why="rated power; gives the objects by the power rule"
    )
    objects: tuple[str, ...] = group(
        default=(),
        why="offered objects, if not by the power rule",
        example='["9 V 3 A", "20 V 3.25 A", "3.3 V to 21 V 3 A"]',
        max_items=11,
    )
    programmable: bool = text(
        default=False, why="whether a programmable range (PPS, or AVS above 100 W) is offered too"
    )
    cable_rating: float = quantity(
        "A", low=1.5, high=5.0, example="5 A", default=5.0, why="current rating of the cable"
    )
    cable: CableSpec = group(
        default=CableSpec(resistance=0.13, connectors=0.02), why="the cable from the source to the product"
    )
    droop: float = quantity(
        "ohm", low=0.0, high=2.0, example="20 mohm", default=0.02, why="output resistance inside the source"
    )
    overload: Overload = text(default="hiccup", why="what the source does beyond its overload limit")
    overload_limit: Toleranced = quantity(
        "1",
        low=1.0,
        high=5.0,
        example="110 % to 140 %",
        default=Toleranced(1.2, 1.05, 1.4),
        why="trip point over contract current",
    )
    overload_time: float = quantity(
        "s", low=0.0, high=60.0, example="1 ms", default=1e-3, why="how long more than the contract is stood"
    )
    over_voltage: float = quantity(
        "1", low=1.0, high=2.5, example="120 %", default=1.20, why="highest fault voltage over the contract's"
    )
    efficiency: float = quantity(
        "1", low=0.3, high=1.0, example="88 %", default=0.88, why="average efficiency from the wall"
    )
    no_load: float = quantity(
        "W", low=0.0, high=5.0, example="75 mW", default=0.075, why="wall power with nothing drawn"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TypeCSourceSpec:
    """A Type-C port without Power Delivery: 5 V and an advertised current."""

    kind: Literal["type-c"] = text(default="type-c", why="kind of source")
    name: str = text(why="what the source is called here", example="laptop port")
    advertisement: Literal["default", "1.5 A", "3 A"] = text(
        default="3 A", why="advertised current; default stands for 0.5 A"
    )
    cable: CableSpec = group(
        default=CableSpec(resistance=0.2, connectors=0.03), why="the cable from the source to the product"
    )
    efficiency: float = quantity(
        "1", low=0.3, high=1.0, example="82 %", default=0.82, why="average efficiency from the wall"
    )
    no_load: float = quantity(
        "W", low=0.0, high=5.0, example="75 mW", default=0.075, why="wall power with nothing drawn"
    )


SourceSpec = FixedSourceSpec | UsbPdSourceSpec | TypeCSourceSpec

"""What a controller can be told: the closed list of quantities that a field of a controller file may set."""

from dataclasses import dataclass
from typing import Literal

Direction = Literal["down", "up", "nearest"]
"""Where a set-point may lie when no code fits: never above what is asked, never below it, or as near as can be."""

Place = Literal["pack", "source", ""]
"""Whose sense resistor turns a current into what the controller sees; "" for what is no current."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One thing that a controller can be told."""

    key: str
    title: str
    unit: str
    safe: Direction
    """The direction of rounding that protects: a Want may ask for another."""
    stage: int
    """Place in the order of writing: time-outs, limits, voltages, currents, and the switch that starts it all last."""
    why: str
    sense: Place = ""


_ALL = (
    Quantity(
        key="watchdog",
        title="host time-out",
        unit="s",
        safe="down",
        stage=0,
        why="how long the controller trusts its host without hearing from it",
    ),
    Quantity(
        key="input_current",
        title="source current limit",
        unit="A",
        safe="down",
        stage=1,
        sense="source",
        why="greatest current drawn from the source",
    ),
    Quantity(
        key="input_voltage",
        title="source voltage floor",
        unit="V",
        safe="up",
        stage=1,
        why="source voltage below which the charge is cut back",
    ),
    Quantity(
        key="bus_minimum",
        title="lowest bus voltage",
        unit="V",
        safe="up",
        stage=1,
        why="voltage below which the bus is not let down to a flat pack",
    ),
    Quantity(
        key="discharge_current",
        title="discharge current limit",
        unit="A",
        safe="down",
        stage=1,
        sense="pack",
        why="greatest current taken from the pack",
    ),
    Quantity(
        key="charge_voltage",
        title="charge voltage",
        unit="V",
        safe="down",
        stage=2,
        why="voltage of the whole pack in the CV phase",
    ),
    Quantity(
        key="recharge_drop",
        title="recharge drop",
        unit="V",
        safe="up",
        stage=2,
        why="fall of the pack voltage that starts a new charge",
    ),
    Quantity(
        key="precharge_voltage",
        title="precharge threshold",
        unit="V",
        safe="up",
        stage=2,
        why="pack voltage up to which only the precharge current flows",
    ),
    Quantity(
        key="safety_timer",
        title="charge timer",
        unit="s",
        safe="down",
        stage=3,
        why="longest charge before it is broken off",
    ),
    Quantity(
        key="precharge_timer",
        title="precharge timer",
        unit="s",
        safe="down",
        stage=3,
        why="longest precharge before it is broken off",
    ),
    Quantity(
        key="precharge_current",
        title="precharge current",
        unit="A",
        safe="down",
        stage=4,
        sense="pack",
        why="charge current of a flat pack",
    ),
    Quantity(
        key="termination_current",
        title="termination current",
        unit="A",
        safe="up",
        stage=4,
        sense="pack",
        why="current that ends the taper; too low a value never ends it",
    ),
    Quantity(
        key="charge_current",
        title="charge current",
        unit="A",
        safe="down",
        stage=5,
        sense="pack",
        why="current of the pack in the CC phase",
    ),
    Quantity(
        key="charge_enable",
        title="charge switch",
        unit="1",
        safe="nearest",
        stage=6,
        why="1 lets the pack be charged, 0 does not",
    ),
)

QUANTITIES: dict[str, Quantity] = {quantity.key: quantity for quantity in _ALL}

"""The pack and its charge as the design file describes them."""

from dataclasses import dataclass
from typing import Literal

from chargewright.base.units import Toleranced
from chargewright.spec.fields import Rated, band, group, quantity, rate, text


@dataclass(frozen=True, slots=True, kw_only=True)
class AgeingSpec:
    """What is left of a pack at the end of its life, against a new one."""

    capacity: float = quantity(
        "1", low=0.3, high=1.0, example="80 %", default=1.0, why="capacity over that of a new pack"
    )
    resistance: float = quantity(
        "1", low=1.0, high=10.0, example="150 %", default=1.0, why="resistance of the cells over that of new ones"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PackSpec:
    """A pack of equal cells: series groups of parallel cells."""

    cell: str = text(
        why="a generic cell (nmc-energy, nmc-power, lfp, lco), or a cell table (.csv) or BPX file (.json)",
        example="nmc-energy",
        names_file=True,
    )
    series: int = quantity("1", low=1, high=16, example="2", why="cells in series; declared, never guessed")
    parallel: int = quantity("1", low=1, high=64, example="1", default=1, why="cells in parallel")
    capacity: float | None = quantity(
        "C",
        low=360.0,
        high=1.8e6,
        example="5 Ah",
        default=None,
        why="rated capacity of one cell, if not the cell model's own",
    )
    v_cell_max: float | None = quantity(
        "V",
        low=2.0,
        high=5.0,
        example="4.20 V",
        default=None,
        why="charge-voltage limit of one cell, if not the cell model's own",
    )
    v_cell_min: float | None = quantity(
        "V",
        low=1.0,
        high=4.0,
        example="3.0 V",
        default=None,
        why="lowest working voltage of one cell, if not the cell model's own",
    )
    interconnect: Toleranced = quantity(
        "ohm",
        low=0.0,
        high=1.0,
        example="5 mohm",
        default=band(5e-3, 0.2),
        why="tabs, welds, wires and connector of the whole pack",
    )
    protection: Toleranced = quantity(
        "ohm",
        low=0.0,
        high=1.0,
        example="12 mohm",
        default=band(12e-3, 0.2),
        why="protection switches and fuse of the whole pack",
    )
    lead_inductance: float = quantity(
        "H", low=0.0, high=1e-4, example="200 nH", default=2e-7, why="inductance of the pack leads"
    )
    sensed_at: Literal["cells", "converter"] = text(
        default="cells", why="where the pack voltage is sensed for the CV phase"
    )
    spread_capacity: float = quantity(
        "1", low=0.0, high=0.5, example="2 %", default=0.02, why="largest capacity difference between cells"
    )
    spread_resistance: float = quantity(
        "1", low=0.0, high=1.0, example="10 %", default=0.10, why="largest resistance difference between cells"
    )
    spread_soc: float = quantity(
        "1",
        low=0.0,
        high=0.5,
        example="1 %",
        default=0.0,
        why="largest difference of state of charge that self-discharge leaves between cells",
    )
    balance_current: float = quantity(
        "A", low=0.0, high=5.0, example="50 mA", default=0.0, why="current that balancing takes from the highest cell"
    )
    balance_from: float | None = quantity(
        "V",
        low=1.0,
        high=5.0,
        example="4.1 V",
        default=None,
        why="cell voltage above which balancing acts; else 100 mV below the charge voltage",
    )
    ageing: AgeingSpec | None = group(
        default=None, why="the pack at the end of its life; its charge and run time are then reported too"
    )
    i_discharge_max: Rated | None = quantity(
        "A|rate",
        low=0.0,
        high=500.0,
        example="2 C",
        default=None,
        why="greatest lasting discharge current of the pack, if not the cell model's own",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeStepSpec:
    """One constant-current step that comes before the last one."""

    until: float = quantity("V", low=1.0, high=5.0, example="4.05 V", why="voltage per cell that ends the step")
    current: Rated = quantity(
        "A|rate", low=0.0, high=200.0, high_c=20.0, example="1 C", why="current of the pack in this step"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class WakeSpec:
    """How a pack that is flat or whose protection has opened is woken up."""

    current: Rated = quantity(
        "A|rate", low=0.0, high=10.0, high_c=1.0, example="0.02 C", default=rate(0.02), why="trickle into the pack"
    )
    until: float = quantity(
        "V", low=0.5, high=4.0, example="2.5 V", default=2.5, why="voltage per cell at which precharge takes over"
    )
    timer: float = quantity(
        "s",
        low=1.0,
        high=2e4,
        example="10 min",
        default=600.0,
        why="time after which a pack that does not rise is refused",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeSpec:
    """The wanted charge; what is not given comes from the cell model."""

    current: Rated = quantity(
        "A|rate",
        low=0.0,
        high=200.0,
        high_c=20.0,
        example="0.5 C",
        default=rate(0.5),
        why="constant current of the pack",
    )
    precharge: Rated = quantity(
        "A|rate",
        low=0.0,
        high=50.0,
        high_c=2.0,
        example="0.1 C",
        default=rate(0.1),
        why="current below the precharge threshold",
    )
    steps: tuple[ChargeStepSpec, ...] = group(
        default=(), max_items=8, why="constant-current steps before `current` takes over, by rising voltage"
    )
    wake: WakeSpec | None = group(default=None, why="trickle for a pack below its wake-up voltage; none if left out")
    termination: Rated = quantity(
        "A|rate",
        low=0.0,
        high=50.0,
        high_c=2.0,
        example="0.05 C",
        default=rate(0.05),
        why="current that ends the taper",
    )
    recharge_drop: float = quantity(
        "V", low=0.01, high=0.5, example="100 mV", default=0.1, why="fall per cell that starts a new charge"
    )
    timer: float = quantity(
        "s", low=600.0, high=2e5, example="10 h", default=36000.0, why="safety timer of the whole charge"
    )
    precharge_timer: float = quantity(
        "s", low=60.0, high=4e4, example="30 min", default=1800.0, why="safety timer of the precharge"
    )
    timer_rule: Literal["runs", "pauses", "half"] = text(
        default="runs", why="what the timers do while the source cuts the charge back: run on, pause, go at half speed"
    )
    v_error: float = quantity(
        "1", low=0.0, high=0.05, example="0.5 %", default=0.005, why="accuracy of the charge voltage"
    )
    i_error: float = quantity(
        "1", low=0.0, high=0.2, example="3 %", default=0.03, why="gain error of the charge current"
    )
    sense_offset: float = quantity(
        "V", low=0.0, high=5e-3, example="0.1 mV", default=1e-4, why="offset of the current-sense amplifier"
    )

"""The system as the design file describes it: rails or a plain bus load, modes, peaks, a day."""

from dataclasses import dataclass
from typing import Literal

from chargewright.spec.fields import group, quantity, text

Regulator = Literal["buck", "boost", "buck-boost", "linear", "direct"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RailSpec:
    """One supply rail of the system and the regulator that makes it from the bus."""

    name: str = text(why="what the rail is called", example="core")
    voltage: float = quantity(
        "V", low=0.3, high=60.0, example="3.3 V", why="rail voltage (for a direct load: its nominal voltage)"
    )
    power: float = quantity(
        "W", low=0.0, high=2000.0, example="6 W", why="power that the rail delivers in the busiest lasting mode"
    )
    regulator: Regulator = text(default="buck", why="how the rail is made from the bus")
    bus_min: float | None = quantity(
        "V", low=0.5, high=80.0, example="5 V", default=None, why="lowest bus at which the rail still works"
    )
    bus_max: float | None = quantity(
        "V", low=0.5, high=100.0, example="24 V", default=None, why="highest bus that the regulator stands"
    )
    f_sw: float = quantity(
        "Hz", low=1e4, high=5e6, example="800 kHz", default=8e5, why="switching frequency of the regulator"
    )
    input_capacitance: float | None = quantity(
        "F",
        low=0.0,
        high=5e-3,
        example="22 uF",
        default=None,
        why="capacitance at the rail's input, what the bus voltage leaves of it; 10 µF if not given",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ModeSpec:
    """A lasting mode of the system."""

    name: str = text(why="what the mode is called", example="work")
    power: float = quantity(
        "W", low=0.0, high=2000.0, example="12 W", why="power delivered by all rails together in this mode"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakSpec:
    """A load peak that rides on a mode."""

    power: float = quantity(
        "W", low=0.0, high=4000.0, example="45 W", why="power delivered by all rails together during the peak"
    )
    duration: float = quantity("s", low=1e-6, high=3600.0, example="10 ms", why="how long a peak lasts")
    duty: float = quantity("1", low=0.0, high=1.0, example="5 %", default=0.02, why="share of time spent in peaks")


@dataclass(frozen=True, slots=True, kw_only=True)
class UsageSpec:
    """One stretch of the day."""

    mode: str = text(why="name of a mode, or 'off'", example="work")
    source: str = text(why="name of a source, or 'none'", example="wall adapter")
    duration: float = quantity("s", low=1.0, high=604800.0, example="4 h", why="how long it lasts")
    contract: str | None = text(
        default=None, why="contract of the source that is in force, if not the path's own choice", example="9 V"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SystemSpec:
    """What hangs on the bus."""

    load: float | None = quantity(
        "W", low=0.0, high=2000.0, example="12 W", default=None, why="a plain load, if no rails are listed"
    )
    rails: tuple[RailSpec, ...] = group(
        default=(), why="rails with their regulators; without them one generic buck rail is assumed"
    )
    modes: tuple[ModeSpec, ...] = group(default=(), why="lasting modes; without them one mode 'work' at the full load")
    peak: PeakSpec | None = group(default=None, why="the load peak to be survived")
    standby: float = quantity(
        "W", low=0.0, high=50.0, example="20 mW", default=0.02, why="power that the switched-off product still draws"
    )
    boot: float | None = quantity(
        "W",
        low=0.0,
        high=2000.0,
        example="10 W",
        default=None,
        why="power needed while starting, also with a flat pack",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class AmbientSpec:
    """Temperatures around the product and how its heat leaves."""

    cold: float = quantity("K", low=213.15, high=333.15, example="0 °C", default=273.15, why="coldest ambient")
    typical: float = quantity("K", low=213.15, high=343.15, example="25 °C", default=298.15, why="usual ambient")
    hot: float = quantity("K", low=233.15, high=373.15, example="40 °C", default=313.15, why="hottest ambient")
    board: float = quantity(
        "K/W", low=0.1, high=200.0, example="12 K/W", default=12.0, why="thermal resistance from the board to ambient"
    )

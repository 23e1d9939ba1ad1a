"""The parts that fill a path's graph: resistances with temperature, the stage's switches and coil, the rails."""

from dataclasses import dataclass
from typing import Any

from chargewright.network.graph import WireKind
from chargewright.network.stage import CoilAt, Setting, SwitchAt
from chargewright.parts.regulator import Regulator
from chargewright.parts.switch import Switch


@dataclass(frozen=True, slots=True, kw_only=True)
class WireParts:
    """A wire's resistance at 25 °C, its temperature law, and how its heat leaves. Fields may be arrays."""

    r_25: Any
    temp_co: float = 0.0
    rth: float = 0.0
    """From one of its bodies to the board [K/W]."""
    bodies: int = 1
    """Equal bodies that share the loss: 2 for a blocking pair."""
    on_board: bool = True
    """Whether its heat goes into the product's board (a cable's and a source's do not)."""
    v_diode: float = 0.0
    """Drop of the body diode of an open channel [V]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HotPart:
    """How one part of the stage warms: coefficient of its resistance and way of its heat to the board."""

    temp_co: float
    rth: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StageParts:
    """The stage at 25 °C. `a` is the source side; b-leg entries are None in a two-switch stage."""

    a_high: SwitchAt
    a_low: SwitchAt
    b_low: SwitchAt | None
    b_high: SwitchAt | None
    coil: CoilAt
    setting: Setting
    hot: dict[str, HotPart]
    """For `a_high`, `a_low`, `b_low`, `b_high`, `coil`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hardware:
    """Everything with a value that one path needs."""

    wires: dict[WireKind, WireParts]
    stage: StageParts
    rails: tuple[Regulator, ...]
    r_board: float
    """Thermal resistance from the board to ambient [K/W]."""


ABSENT = SwitchAt(0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)
"""A switch position that a two-switch stage does not have: a short without charge."""

COPPER_TEMP_CO = 0.00393
"""Temperature coefficient of copper at 20 °C [1/K] (IACS, IEC 60028), used from 25 °C."""


def switch_at_25(part: Switch, r_driver: float, v_drive: float, r_scale: float = 1.0) -> SwitchAt:
    """Return a catalogue switch as the stage takes it, at 25 °C.

    r_driver : driver resistance in series with the part's own gate resistance [Ω]
    v_drive  : gate drive [V]; catalogue values are at 5 V, charge scales with drive (common practice)
    r_scale  : factor on the on-resistance, for tolerance studies [1]
    """
    return SwitchAt(
        part.r_on_25 * r_scale,
        part.q_gate * v_drive / 5.0,
        part.q_sw,
        part.v_plateau,
        part.r_gate + r_driver,
        part.c_oss_energy,
        part.q_rr,
        part.t_rr,
        part.v_f,
    )

"""What a power path asks of its parts, in numbers: load points with weights, corners to survive, voltages to stand."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.network.graph import Legs
from chargewright.sizing.exchange import Exchange
from chargewright.spec.rules import RulesSpec

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Points:
    """Operating points of the stage, arrays of one length: power flows from `v_in` to `v_out`."""

    v_in: Floats
    v_out: Floats
    i_out: Floats
    reverse: npt.NDArray[np.bool_]
    """Whether the stage runs from the pack side to the source side."""
    lasting: npt.NDArray[np.bool_]
    """Whether the point lasts long enough to heat parts; a short peak only has to keep the inductor from saturating."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StageDemand:
    """What the stage must do. `a` is the source side."""

    legs: Legs
    usual: Points
    weights: Floats
    """Share of the time of each usual point; the sum is 1."""
    corners: Points
    """Worst points: highest current, highest and lowest voltages. Ripple, saturation and temperature hold at all."""
    v_a_max: float
    """Highest steady voltage of the source side, tolerance included [V]."""
    v_b_max: float
    temp_ambient: float
    """Hottest ambient [K]."""
    r_board: float
    """Thermal resistance from the board to ambient [K/W]."""
    p_elsewhere: float
    """Heat that the rest of the board adds while the stage works [W]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WiresDemand:
    """What the pass elements and sense resistors must carry and resolve."""

    i_source: float
    """Greatest lasting source current [A]."""
    v_source_max: float
    """Highest fault voltage of the source that the blocking pair must stand [V]."""
    i_charge: float
    i_precharge: float
    i_termination: float
    i_discharge: float
    """Greatest lasting current of the battery switch [A]."""
    v_bus_max: float
    p_linear: float
    """Heat of the battery switch while it is worked as a linear pass element [W]; 0 if it never is."""
    sense_offset: float
    """Offset of the sense amplifiers [V]."""
    r_source: float | None = None
    """Source sense resistor that the controller counts on [Ω]; None where it does not matter."""
    r_charge: float | None = None
    """Charge sense resistor that the controller counts on [Ω]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """Everything that sizing has to meet for one path."""

    path: str
    stage: StageDemand
    wires: WiresDemand
    rules: RulesSpec
    f_sw: tuple[float, ...]
    """Switching frequencies to try [Hz]."""
    has_battery_switch: bool
    exchange: Exchange = Exchange()
    """What cost and area are worth in watts."""

"""What is asked of a controller, and what the pack, the source and the board around it allow."""

from dataclasses import dataclass

from chargewright.base.errors import OutOfRange
from chargewright.base.near import nearest
from chargewright.base.units import Toleranced, exact
from chargewright.setpoints.accuracy import Sensing
from chargewright.setpoints.controller import Controller, Field
from chargewright.setpoints.quantities import QUANTITIES, Direction


@dataclass(frozen=True, slots=True, kw_only=True)
class Want:
    """One set-point wanted: SI value for the whole pack, and where it may lie when no code fits exactly."""

    quantity: str
    """A key of `QUANTITIES`."""
    value: float
    direction: Direction | None = None
    """None takes the direction that protects for this quantity."""
    reason: str = ""

    def __post_init__(self) -> None:
        if self.quantity not in QUANTITIES:
            close = nearest(self.quantity, QUANTITIES)
            hint = f"did you mean {close!r}?" if close else f"known: {', '.join(QUANTITIES)}"
            raise OutOfRange(f"set-point {self.quantity!r} is not known; {hint}")

    @property
    def safe(self) -> Direction:
        """Direction of rounding."""
        return self.direction or QUANTITIES[self.quantity].safe


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """Limits of pack and source, fitted resistors and what the host does; currents and powers of the whole pack."""

    series: int
    v_cell_max: float
    """Charge voltage of one cell [V]."""
    v_cell_upper: float | None = None
    """Upper limit charging voltage of one cell, tolerance included [V]; None: the charge voltage itself."""
    v_cell_spread: float = 0.0
    """How far the highest cell may lie above the mean at the end of charge [V]."""
    v_lead: Toleranced = exact(0.0)
    """Drop between the place of sensing and the cells at the end of charge [V]; zero when sensed at the cells."""
    i_charge_max: float
    i_precharge_max: float | None = None
    i_discharge_max: float | None = None
    i_source_max: float | None = None
    """Least rated current of any source [A]."""
    v_source_min: float | None = None
    """Lowest voltage that any source gives at the product under load [V]."""
    r_pack: Toleranced | None = None
    """Sense resistor fitted in the pack path [Ω]; None: the one that the controller is configured for, exact."""
    r_source: Toleranced | None = None
    refresh: float | None = None
    """Interval at which the host writes [s]; None: not decided yet."""

    @property
    def v_pack_max(self) -> float:
        """Charge voltage of the pack [V]."""
        return self.series * self.v_cell_max

    def sensing(self, controller: Controller, field: Field) -> Sensing | None:
        """Return the resistors through which a field's current is set, or None if it is not set through one."""
        r_configured = controller.r_configured(field.quantity.sense)
        if r_configured is None:
            return None
        fitted = self.r_pack if field.quantity.sense == "pack" else self.r_source
        return Sensing(r_configured=r_configured, r_fitted=fitted or exact(r_configured))

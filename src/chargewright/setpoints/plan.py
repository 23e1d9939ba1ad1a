"""From wanted values to codes: what is asked, what the code says, what that is on this board, and the error left."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from chargewright.base.errors import OutOfRange
from chargewright.setpoints.accuracy import (
    ErrorBudget,
    Sensing,
    accuracy_band,
    error_budget,
    field_rows,
    own_step,
    real_value,
)
from chargewright.setpoints.context import Context, Want
from chargewright.setpoints.controller import Controller, Field
from chargewright.setpoints.quantise import encode, to_bits
from chargewright.setpoints.quantities import Quantity
from chargewright.setpoints.resets import ResetEffect, reset_effects


@dataclass(frozen=True, slots=True, kw_only=True)
class SetPoint:
    """One quantity with its code; values in the unit of the quantity."""

    want: Want
    field: Field
    code: int
    bits: int
    """The code at its place in the register."""
    coded: float
    """What the code means to the controller, that is with the sense resistor it is configured for."""
    real: float
    """What it nominally sets on this board."""
    low: float
    """Lowest value that it may really be, with gain, offsets and resistor at their worst."""
    high: float
    step: float
    """Least step at this value, on this board."""
    clamped: bool
    """Whether what is asked lies outside the range of the field."""
    sensing: Sensing | None
    budget: ErrorBudget
    """What the errors come to before a code is chosen, rounding included as a chance."""
    reset: ResetEffect

    @property
    def quantity(self) -> Quantity:
        """The quantity that is set."""
        return self.field.quantity

    @property
    def asked(self) -> float:
        """The value wanted."""
        return self.want.value

    @property
    def error(self) -> float:
        """What rounding and range leave: nominal value on this board less the value asked."""
        return self.real - self.asked if self.real != self.asked else 0.0


def plan_setpoints(wants: Sequence[Want], controller: Controller, context: Context) -> tuple[SetPoint, ...]:
    """Return a set-point for every want that the controller has a field for, in the order of the wants.

    A current is coded so that what flows through the *fitted* sense resistor lies on the safe side of what is asked.
    What lies outside a field's range is set to its end and marked; `judge.judge_setpoints` says so, and also names
    wants without a field. Raises OutOfRange if a quantity is wanted twice.
    """
    by_key = wants_by_key(wants)
    effects = reset_effects(controller, by_key, context)
    return tuple(
        _set_point(want, field, context.sensing(controller, field), effects)
        for want in wants
        if (field := controller.field(want.quantity)) is not None
    )


def wants_by_key(wants: Sequence[Want]) -> dict[str, Want]:
    """Return the wants by quantity; raises OutOfRange if one is wanted twice."""
    by_key = {want.quantity: want for want in wants}
    if len(by_key) < len(wants):
        keys = [want.quantity for want in wants]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise OutOfRange(f"set-point {twice} is wanted twice; give one value")
    return by_key


def _set_point(want: Want, field: Field, sensing: Sensing | None, effects: Mapping[str, ResetEffect]) -> SetPoint:
    ratio = sensing.ratio if sensing else 1.0
    coded = encode(field, want.value / ratio, want.safe)
    band = accuracy_band(field, coded.value, sensing)
    return SetPoint(
        want=want,
        field=field,
        code=coded.code,
        bits=to_bits(field, coded.code),
        coded=coded.value,
        real=real_value(coded.value, sensing),
        low=band.low,
        high=band.high,
        step=own_step(field, coded.value) * ratio,
        clamped=coded.clamped,
        sensing=sensing,
        budget=error_budget(field_rows(field, coded.value, sensing)),
        reset=effects[field.quantity.key],
    )

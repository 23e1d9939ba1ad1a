"""What a set-point may really be: error rows, their budget, and the band around the value that a code sets."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from math import isfinite
from typing import Literal

import numpy as np

from chargewright.base.units import Toleranced, exact
from chargewright.physics.budget import root_sum_square, sense_offset_current, step_deviation, worst_sum
from chargewright.setpoints.controller import Field, Linear
from chargewright.setpoints.sensing import flowing_current, sensed_current, step_share

_EXACT_GAIN = exact(1.0)
_NONE = exact(0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensing:
    """The sense resistor that the controller's steps are given for, and the one on the board [Ω]."""

    r_configured: float
    r_fitted: Toleranced

    @property
    def ratio(self) -> float:
        """Current that flows over current that the code means [1]."""
        return float(flowing_current(1.0, self.r_configured, self.r_fitted.typ))


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorRow:
    """One contribution to a set-point's error, signed, in the unit of the set-point."""

    cause: str
    low: float
    high: float
    law: Literal["limit", "step", "known"] = "limit"
    """`limit`: may be anywhere in the band; `step`: rounding, uniform; `known`: a shift whose size is known."""

    @property
    def deviation(self) -> float:
        """What goes into the root of the sum of squares: a limit counts in full, rounding by its uniform law."""
        return float(step_deviation(self.high - self.low)) if self.law == "step" else self.size

    @property
    def size(self) -> float:
        """Greatest distance from zero."""
        return max(abs(self.low), abs(self.high))


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorBudget:
    """All contributions to one set-point's error, added up in three ways [unit of the set-point]."""

    rows: tuple[ErrorRow, ...]
    rss: float
    """Root of the sum of squares: what independent errors are likely to come to."""
    worst: float
    """Sum of the sizes: what no combination exceeds."""
    low: float
    """Sum of the signed lower ends."""
    high: float


def error_budget(rows: Sequence[ErrorRow]) -> ErrorBudget:
    """Return the sum of error rows."""
    return ErrorBudget(
        rows=tuple(rows),
        rss=root_sum_square(np.array([row.deviation for row in rows])),
        worst=worst_sum(np.array([row.size for row in rows])),
        low=sum(row.low for row in rows),
        high=sum(row.high for row in rows),
    )


def error_rows(
    *,
    value: float,
    step: float,
    gain: Toleranced = _EXACT_GAIN,
    gain_base: float | None = None,
    offset: Toleranced = _NONE,
    resistor: Toleranced | None = None,
    sense_offset: Toleranced = _NONE,
) -> tuple[ErrorRow, ...]:
    """Return the contributions to the error of a set-point, each to first order; rows without an error are left out.

    value, step  : set-point and the controller's least step at it, as they are on this board [V, A or s]
    gain         : band of the gain [1]
    gain_base    : value on which the gain error is stated, if not the set-point itself [as `value`]
    offset       : fixed error [as `value`]
    resistor     : fitted sense resistor with its tolerance [Ω]; None for what is not sensed with one
    sense_offset : offset of the amplifier at the resistor [V]
    """
    base = abs(value) if gain_base is None else gain_base
    rows = [ErrorRow(cause="gain", low=base * (gain.low - 1.0), high=base * (gain.high - 1.0))]
    if resistor is not None:
        low, high = (abs(value) * (1.0 - r / resistor.typ) for r in (resistor.high, resistor.low))
        rows.append(ErrorRow(cause="sense resistor", low=low, high=high))
        low, high = (float(sense_offset_current(v, resistor.typ)) for v in (sense_offset.low, sense_offset.high))
        rows.append(ErrorRow(cause="amplifier offset", low=low, high=high))
    rows.append(ErrorRow(cause="offset", low=offset.low, high=offset.high))
    rows.append(ErrorRow(cause="step", low=-step / 2.0, high=step / 2.0, law="step"))
    return tuple(row for row in rows if row.size > 0.0)


def field_rows(field: Field, coded: float, sensing: Sensing | None) -> tuple[ErrorRow, ...]:
    """Return the contributions to the error at the value `coded`, on the controller's own scale, of a field."""
    if not isfinite(coded) or field.quantity.unit == "1":
        return ()
    accuracy, ratio = field.accuracy, sensing.ratio if sensing else 1.0
    offset = accuracy.offset
    return error_rows(
        value=coded * ratio,
        step=own_step(field, coded) * ratio,
        gain=accuracy.gain,
        gain_base=_gain_base(field, coded) * ratio,
        offset=Toleranced(offset.typ * ratio, offset.low * ratio, offset.high * ratio),
        resistor=sensing.r_fitted if sensing else None,
        sense_offset=accuracy.sense_offset,
    )


def real_value(coded: float, sensing: Sensing | None) -> float:
    """Return what a coded value is on this board."""
    if sensing is None or not isfinite(coded):
        return coded
    return float(flowing_current(coded, sensing.r_configured, sensing.r_fitted.typ))


def accuracy_band(field: Field, coded: float, sensing: Sensing | None) -> Toleranced:
    """Return what the code for `coded` may really set: every corner of gain, offsets and sense resistor.

    The step is not in it: once the code is chosen, the rounding is known and not an error band. A special code sets
    nothing that would have an accuracy.
    """
    accuracy = field.accuracy
    typ = real_value(coded, sensing)
    if not isfinite(coded) or any(special.value == coded for special in field.special):
        return exact(typ)
    base = _gain_base(field, coded)
    errors = (
        base * (accuracy.gain.low - 1.0) + accuracy.offset.low,
        base * (accuracy.gain.high - 1.0) + accuracy.offset.high,
    )
    if sensing is None:
        return Toleranced(typ, coded + errors[0], coded + errors[1])
    corners = [
        float(sensed_current(coded, error, sensing.r_configured, v_offset, r_fitted))
        for error, v_offset, r_fitted in product(
            errors,
            (accuracy.sense_offset.low, accuracy.sense_offset.high),
            (sensing.r_fitted.low, sensing.r_fitted.high),
        )
    ]
    return Toleranced(typ, min(corners), max(corners))


def own_step(field: Field, coded: float) -> float:
    """Return the least step around `coded` on the controller's scale: of the code, or of its resolution if coarser."""
    if isinstance(field.scale, Linear):
        step = field.scale.step
    else:
        values = [value for _, value in field.scale.values]
        step = min((abs(value - coded) for value in values if value != coded), default=0.0)
    bits = field.accuracy.resolution_bits
    return step if bits is None else max(step, _full_scale(field, coded) * float(step_share(bits)))


def _gain_base(field: Field, coded: float) -> float:
    return _full_scale(field, coded) if field.accuracy.of_full_scale else abs(coded)


def _full_scale(field: Field, coded: float) -> float:
    """The file's full scale; without one the value itself, the smallest that a fitting controller can have."""
    return abs(coded) if field.accuracy.full_scale is None else field.accuracy.full_scale

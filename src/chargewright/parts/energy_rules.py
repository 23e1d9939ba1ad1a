"""Energy rules, as information: the dates of what applies, and the limits for external power supplies.

Every figure carries its edition and where it was read. A comparison says on which side of a limit a number lies and
never that a product complies: that takes the rule's own test method, sampling and text. Chargers: `charger_rules`.
"""

import math
from dataclasses import dataclass
from datetime import date
from typing import Literal

from chargewright.base.errors import OutOfRange
from chargewright.base.units import show

REMARK = "as information; the primary text rules"

Edition = Literal["EU 2019/1782", "US 10 CFR 430.32(w)", "EU CoC v5 tier 1", "EU CoC v5 tier 2"]
SupplyClass = Literal["basic voltage", "low voltage", "multiple voltage"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One number beside the limit of one rule."""

    rule: str
    """The rule with its edition."""
    class_: str
    """Class of product inside the rule."""
    quantity: str
    value: float
    limit: float
    unit: str
    """SI unit of value and limit."""
    sense: Literal["at least", "at most"]
    status: str
    """Where the limit was read."""
    remark: str = REMARK

    @property
    def inside(self) -> bool:
        """Whether the number lies on the limit's side; no verdict on a product."""
        return self.value >= self.limit if self.sense == "at least" else self.value <= self.limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Regulation:
    """A rule and the day from which it applies."""

    name: str
    subject: str
    applies_from: date
    status: str


REGULATIONS = (
    Regulation(
        name="Regulation (EU) 2019/1782",
        subject="efficiency and no-load power of external power supplies up to 250 W",
        applies_from=date(2020, 4, 1),
        status="limits confirmed by look-up; date from memory",
    ),
    Regulation(
        name="Regulation (EU) 2025/2052",
        subject="external power supplies, wireless chargers and USB-C cables: repeals 2019/1782, adds a limit at 10 % "
        "load and a detachable USB-C cable",
        applies_from=date(2028, 12, 14),
        status="confirmed by look-up in public summaries",
    ),
    Regulation(
        name="Directive (EU) 2022/2380",
        subject="common charger, up to 100 W: USB-C, and full USB PD above 5 V, 3 A or 15 W; not yet laptops",
        applies_from=date(2024, 12, 28),
        status="confirmed by look-up",
    ),
    Regulation(
        name="Directive (EU) 2022/2380, laptops",
        subject="common charger for laptops",
        applies_from=date(2026, 4, 28),
        status="confirmed by look-up",
    ),
    Regulation(
        name="10 CFR 430.32(w)",
        subject="efficiency and no-load power of external power supplies ('Level VI')",
        applies_from=date(2016, 2, 10),
        status="from memory",
    ),
    Regulation(
        name="10 CFR 430.32(z)",
        subject="yearly energy of battery chargers",
        applies_from=date(2018, 6, 13),
        status="published 13 June 2016, confirmed by look-up; date of application from memory",
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyLimit:
    """What an edition asks of an external supply of one class and power; None where no figure was read."""

    edition: Edition
    class_: SupplyClass
    efficiency_min: float
    """Mean of the efficiencies at 25, 50, 75 and 100 % load [1]."""
    efficiency_10_min: float | None
    """Efficiency at 10 % load [1]."""
    no_load_max: float | None
    """Wall power with nothing drawn [W]."""
    status: str


@dataclass(frozen=True, slots=True)
class _Band:
    """Efficiency a·ln P + b·P + c up to a power [W], and the no-load power up to there."""

    up_to: float
    a: float
    b: float
    c: float
    no_load: float | None


_BASIC = (
    _Band(1.0, 0.0, 0.500, 0.160, 0.10),
    _Band(49.0, 0.0710, -0.0014, 0.670, 0.10),
    _Band(250.0, 0.0, 0.0, 0.880, 0.21),
)
_LOW = (
    _Band(1.0, 0.0, 0.517, 0.087, 0.10),
    _Band(49.0, 0.0834, -0.0014, 0.609, 0.10),
    _Band(250.0, 0.0, 0.0, 0.870, 0.21),
)
_MULTIPLE = (
    _Band(1.0, 0.0, 0.497, 0.067, 0.30),
    _Band(49.0, 0.0750, 0.0, 0.561, 0.30),
    _Band(250.0, 0.0, 0.0, 0.860, 0.30),
)
_LARGE = _Band(math.inf, 0.0, 0.0, 0.875, 0.50)
_EU_STATUS = "annex II, confirmed by look-up (multiple voltage up to 1 W: from memory)"
_US_STATUS = "from memory; same figures as EU 2019/1782 up to 250 W"
_COC_STATUS = "October 2013, reprinted in the trade press, confirmed by look-up"

_LIMITS: dict[tuple[Edition, SupplyClass], tuple[tuple[_Band, ...], str]] = {
    ("EU 2019/1782", "basic voltage"): (_BASIC, _EU_STATUS),
    ("EU 2019/1782", "low voltage"): (_LOW, _EU_STATUS),
    ("EU 2019/1782", "multiple voltage"): (_MULTIPLE, _EU_STATUS),
    ("US 10 CFR 430.32(w)", "basic voltage"): ((*_BASIC, _LARGE), _US_STATUS),
    ("US 10 CFR 430.32(w)", "low voltage"): ((*_LOW, _LARGE), _US_STATUS),
    ("US 10 CFR 430.32(w)", "multiple voltage"): (_MULTIPLE, _US_STATUS),
    ("EU CoC v5 tier 1", "basic voltage"): (
        (_Band(49.0, 0.0626, 0.0, 0.646, None), _Band(250.0, 0.0, 0.0, 0.890, None)),
        _COC_STATUS,
    ),
    ("EU CoC v5 tier 2", "basic voltage"): (
        (_Band(49.0, 0.0710, -0.00115, 0.670, 0.075), _Band(250.0, 0.0, 0.0, 0.890, 0.150)),
        _COC_STATUS,
    ),
}
_COC_TIER_2_AT_10 = (_Band(49.0, 0.0710, -0.00115, 0.570, None), _Band(250.0, 0.0, 0.0, 0.790, None))
_COC_AT_10_STATUS = (
    "; at 10 % load from memory: a reprint has another linear term, with which the formula would not meet the constant "
    "at 49 W: check the primary text"
)
_COC_LEAST = 1.0


def supply_class(v: float, i: float) -> SupplyClass:
    """Return the class of a supply with one AC-DC output of `v` volts and `i` amperes by its label.

    Low voltage is under 6 V at 550 mA or more: Reg. (EU) 2019/1782 art. 2 and 10 CFR 430.2 (from memory).
    """
    return "low voltage" if v < 6.0 and i >= 0.55 else "basic voltage"


def external_supply_limit(edition: Edition, class_: SupplyClass, power: float) -> SupplyLimit:
    """Return what an edition asks of an AC-DC external supply of `power` watts by its label.

    Editions: Reg. (EU) 2019/1782 annex II; 10 CFR 430.32(w) ('Level VI'); EU Code of Conduct on external power supplies
    version 5 of October 2013, a voluntary one, of which only basic-voltage figures above 1 W were read.
    Raises OutOfRange outside the powers and classes that the edition covers, or of which no figure was read.
    """
    entry = _LIMITS.get((edition, class_))
    if entry is None:
        raise OutOfRange(f"{edition}: no figures for {class_} were read; basic voltage only")
    bands, status = entry
    if not 0.0 < power <= bands[-1].up_to or (edition.startswith("EU CoC") and power <= _COC_LEAST):
        raise OutOfRange(f"{edition}: no figure for {class_} at {show(power, 'W')} was read")
    band = _band(bands, power)
    at_10 = _efficiency(_band(_COC_TIER_2_AT_10, power), power) if edition == "EU CoC v5 tier 2" else None
    return SupplyLimit(
        edition=edition,
        class_=class_,
        efficiency_min=_efficiency(band, power),
        efficiency_10_min=at_10,
        no_load_max=band.no_load,
        status=status if at_10 is None else status + _COC_AT_10_STATUS,
    )


def judge_external_supply(
    edition: Edition, class_: SupplyClass, power: float, efficiency: float, no_load: float
) -> tuple[Comparison, ...]:
    """Return efficiency [1] and no-load power [W] of an external supply of `power` watts beside an edition's limits."""
    limit = external_supply_limit(edition, class_, power)
    found = [
        Comparison(
            rule=edition,
            class_=class_,
            quantity="average active efficiency",
            value=efficiency,
            limit=limit.efficiency_min,
            unit="1",
            sense="at least",
            status=limit.status,
        )
    ]
    if limit.no_load_max is not None:
        found.append(
            Comparison(
                rule=edition,
                class_=class_,
                quantity="no-load power",
                value=no_load,
                limit=limit.no_load_max,
                unit="W",
                sense="at most",
                status=limit.status,
            )
        )
    return tuple(found)


def _band(bands: tuple[_Band, ...], power: float) -> _Band:
    return next(band for band in bands if power <= band.up_to)


def _efficiency(band: _Band, power: float) -> float:
    return band.a * math.log(power) + band.b * power + band.c

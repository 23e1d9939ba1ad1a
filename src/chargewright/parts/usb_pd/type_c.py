"""USB Type-C current advertisement: the source's pull-up on the configuration pin and how a sink reads it."""

from dataclasses import dataclass
from typing import Literal

from chargewright.base.units import Toleranced

Advertised = Literal["default", "1.5 A", "3 A"]

PULL_DOWN = 5.1e3
"""Resistance with which a sink loads the configuration pin [ohm] (USB Type-C; confirmed by look-up)."""
PIN_VOLTAGE_MAX = 2.04
"""Highest pin voltage that still means a sink's pull-down [V] (USB Type-C table 4-3x, vRd-3.0; from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Advertisement:
    """One advertised current."""

    key: Advertised
    i: float
    """Current that may be drawn [A]; for `default` that of USB 2.0, the least that any port offers (USB 3.2: 0.9 A)."""
    i_pull: Toleranced
    """Pull-up as a current source [A]."""
    r_to_5_volts: float
    """Pull-up as a resistor to 4.75 V … 5.5 V [ohm]."""
    r_to_3_volts_3: float
    """Pull-up as a resistor to 3.3 V [ohm]."""
    v_above: float
    """The sink reads this advertisement above this pin voltage [V]."""


def _pull(typ: float, tol: float) -> Toleranced:
    return Toleranced(typ, typ * (1.0 - tol), typ * (1.0 + tol))


# USB Type-C table 4-2x (pull-ups) and 4-3x (thresholds): confirmed by look-up.
ADVERTISEMENTS = (
    Advertisement(
        key="default", i=0.5, i_pull=_pull(80e-6, 0.20), r_to_5_volts=56e3, r_to_3_volts_3=36e3, v_above=0.20
    ),
    Advertisement(key="1.5 A", i=1.5, i_pull=_pull(180e-6, 0.08), r_to_5_volts=22e3, r_to_3_volts_3=12e3, v_above=0.66),
    Advertisement(key="3 A", i=3.0, i_pull=_pull(330e-6, 0.08), r_to_5_volts=10e3, r_to_3_volts_3=4.7e3, v_above=1.23),
)


def advertisement(key: Advertised) -> Advertisement:
    """Return the advertisement called `key`."""
    return next(entry for entry in ADVERTISEMENTS if entry.key == key)


def pin_voltage(entry: Advertisement, r_pull_down: float = PULL_DOWN) -> Toleranced:
    """Return the voltage [V] that the pull-up current makes on the sink's pull-down, with the band of the current."""
    return entry.i_pull.scaled(r_pull_down)


def advertised_by(v_pin: float) -> Advertisement | None:
    """Return what a pin voltage [V] advertises; None where no sink's pull-down is seen on a source."""
    if v_pin > PIN_VOLTAGE_MAX:
        return None
    heard = [entry for entry in ADVERTISEMENTS if v_pin > entry.v_above]
    return heard[-1] if heard else None

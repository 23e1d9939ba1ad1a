"""Limits of USB Power Delivery and Type-C: bands of voltage and current, cable drop, capacitance, standby power."""

from chargewright.base.units import Toleranced
from chargewright.physics.source import droop_voltage

TOLERANCE = 0.05
"""Band of a contract's voltage at the source's connector [1], under load too: vSrcNew of fixed objects and vPpsNew
(PD R3.2 ch. 7; both confirmed by look-up in public texts that quote the table), vAvsNew (from memory)."""
EXCURSION_WHILE_MOVING = 0.5
"""How far the voltage may leave that band while it moves [V] (PD ch. 7, vSrcValid; from memory)."""
SAFE_5_VOLTS = Toleranced(5.0, 4.75, 5.5)
"""vSafe5V, the band of 5 V without a contract [V] (PD ch. 7; from memory)."""
SAFE_0_VOLTS_MAX = 0.8
"""vSafe0V: a bus below this counts as empty [V] (PD ch. 7; confirmed by look-up)."""
DROP_SUPPLY_MAX = 0.5
"""Drop allowed at rated current in the supply conductor of a cable [V] (USB Type-C 4.4.1; confirmed by look-up)."""
DROP_RETURN_MAX = 0.25
"""The same in the return conductor [V]."""
SLEW_MAX = 30e3
"""Fastest change of a source's voltage [V/s]: 30 mV/us (PD ch. 7; confirmed by look-up in open hardware reviews)."""
BULK_CAPACITANCE_MAX = 100e-6
"""Capacitance that a sink may show once it has a contract [F] (PD ch. 7; confirmed by look-up)."""
BULK_CAPACITANCE_MAX_AT_ATTACH = 10e-6
"""Capacitance that a sink may show when it is attached [F] (USB 2.0 7.2.4.1; from memory)."""
POWER_STANDBY = 2.5
"""Power that a sink may draw while the voltage moves [W] (PD ch. 7, pSnkStdby; confirmed by look-up)."""

_LIMIT_BAND_LOW_CURRENT = 0.150
_LOW_CURRENT = 3.0


def contract_band(v: float) -> Toleranced:
    """Return the band [V] of a contract's voltage at the source's connector, from no load to rated current."""
    return Toleranced(v, v - TOLERANCE * v, v + TOLERANCE * v)


def current_limit_band(i: float) -> Toleranced:
    """Return the band [A] in which a programmable source holds a requested current.

    150 mA either way up to 3 A, 5 % above (PD R3.2 ch. 7, iPpsCLNew; confirmed by look-up in a public article).
    The source may thus hold less than was asked for.
    """
    band = _LIMIT_BAND_LOW_CURRENT if i <= _LOW_CURRENT else TOLERANCE * i
    return Toleranced(i, max(0.0, i - band), i + band)


def cable_resistance_max(i_rated: float) -> float:
    """Return the loop resistance [ohm] with which a cable of this rating just meets the drop allowed."""
    return (DROP_SUPPLY_MAX + DROP_RETURN_MAX) / i_rated


def worst_sink_voltage(v: float, i: float) -> float:
    """Return the lowest steady voltage [V] at a sink that draws `i` on a contract of `v`, whatever the cable.

    The source stands at the low end of its band and the cable, rated for `i`, drops what the standard allows.
    """
    return float(droop_voltage(contract_band(v).low, cable_resistance_max(i), i))

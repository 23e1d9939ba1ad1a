"""Timers, voltage limits and transition limits of USB Power Delivery and Type-C, as tables.

Names of timers and limits are the standard's own, so that they can be found there.
"""

from dataclasses import dataclass

from chargewright.base.errors import PartsError
from chargewright.base.near import nearest
from chargewright.base.units import Toleranced

SLEW_MAX = 30e3
"""Fastest change of a source's voltage [V/s]: 30 mV/us (PD ch. 7; confirmed by look-up in open hardware reviews)."""
BULK_CAPACITANCE_MAX = 100e-6
"""Capacitance that a sink may show once it has a contract [F] (PD ch. 7, cSnkBulkPd; confirmed by look-up)."""
BULK_CAPACITANCE_MAX_AT_ATTACH = 10e-6
"""Capacitance that a sink may show when it is attached [F] (USB 2.0 7.2.4.1; from memory)."""
POWER_STANDBY = 2.5
"""Power that a sink may draw while the voltage moves [W] (PD ch. 7, pSnkStdby; confirmed by look-up)."""
TOLERANCE = 0.05
"""Band of a contract's voltage at the source's connector [1]: vSrcNew of fixed objects (confirmed by look-up in an
open project that quotes the table), vPpsNew (confirmed by look-up in a public article), vAvsNew (from memory)."""
EXCURSION_WHILE_MOVING = 0.5
"""How far the voltage may leave that band while it moves [V] (PD ch. 7, vSrcValid; from memory)."""
SAFE_5_VOLTS = Toleranced(5.0, 4.75, 5.5)
"""vSafe5V [V], the band of 5 V without a contract (PD ch. 7; from memory)."""
SAFE_0_VOLTS_MAX = 0.8
"""vSafe0V [V]: a bus below this counts as empty (PD ch. 7; confirmed by look-up)."""
DROP_SUPPLY_MAX = 0.5
DROP_RETURN_MAX = 0.25
"""Cable drop allowed at rated current in the supply and in the return conductor [V] (USB Type-C 4.4.1; confirmed)."""
CABLE_DROP_MAX = DROP_SUPPLY_MAX + DROP_RETURN_MAX
"""Both together [V]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Timer:
    """One time of the standard; None where it states no such side."""

    name: str
    t_min: float | None
    t_max: float | None
    what: str
    source: str


_CHAPTERS = "USB PD 6.6 and 7; constants of an open policy engine and of Linux pd.h (confirmed by look-up)"

TIMERS = (
    Timer(
        name="tSrcTransition",
        t_min=0.025,
        t_max=0.035,
        what="from the source's Accept until its voltage starts to move: the sink has to be at standby power by then",
        source=_CHAPTERS,
    ),
    Timer(
        name="tSrcSettle",
        t_min=None,
        t_max=0.275,
        what="from the start of the move until the new voltage is steady",
        source=_CHAPTERS,
    ),
    Timer(
        name="tPSTransition",
        t_min=0.450,
        t_max=0.550,
        what="how long a sink waits for the source to be ready before it resets",
        source=_CHAPTERS,
    ),
    Timer(
        name="tPSHardReset",
        t_min=0.025,
        t_max=0.035,
        what="from a hard reset until the source takes its voltage away",
        source=_CHAPTERS,
    ),
    Timer(
        name="tSrcRecover",
        t_min=0.660,
        t_max=1.000,
        what="from an empty bus after a hard reset until the source comes back at 5 V",
        source=_CHAPTERS,
    ),
    Timer(
        name="tPSSourceOff",
        t_min=0.750,
        t_max=0.920,
        what="how long the other side waits for the old source to switch off in a role swap",
        source=_CHAPTERS,
    ),
    Timer(
        name="tSinkAdj",
        t_min=None,
        t_max=0.060,
        what="within which a sink has to follow a change of the advertised current",
        source="USB Type-C (confirmed by look-up)",
    ),
)


def timer(name: str) -> Timer:
    """Return one timer by the standard's name; raises PartsError that names the nearest."""
    for entry in TIMERS:
        if entry.name == name:
            return entry
    close = nearest(name, (entry.name for entry in TIMERS))
    hint = f"did you mean {close!r}?" if close else f"known: {', '.join(entry.name for entry in TIMERS)}"
    raise PartsError(f"timer {name!r} is not known; {hint}")

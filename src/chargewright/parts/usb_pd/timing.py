"""Timers of USB Power Delivery and Type-C, under the standard's own names, so that they can be found there."""

from dataclasses import dataclass

from chargewright.base.errors import PartsError
from chargewright.base.near import nearest
from chargewright.parts.usb_pd.limits import SLEW_MAX
from chargewright.physics.adapter import slew_time


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


def shortest_move(v_from: float, v_to: float) -> float:
    """Return the time [s] in which a source may at the earliest have moved its voltage from one contract to another."""
    return float(slew_time(abs(v_to - v_from), SLEW_MAX))

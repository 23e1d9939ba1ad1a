"""The events that a product meets, as words of a script: what each needs, and what it does to an instant."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from chargewright.base.errors import ChargewrightError
from chargewright.base.near import nearest
from chargewright.sim import sequence_rules as code
from chargewright.sim._sequence_logic import rest_voltage, trip_source
from chargewright.sim.sequence import Standing
from chargewright.sim.sequence_rules import Machine

INF = math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One event; `can` says whether it can happen, `do` changes the lists of an instant."""

    word: str
    """As a script writes it."""
    title: str
    can: "Callable[[_Instant], bool]"
    do: "Callable[[_Instant], None]"


@dataclass(slots=True, kw_only=True)
class _Instant:
    """An instant that an event is changing."""

    p: Machine
    m: list[int]
    d: list[float]
    x: list[float]

    @classmethod
    def of(cls, machine: Machine, standing: Standing) -> "_Instant":
        return cls(p=machine, m=list(standing.now), d=list(standing.clocks), x=list(standing.x))


def _plug(at: _Instant) -> None:
    at.m[code.SRC], at.d[code.C_SOURCE] = code.RESETS, at.p.t_attach


def _unplug(at: _Instant) -> None:
    at.m[code.SRC], at.m[code.AT], at.m[code.ASKED], at.m[code.OVER] = code.ABSENT, 0 if at.p.talks else 1, 0, 0
    at.d[code.C_SOURCE] = at.d[code.C_OVER] = INF


def _contract(at: _Instant) -> None:
    at.m[code.SRC], at.m[code.ASKED], at.d[code.C_SOURCE] = code.MOVES, 1, at.p.t_move


def _reset(at: _Instant) -> None:
    _off(at, code.RESETS, at.p.t_reset)


def _dip(at: _Instant) -> None:
    _off(at, code.RESTS, at.p.t_dip)


def _off(at: _Instant, to: int, t: float) -> None:
    at.m[code.SRC], at.m[code.AT], at.m[code.OVER] = to, 0 if at.p.talks else 1, 0
    at.d[code.C_SOURCE], at.d[code.C_OVER] = t, INF


def _trip(at: _Instant) -> None:
    at.x[code.T] = 0.0
    trip_source(at.p, at.m, at.d, at.x)


def _boot(at: _Instant) -> None:
    at.m[code.WANT] = 1


def _shut(at: _Instant) -> None:
    at.m[code.WANT] = at.m[code.STEP] = 0


def _step(at: _Instant) -> None:
    at.m[code.STEP] = 1


def _release(at: _Instant) -> None:
    at.m[code.STEP] = 0


def _peak(at: _Instant) -> None:
    at.m[code.LOAD], at.d[code.C_LOAD] = code.PEAKS, at.p.t_peak


def _remove(at: _Instant) -> None:
    at.m[code.PACK] = code.NONE
    at.d[code.C_PACK] = INF
    at.x[code.U] = 0.0
    if not at.p.narrow:
        at.x[code.X] = 0.0


def _fit(at: _Instant) -> None:
    at.m[code.PACK] = code.FITTED
    if at.m[code.LOAD] == code.LOCKED:
        at.m[code.LOAD] = code.HELD


def _drain(at: _Instant) -> None:
    _charge(at, -1)
    if at.m[code.SOC] == code.FLAT and at.m[code.LOAD] == code.OFF:
        # What drains a product that is off is its own standby current and that of the pack, down to the cut.
        at.m[code.PACK] = code.CUT


def _charge(at: _Instant, steps: int) -> None:
    """Change the state of charge; what took hours in truth takes a bus that lies on the pack along."""
    before = rest_voltage(at.p, at.m[code.SOC])
    at.m[code.SOC] += steps
    if at.m[code.BAT] == code.CLOSED or (not at.p.switched and at.m[code.PACK] == code.FITTED):
        v = max(at.x[code.V_BUS] + rest_voltage(at.p, at.m[code.SOC]) - before, 0.0)
        at.x[code.V_BUS], at.x[code.W_BUS] = v, 0.5 * at.p.c_bus * v * v


def _fill(at: _Instant) -> None:
    _charge(at, 1)
    if at.m[code.SOC] == code.FULL:
        at.x[code.U] = 0.0  # the taper has let the polarisation die away


def _gives(at: _Instant) -> bool:
    return bool(at.m[code.SRC] == code.GIVES)


EVENTS: tuple[Event, ...] = (
    Event(word="plug", title="source plugged", can=lambda at: at.m[code.SRC] == code.ABSENT, do=_plug),
    Event(
        word="contract",
        title="contract negotiated",
        can=lambda at: at.p.talks and _gives(at) and at.m[code.AT] == 0 and at.m[code.ASKED] == 0,
        do=_contract,
    ),
    Event(word="boot", title="product switched on", can=lambda at: at.m[code.WANT] == 0, do=_boot),
    Event(
        word="step",
        title="load rises to the busiest mode",
        can=lambda at: at.m[code.LOAD] == code.RUNS and at.m[code.STEP] == 0 and at.p.p_busy > at.p.p_light,
        do=_step,
    ),
    Event(
        word="release",
        title="load falls to the lightest mode",
        can=lambda at: at.m[code.STEP] == 1 and at.m[code.LOAD] == code.RUNS,
        do=_release,
    ),
    Event(
        word="peak",
        title="load peak",
        can=lambda at: at.m[code.LOAD] == code.RUNS and at.p.t_peak > 0.0,
        do=_peak,
    ),
    Event(word="unplug", title="source unplugged", can=lambda at: at.m[code.SRC] != code.ABSENT, do=_unplug),
    Event(word="dip", title="source drops out for a moment", can=lambda at: _gives(at), do=_dip),
    Event(
        word="trip",
        title="source acts on an overload of its own",
        can=lambda at: _gives(at) and at.p.kind >= code.HICCUPS,
        do=_trip,
    ),
    Event(
        word="reset",
        title="hard reset of the contract",
        can=lambda at: at.p.talks and _gives(at) and at.m[code.AT] == 1,
        do=_reset,
    ),
    Event(word="remove", title="pack removed", can=lambda at: at.m[code.PACK] != code.NONE, do=_remove),
    Event(word="fit", title="pack fitted", can=lambda at: at.m[code.PACK] == code.NONE, do=_fit),
    Event(
        word="drain",
        title="pack runs down",
        can=lambda at: (
            at.m[code.PACK] == code.FITTED
            and at.m[code.SOC] > code.FLAT
            and (at.x[code.I_PACK] < -1e-6 or at.m[code.SRC] == code.ABSENT)
        ),
        do=_drain,
    ),
    Event(
        word="fill",
        title="pack is charged",
        can=lambda at: (
            at.m[code.PACK] == code.FITTED
            and at.m[code.SOC] < code.FULL
            and at.x[code.I_PACK] > 0.02 * (at.p.i_charge_flat if at.m[code.SOC] == code.FLAT else at.p.i_charge_half)
        ),
        do=_fill,
    ),
    Event(word="shut", title="product switched off", can=lambda at: at.m[code.WANT] == 1, do=_shut),
)
"""In the order in which they are tried."""
_BY_WORD = {e.word: e for e in EVENTS}


def event(word: str) -> Event:
    """Return the event of a script's word. Raises ChargewrightError for an unknown one, naming the nearest."""
    found = _BY_WORD.get(word.strip().lower())
    if found is None:
        close = nearest(word.strip().lower(), list(_BY_WORD))
        hint = f"did you mean {close!r}? " if close else ""
        raise ChargewrightError(f"{word.strip()!r} is no event; {hint}events: {', '.join(_BY_WORD)}")
    return found


def possible(machine: Machine, standing: Standing) -> tuple[Event, ...]:
    """Return the events that can happen at an instant."""
    at = _Instant.of(machine, standing)
    return tuple(e for e in EVENTS if e.can(at))


def after(machine: Machine, standing: Standing, what: Event) -> Standing:
    """Return the instant with an event in force, its clocks counted from now. Raises ChargewrightError if it cannot."""
    at = _Instant.of(machine, standing)
    if not what.can(at):
        raise ChargewrightError(f"{what.word!r} ({what.title}) cannot happen here")
    what.do(at)
    return Standing(now=tuple(at.m), clocks=tuple(at.d), x=tuple(at.x))

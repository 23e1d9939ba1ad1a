"""Events in their order on one path: what source, input, switch, pack, supplement and load do after each.

A `Standing` is everything at one instant. An event changes it at once; `passage` then runs the automaton until all is
at rest, or until it has come back to where it was a second time in the same interval, which is a limit cycle.
"""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import OutOfRange
from chargewright.sim import _sequence_steps as steps
from chargewright.sim import sequence_rules as code
from chargewright.sim._sequence_nodes import stored
from chargewright.sim.sequence_rules import Machine

Ending = Literal["at rest", "limit cycle", "not settled", "broken into"]
Floats = npt.NDArray[np.float64]
INF = math.inf
_CHANGES = 400
_STEPS = 6_000
_SAME_V = 0.02
"""How near voltages have to be, over the source's, to count as the same when a state returns [1]."""
_SAME_PERIOD = 0.02
_SURE_ROUNDS = 25
"""Rounds of the same changes that are a limit cycle even if they do not take quite the same time."""
_Seen = tuple[int, tuple[float, ...], tuple[float, ...]]
"""Number of a change, the continuous state and the deadlines after it."""
ROW = ("t", "v_in", "v_bus", "v_connector", "i_source", "i_pack", "p_load")
_ROW = (code.T, code.V_IN, code.V_BUS, code.V_CONNECTOR, code.I_SOURCE, code.I_PACK, code.P_LOAD)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Everything at one instant."""

    now: tuple[int, ...]
    """Discrete state; places: `sim.sequence_rules`."""
    clocks: tuple[float, ...]
    """Time left until each deadline [s]; inf where nothing is waited for."""
    x: tuple[float, ...]
    """Continuous state."""

    @property
    def v_bus(self) -> float:
        """Voltage of the bus [V]."""
        return self.x[code.V_BUS]

    @property
    def i_pack(self) -> float:
        """Current into the pack [A]."""
        return self.x[code.I_PACK]

    @property
    def i_source(self) -> float:
        """Current out of the source [A]."""
        return self.x[code.I_SOURCE]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change of the discrete state."""

    t: float
    """Since the event [s]."""
    now: tuple[int, ...]
    v_bus: float
    i_source: float
    i_pack: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sums:
    """What a passage adds up, SI; see `sim.sequence_rules`."""

    e_source: float
    e_pack: float
    e_load: float
    e_loss: float
    e_stored: float
    i_peak: float
    v_low: float
    t_beyond: float
    t_diode: float
    v_in_low: float
    steps: int

    @property
    def unaccounted(self) -> float:
        """Energy that is in none of the lines, over all that moved [1]."""
        moved = abs(self.e_source) + abs(self.e_pack) + abs(self.e_load) + abs(self.e_stored) + 1e-12
        return abs(self.e_source + self.e_pack - self.e_load - self.e_loss - self.e_stored) / moved


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Passage:
    """From an event to rest, or round a limit cycle."""

    start: Standing
    """With the event in force."""
    end: Standing
    ending: Ending
    changes: tuple[Change, ...]
    cycle: tuple[Change, ...]
    """The changes of one round; empty where there is no limit cycle."""
    period: float
    """Of the limit cycle [s]; nan without one."""
    sums: Sums
    rows: Floats
    """(n, `ROW`); empty where not recorded."""
    midway: tuple[Standing, ...] = ()
    """The instants after each change; empty where not asked for."""


def beginning(machine: Machine, *, pack: bool = True, soc: int = code.HALF) -> Standing:
    """Return a product that is off, no source plugged, with a pack or without, all capacitors empty."""
    now = [0] * code.DISCRETE
    now[code.PACK] = code.FITTED if pack else code.NONE
    now[code.SOC] = soc
    now[code.AT] = 0 if machine.talks else 1
    x = [0.0] * code.CONTINUOUS
    return Standing(now=tuple(now), clocks=(INF,) * code.CLOCKS, x=tuple(x))


def passage(
    machine: Machine,
    start: Standing,
    *,
    until: float = INF,
    longest: float = 1e6,
    record: bool = False,
    midway: bool = False,
) -> Passage:
    """Return what happens from an instant on, until rest, a proven limit cycle or `longest` seconds.

    until  : break off there, so that the next event can come [s]
    record : keep a row for every step
    midway : keep the instant after every change
    """
    m, d, x, s = _unpacked(start)
    d[code.C_STOP] = until
    seen: dict[tuple[int, ...], list[_Seen]] = {}
    changes: list[Change] = []
    between: list[Standing] = []
    rows: list[tuple[float, ...]] = [_row(x)] if record else []
    ending: Ending = "not settled"
    cycle: tuple[Change, ...] = ()
    period = math.nan
    left = _STEPS
    while left > 0 and len(changes) < _CHANGES and x[code.T] < longest:
        before = s[code.STEPS]
        result = steps.advance(machine, m, d, x, s, 1 if record else left)
        left -= int(s[code.STEPS] - before) + 1
        if record:
            rows.append(_row(x))
        if result == code.SETTLED:
            ending = "at rest"
            break
        if x[code.T] >= until:
            ending = "broken into"
            d[code.C_STOP] = INF
            break
        if result != code.CHANGED:
            continue
        now = tuple(int(k) for k in m)
        changes.append(
            Change(
                t=float(x[code.T]),
                now=now,
                v_bus=float(x[code.V_BUS]),
                i_source=float(x[code.I_SOURCE]),
                i_pack=float(x[code.I_PACK]),
            )
        )
        if midway:
            between.append(_packed(m, d, x))
        earlier = seen.setdefault(now, [])
        earlier.append((len(changes) - 1, tuple(x), tuple(d)))
        rounds = _rounds(machine, changes, earlier)
        if rounds:
            first, last = earlier[-1 - rounds][0], earlier[-1][0]
            cycle = tuple(changes[earlier[-2][0] : last])
            period = (changes[last].t - changes[first].t) / rounds
            ending = "limit cycle"
            break
    return Passage(
        start=start,
        end=_packed(m, d, x),
        ending=ending,
        changes=tuple(changes),
        cycle=cycle,
        period=period,
        sums=_sums(s),
        rows=np.array(rows, dtype=float).reshape(-1, len(ROW)),
        midway=tuple(between),
    )


def _rounds(machine: Machine, changes: list[Change], earlier: list[_Seen]) -> int:
    """Return how many rounds of one cycle the last visits to this discrete state prove; 0 for none.

    Two, where clocks, voltages and times agree; many, where only the changes do, since something slow still drifts.
    """
    if len(earlier) >= 3 and _returns(machine, changes, earlier):
        return 1
    if len(earlier) > _SURE_ROUNDS:
        edges = [seen[0] for seen in earlier[-1 - _SURE_ROUNDS :]]
        rounds = [[c.now for c in changes[a:b]] for a, b in pairwise(edges)]
        if all(one == rounds[0] for one in rounds):
            return _SURE_ROUNDS
    return 0


def _returns(machine: Machine, changes: list[Change], earlier: list[_Seen]) -> bool:
    """Say whether the last three times at this discrete state are two rounds of one cycle, clocks and voltages too."""
    (k0, _, _), (k1, x1, d1), (k2, x2, d2) = earlier[-3:]
    first, second = changes[k1].t - changes[k0].t, changes[k2].t - changes[k1].t
    if k1 - k0 != k2 - k1 or abs(first - second) > _SAME_PERIOD * max(second, 1e-9):
        return False
    near = _SAME_V * machine.e_1
    same = all(abs(x1[k] - x2[k]) < near for k in (code.V_BUS, code.V_IN, code.U))
    for a, b in zip(d1, d2, strict=True):
        same = same and (a == b == INF or abs(a + second - b) <= _SAME_PERIOD * second)
    return same and [c.now for c in changes[k0:k1]] == [c.now for c in changes[k1:k2]]


def _unpacked(start: Standing) -> tuple[Any, Any, Any, Any]:
    m, d, x = list(start.now), list(start.clocks), list(start.x)
    x[code.T] = 0.0
    x[code.STEP_NEXT] = 2e-6
    s = [0.0] * code.SUMS
    s[code.V_LOW] = s[code.V_IN_LOW] = INF
    return m, d, x, s


def _packed(m: Any, d: Any, x: Any) -> Standing:
    t = float(x[code.T])
    clocks = (*(float(c) - t for c in d[: code.C_STOP]), INF)
    return Standing(now=tuple(int(k) for k in m), clocks=clocks, x=tuple(float(v) for v in x))


def _row(x: Any) -> tuple[float, ...]:
    return tuple(float(x[k]) for k in _ROW)


def _sums(s: Any) -> Sums:
    values = [float(v) for v in s]
    return Sums(
        e_source=values[code.E_SOURCE],
        e_pack=values[code.E_PACK],
        e_load=values[code.E_LOAD],
        e_loss=values[code.E_LOSS],
        e_stored=values[code.E_STORED],
        i_peak=values[code.I_PEAK],
        v_low=values[code.V_LOW],
        t_beyond=values[code.T_BEYOND],
        t_diode=values[code.T_DIODE],
        v_in_low=values[code.V_IN_LOW],
        steps=int(values[code.STEPS]),
    )


def charged(machine: Machine, standing: Standing, v_bus: float, v_in: float = 0.0) -> Standing:
    """Return an instant with its capacitors charged to given voltages [V]. Raises OutOfRange below zero."""
    if v_bus < 0.0 or v_in < 0.0:
        raise OutOfRange("capacitors are charged to zero or more volts here")
    x = list(standing.x)
    x[code.W_BUS], x[code.W_IN] = 0.5 * machine.c_bus * v_bus**2, 0.5 * machine.c_in * v_in**2
    x[code.V_BUS] = stored(machine.c_bus, x[code.W_BUS])
    x[code.V_IN] = stored(machine.c_in, x[code.W_IN])
    return Standing(now=standing.now, clocks=standing.clocks, x=tuple(x))

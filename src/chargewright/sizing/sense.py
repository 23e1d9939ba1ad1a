"""Sense resistors: watts at full current against accuracy at the small currents."""

from dataclasses import replace
from math import sqrt

from chargewright.base.errors import NoSolution
from chargewright.base.units import show
from chargewright.parts.catalogue import Parts
from chargewright.parts.sense_resistor import SenseResistor
from chargewright.physics.budget import sense_offset_current
from chargewright.physics.conduction import resistive_loss
from chargewright.physics.thermal import heated_temperature
from chargewright.sizing.demand import Demand
from chargewright.sizing.records import SenseError, SenseRole, SenseTrade

AIMS = {"full": 0.02, "precharge": 0.10, "termination": 0.10}
"""Errors [1] that a charge resistor should stay within: 2 % of the full current, 10 % of precharge and termination
(common practice: cell makers state both small currents to about a tenth)."""
_TEMP_REF = 298.15


def sense_trades(demand: Demand, parts: Parts, temp_board: float) -> tuple[SenseTrade, ...]:
    """Return every catalogue resistor in both positions, by resistance, with the chosen ones marked.

    temp_board : hottest board [K]
    Chosen is the least loss, cost and area among those that keep rating and temperature and whose errors are within
    the aim; where none is accurate enough, the most accurate that keeps rating and temperature.
    The aim of the source resistor is the margin that the input limit keeps below the source's rating.
    Raises NoSolution where none keeps rating and temperature.
    """
    wires = demand.wires
    charge = {"full": wires.i_charge, "precharge": wires.i_precharge, "termination": wires.i_termination}
    return (
        *_trades("source", {"full": wires.i_source}, {"full": demand.rules.source_margin}, demand, parts, temp_board),
        *_trades("charge", charge, AIMS, demand, parts, temp_board),
    )


def chosen(trades: tuple[SenseTrade, ...], role: SenseRole, parts: Parts) -> SenseResistor:
    """Return the chosen resistor of one position."""
    return parts.sense_resistors.named(next(t.name for t in trades if t.role == role and t.chosen))


def sense_error(part: SenseResistor, at: str, current: float, temp: float, v_offset: float) -> SenseError:
    """Return the error of a sensed current: the resistor's tolerance, its drift to `temp`, and the amplifier's offset.

    `temp_co` bounds the drift either way; the offset counts against the current itself, so it decides where the
    current is small.
    """
    drift = part.temp_co * abs(temp - _TEMP_REF)
    offset = float(sense_offset_current(v_offset, part.r)) / current
    return SenseError(
        at=at,
        current=current,
        tolerance=part.tol,
        temperature=drift,
        offset=offset,
        worst=part.tol + drift + offset,
    )


def current_rating(part: SenseResistor, derating: float) -> float:
    """Return the current [A] at the derated rating: power goes with its square."""
    return derating * sqrt(part.p_max / part.r)


def _trades(
    role: SenseRole,
    currents: dict[str, float],
    aims: dict[str, float],
    demand: Demand,
    parts: Parts,
    temp_board: float,
) -> tuple[SenseTrade, ...]:
    rules, rows = demand.rules, []
    full = currents["full"]
    for part in parts.sense_resistors:
        loss = float(resistive_loss(full, part.r))
        temp = float(heated_temperature(temp_board, loss, part.rth))
        errors = tuple(sense_error(part, at, i, temp, demand.wires.sense_offset) for at, i in currents.items())
        rows.append(
            SenseTrade(
                role=role,
                name=part.name,
                r=part.r,
                p_loss=loss,
                temp=temp,
                errors=errors,
                score=demand.exchange.score(loss, part.cost, part.area),
                fits=full <= current_rating(part, rules.i_derating) and temp <= rules.temp_part_max,
                accurate=all(e.worst <= aims[e.at] for e in errors),
                chosen=False,
                why="",
            )
        )
    return _decided(role, rows, aims)


def _decided(role: SenseRole, rows: list[SenseTrade], aims: dict[str, float]) -> tuple[SenseTrade, ...]:
    fitting = [t for t in rows if t.fits]
    if not fitting:
        coolest = min(rows, key=lambda t: t.temp, default=None)
        nearest = f"; the coolest, {coolest.name}, would reach {show(coolest.temp, 'K')}" if coolest else ""
        raise NoSolution(f"{role} sense resistor: none keeps its rating and temperature{nearest}")

    def excess(t: SenseTrade) -> float:
        return max(e.worst / aims[e.at] for e in t.errors)

    accurate = [t for t in fitting if t.accurate]
    best = min(accurate, key=lambda t: t.score) if accurate else min(fitting, key=excess)
    found = []
    for t in sorted(rows, key=lambda t: (t.r, t.score)):
        tightest = max(t.errors, key=lambda e: e.worst / aims[e.at])
        error = f"{tightest.worst:.1%} at {tightest.at} current against an aim of {aims[tightest.at]:.0%}"
        if t is best and accurate:
            why = f"least loss, cost and area of those within the aims: {show(t.p_loss, 'W')}, {error}"
        elif t is best:
            why = f"none is within the aims; the most accurate that keeps its rating: {error}"
        elif not t.fits:
            why = f"beyond its rating or temperature: {show(t.p_loss, 'W')}, {show(t.temp, 'K')}"
        elif not t.accurate:
            why = f"not accurate enough: {error}"
        else:
            why = f"worth {show(t.score - best.score, 'W')} more in loss, cost and area"
        found.append(replace(t, chosen=t is best, why=why))
    return tuple(found)

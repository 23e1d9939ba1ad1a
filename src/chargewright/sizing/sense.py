"""Sense resistors: watts at full current against accuracy at the small currents."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import NoSolution
from chargewright.base.units import show
from chargewright.parts.catalogue import Parts
from chargewright.parts.sense_resistor import SenseResistor
from chargewright.physics.budget import sense_offset_current
from chargewright.physics.conduction import resistive_loss
from chargewright.physics.thermal import heated_temperature
from chargewright.sizing.demand import Demand
from chargewright.sizing.records import SenseError, SenseRole, SenseTrade

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

AIMS = {"full": 0.02, "precharge": 0.10, "termination": 0.10}
"""Errors [1] that a charge resistor should stay within: 2 % of the full current, 10 % of precharge and termination
(common practice: cell makers state both small currents to about a tenth)."""
_TEMP_REF = 298.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensing:
    """The resistor chosen for one position."""

    part: SenseResistor
    i: float
    """Full current [A]."""
    p_loss: float
    temp: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """Every catalogue resistor in one position: arrays (parts,), errors (set-points, parts)."""

    currents: dict[str, float]
    aims: dict[str, float]
    r: Floats
    p_loss: Floats
    temp: Floats
    tolerance: Floats
    drift: Floats
    offset: Floats
    worst: Floats
    score: Floats
    fits: Bools
    accurate: Bools
    counted_on: Bools
    """Whether the controller counts on this resistance."""
    best: int


def sensing(role: SenseRole, demand: Demand, parts: Parts, temp_board: float) -> Sensing:
    """Return the resistor of one position on a board of a temperature [K]; which, see `sense_trades`."""
    t = _table(role, demand, parts, temp_board)
    return Sensing(
        part=parts.sense_resistors.record(t.best),
        i=t.currents["full"],
        p_loss=float(t.p_loss[t.best]),
        temp=float(t.temp[t.best]),
    )


def sense_trades(demand: Demand, parts: Parts, temp_board: float) -> tuple[SenseTrade, ...]:
    """Return every catalogue resistor in both positions, by resistance, with the chosen ones marked.

    temp_board : hottest board [K]
    Chosen is the least loss, cost and area among those that keep rating and temperature and whose errors are within
    the aim, first among those of the resistance that the controller counts on: another one scales every current code.
    Where none is accurate enough, the most accurate that keeps rating and temperature.
    The aim of the source resistor is the margin that the input limit keeps below the source's rating.
    Raises NoSolution where none keeps rating and temperature.
    """
    found: list[SenseTrade] = []
    roles: tuple[SenseRole, ...] = ("source", "charge")
    for role in roles:
        t = _table(role, demand, parts, temp_board)
        order = np.lexsort((t.score, parts.sense_resistors.column("r")))
        found += [_trade(role, t, parts.sense_resistors.record(int(k)), int(k)) for k in order]
    return tuple(found)


def sense_errors(tol: Any, temp_co: Any, r: Any, temp: Any, v_offset: float, current: Any) -> tuple[Any, Any, Any]:
    """Return the parts of a sensed current's error over the current [1]: tolerance, drift with heat, offset.

    `temp_co` bounds the drift either way; the amplifier's offset is one current, so it decides where little flows.
    """
    return tol, temp_co * np.abs(temp - _TEMP_REF), sense_offset_current(v_offset, r) / current


def current_rating(p_max: Any, r: Any, derating: float) -> Any:
    """Return the current [A] at the derated rating: the power goes with its square."""
    return derating * np.sqrt(p_max / r)


def _table(role: SenseRole, demand: Demand, parts: Parts, temp_board: float) -> _Table:
    wires, rules, column = demand.wires, demand.rules, parts.sense_resistors.column
    if role == "source":
        currents, aims = {"full": wires.i_source}, {"full": rules.source_margin}
    else:
        currents = {"full": wires.i_charge, "precharge": wires.i_precharge, "termination": wires.i_termination}
        aims = AIMS
    full, at = currents["full"], np.array(list(currents.values()))[:, None]
    p_loss = resistive_loss(full, column("r"))
    temp = heated_temperature(temp_board, p_loss, column("rth"))
    tolerance, drift, offset = sense_errors(
        column("tol"), column("temp_co"), column("r"), temp, demand.wires.sense_offset, at
    )
    worst = tolerance + drift + offset
    excess = (worst / np.array([aims[k] for k in currents])[:, None]).max(axis=0)
    fits = (full <= current_rating(column("p_max"), column("r"), rules.i_derating)) & (temp <= rules.temp_part_max)
    if not fits.any():
        raise NoSolution(_none_fits(role, parts, full, temp, rules.temp_part_max))
    score = demand.exchange.score(p_loss, column("cost"), column("area"))
    accurate = excess <= 1.0
    expected = wires.r_source if role == "source" else wires.r_charge
    counted_on = np.isclose(column("r"), expected if expected is not None else np.nan, rtol=1e-6)
    good = fits & accurate
    if (good & counted_on).any():
        good = good & counted_on
    best = np.argmin(np.where(good, score, np.inf)) if good.any() else np.argmin(np.where(fits, excess, np.inf))
    return _Table(
        currents=currents,
        aims=aims,
        r=column("r"),
        p_loss=p_loss,
        temp=np.asarray(temp),
        tolerance=tolerance,
        drift=drift,
        offset=offset,
        worst=worst,
        score=score,
        fits=fits,
        accurate=accurate,
        counted_on=counted_on,
        best=int(best),
    )


def _none_fits(role: SenseRole, parts: Parts, i: float, temp: Any, limit: float) -> str:
    if not len(parts.sense_resistors):
        return f"{role} sense resistor: there are none to choose from"
    k = int(np.argmin(temp))
    return (
        f"{role} sense resistor: none keeps its rating and temperature at {show(i, 'A')}; the coolest, "
        f"{parts.sense_resistors.record(k).name}, would reach {show(float(temp[k]), 'K')} against {show(limit, 'K')}"
    )


def _trade(role: SenseRole, t: _Table, part: SenseResistor, k: int) -> SenseTrade:
    errors = tuple(
        SenseError(
            at=at,
            current=current,
            tolerance=float(t.tolerance[k]),
            temperature=float(t.drift[k]),
            offset=float(t.offset[n, k]),
            worst=float(t.worst[n, k]),
        )
        for n, (at, current) in enumerate(t.currents.items())
    )
    return SenseTrade(
        role=role,
        name=part.name,
        r=part.r,
        p_loss=float(t.p_loss[k]),
        temp=float(t.temp[k]),
        errors=errors,
        score=float(t.score[k]),
        fits=bool(t.fits[k]),
        accurate=bool(t.accurate[k]),
        chosen=k == t.best,
        why=_why(t, errors, k),
    )


def _why(t: _Table, errors: tuple[SenseError, ...], k: int) -> str:
    tightest = max(errors, key=lambda e: e.worst / t.aims[e.at])
    error = (
        f"{show(tightest.worst, '1', 2)} at {tightest.at} current against an aim of {show(t.aims[tightest.at], '1')}"
    )
    loss = show(float(t.p_loss[k]), "W")
    if k == t.best and t.accurate[k] and t.counted_on[k]:
        return f"the controller counts on {show(float(t.r[k]), 'ohm')}, and it is within the aims: {loss}, {error}"
    if k == t.best and t.accurate[k]:
        return f"least loss, cost and area of those within the aims: {loss}, {error}"
    if k == t.best:
        return f"none that keeps its rating is within the aims; this is the most accurate: {error}"
    if not t.fits[k]:
        return f"beyond its rating or temperature: {loss}, {show(float(t.temp[k]), 'K')}"
    if not t.accurate[k]:
        return f"not accurate enough: {error}"
    if t.counted_on[t.best] and not t.counted_on[k]:
        return "the controller counts on another resistance"
    return f"worth {show(float(t.score[k] - t.score[t.best]), 'W')} more in loss, cost and area"

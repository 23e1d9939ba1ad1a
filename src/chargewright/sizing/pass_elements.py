"""Switches that only pass current: the blocking pair and the battery switch."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from chargewright.base.errors import NoSolution
from chargewright.base.units import show
from chargewright.parts.kind import Catalogue
from chargewright.parts.switch import Switch
from chargewright.physics.conduction import resistive_loss
from chargewright.physics.thermal import self_heated_temperature
from chargewright.sizing.demand import Demand

OVERSHOOT = 1.15
"""Peak over rail of a node that rings when it is switched, in a tight layout; common practice. The usual derating of
80 % holds it; where a design allows more of the rating, this still has to fit below it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Passing:
    """One pass element with what it has to do."""

    place: str
    part: Switch
    bodies: int
    v: float
    """Voltage it has to stand [V]."""
    i: float
    p_loss: float
    """Of all bodies [W]."""
    temp: float
    """Hottest junction while it conducts [K]."""
    temp_linear: float | None
    """Hottest junction while it is worked as a linear element [K]; None if it never is."""


def derated(v: float, share: float) -> float:
    """Return the rating [V] of which `v` is the share that may be used, less a rounding: 24 V at 80 % is 30 V."""
    return v / share * (1.0 - 1e-9)


def rating_needed(v: float, derating: float) -> float:
    """Return the voltage rating [V] that a switch on a rail of `v` needs: derated, and above the ringing."""
    return max(derated(v, derating), v * OVERSHOOT)


def blocking_pair(demand: Demand, parts: Catalogue[Switch], temp_board: float) -> Passing:
    """Return the cheapest pair, loss counted, that stands the source's fault voltage and carries its current."""
    wires = demand.wires
    return _best(demand, parts, temp_board, "blocking pair", 2, wires.v_source_max, wires.i_source, 0.0)


def battery_switch(demand: Demand, parts: Catalogue[Switch], temp_board: float) -> Passing | None:
    """Return the battery switch; None where the path has none."""
    if not demand.has_battery_switch:
        return None
    wires = demand.wires
    i = max(wires.i_discharge, wires.i_charge)
    return _best(demand, parts, temp_board, "battery switch", 1, wires.v_bus_max, i, wires.p_linear)


def _best(
    demand: Demand,
    parts: Catalogue[Switch],
    temp_board: float,
    place: str,
    bodies: int,
    v: float,
    i: float,
    p_linear: float,
) -> Passing:
    rules = demand.rules
    col = parts.column
    needed = rating_needed(v, rules.v_derating)
    temp = self_heated_temperature(temp_board, col("rth_jb"), i, col("r_on_25"), col("r_on_temp_co"))
    linear = temp_board + col("rth_jb") * p_linear
    limit = np.minimum(rules.temp_j_max, col("temp_j_max"))
    rise = np.maximum(limit - temp_board, 1e-9)
    used: dict[str, Any] = {
        "voltage": needed / col("v_max"),
        "current": i / (rules.i_derating * col("i_max")),
        "junction temperature": np.maximum(temp - temp_board, 0.0) / rise,
        "junction temperature in linear use": (linear - temp_board) / rise,
    }
    worst = np.max(np.stack(list(used.values())), axis=0)
    if not len(parts) or worst.min() > 1.0:
        raise NoSolution(_nothing(place, parts, used, worst, needed, i))
    loss = bodies * resistive_loss(i, col("r_on_25") * (1.0 + col("r_on_temp_co") * (temp - 298.15)))
    score = demand.exchange.score(loss, bodies * col("cost"), bodies * col("area"))
    k = int(np.argmin(np.where(worst <= 1.0, score, np.inf)))
    return Passing(
        place=place,
        part=parts.record(k),
        bodies=bodies,
        v=v,
        i=i,
        p_loss=float(loss[k]),
        temp=float(temp[k]),
        temp_linear=float(linear[k]) if p_linear > 0.0 else None,
    )


def _nothing(place: str, parts: Catalogue[Switch], used: dict[str, Any], worst: Any, needed: float, i: float) -> str:
    if not len(parts):
        return f"{place}: there are no switches to choose from"
    k = int(np.argmin(worst))
    rule = max(used, key=lambda name: float(used[name][k]))
    return (
        f"{place}: no switch keeps every rule (rating of {show(needed, 'V')} after derating, {show(i, 'A')}); "
        f"the nearest, {parts.record(k).name}, misses the {rule} by {100.0 * (float(worst[k]) - 1.0):.0f} %"
    )

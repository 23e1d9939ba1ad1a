"""From situation and path to the demand on parts: contracts, bus window, load points and corners, rails."""

from dataclasses import dataclass

import numpy as np

from chargewright.base.units import parse
from chargewright.network.graph import PowerPath
from chargewright.parts.pack import pack_ocv
from chargewright.parts.regulator import Regulator, generic_regulator
from chargewright.parts.supply import Supply, worst_input_voltage
from chargewright.sizing.demand import Demand, Points, StageDemand, WiresDemand
from chargewright.sizing.exchange import exchange_of
from chargewright.studies.operate import source_limit
from chargewright.studies.situation import Situation, mode_power

NEAR_THE_BUS = 1.5
"""Highest source voltage over the full pack's that still counts as near the bus [1]: one rating class (our choice)."""
_STAGE_GUESS = 0.94
"""Efficiency used only to estimate the currents that parts are chosen for; the solver then computes the real one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What one path means for one situation, before any part is chosen."""

    path: PowerPath
    contracts: dict[str, Supply]
    """Source name to the contract this path would ask for."""
    through: frozenset[str]
    """Sources whose voltage may be passed straight to the bus."""
    v_bus_max: float
    """Highest bus in any state [V]."""
    v_bus_source_min: float
    """Lowest bus while a source is there, from its tolerance and cable alone [V]."""
    rails: tuple[Regulator, ...]

    @property
    def strongest(self) -> str:
        """Name of the source whose contract gives the most power, whether or not the day uses it."""
        return max(self.contracts, key=lambda name: self.contracts[name].power)


def lowest_input(supply: Supply) -> float:
    """Return the lowest voltage at the product's connector at rated current [V]: low edge, worn and hot cable."""
    return float(worst_input_voltage(supply, supply.i_rated))


def plan(case: Situation, path: PowerPath) -> Plan:
    """Return contracts, bus window and rails of a path."""
    contracts = {name: contract_for(case, path, found) for name, found in case.sources.items()}
    through = frozenset(n for n, s in contracts.items() if can_pass_through(case, path, s))
    above = case.design.rules.floor_above_empty
    if path.narrow:
        highest = max([case.v_full + above, *(contracts[n].v_max_normal for n in through)])
        lowest = case.bus_min + above
    else:
        highest = max([case.v_full, *(s.v_max_normal for s in contracts.values())])
        lowest = min(lowest_input(s) for s in contracts.values())
    rules = case.design.rules
    rails = tuple(generic_regulator(r, highest, rules.v_derating, rules.headroom) for r in case.rails)
    return Plan(
        path=path, contracts=contracts, through=through, v_bus_max=highest, v_bus_source_min=lowest, rails=rails
    )


def least_input(case: Situation, path: PowerPath) -> float:
    """Return the lowest stage input a buck needs to finish the charge, its drops left out [V]; 0 for four switches.

    v_full / duty_max: common practice; the solver judges with all drops.
    """
    return case.v_full / case.design.rules.duty_max if path.stage.legs == "buck" else 0.0


def contract_for(case: Situation, path: PowerPath, offered: tuple[Supply, ...]) -> Supply:
    """Return the contract that a path asks for: the strongest that can finish the charge, then the nearest to the pack.

    Judged at the low edge of the tolerance with a worn, hot cable. If none can finish the charge, the strongest.
    """
    fixed = [s for s in offered if s.adjustable is None]
    fitting = [s for s in fixed if lowest_input(s) > least_input(case, path)] or fixed
    power = max(s.power for s in fitting)
    strong = [s for s in fitting if s.power > 0.98 * power]
    return min(strong, key=lambda s: abs(s.v_set.typ - case.v_full))


def can_pass_through(case: Situation, path: PowerPath, supply: Supply) -> bool:
    """Return whether a source may go straight onto the bus.

    Never below the full pack, which would flow out through the battery switch's diode; never above what the rails
    stand; and only near the bus, since every rail pays for the rating that a source far above it asks, in all states.
    """
    if path.state("pass-through") is None or supply.v_max_normal > NEAR_THE_BUS * case.v_full:
        return False
    lowest = lowest_input(supply)
    return lowest > case.v_full and supply.v_max_normal <= case.bus_max


def demand(case: Situation, chosen: Plan) -> Demand:
    """Return what a path asks of its parts."""
    path, rules = chosen.path, case.design.rules
    v_source_max = max(s.v_max_normal for s in chosen.contracts.values())
    v_fault = max(s.v_max_fault for s in chosen.contracts.values())
    i_source = max(source_limit(case, s) for s in chosen.contracts.values())
    v_low = max(case.pack.v_empty, case.bus_min)
    above = rules.floor_above_empty
    linear = 0.0
    if path.narrow and path.wire("battery-switch") is not None:
        linear = max(case.bus_min + above - case.pack.v_empty, above) * case.i_precharge
    return Demand(
        path=path.key,
        stage=StageDemand(
            legs=path.stage.legs,
            usual=(usual := _usual(case, chosen))[0],
            weights=usual[1],
            corners=_corners(case, chosen),
            v_a_max=v_source_max,
            v_b_max=case.v_full + above,
            temp_ambient=case.design.ambient.hot,
            r_board=case.design.ambient.board,
            p_elsewhere=0.08 * case.p_busy,
        ),
        wires=WiresDemand(
            i_source=i_source,
            v_source_max=v_fault,
            i_charge=case.i_charge,
            i_precharge=case.i_precharge,
            i_termination=case.i_termination,
            i_discharge=case.p_busy / _STAGE_GUESS / v_low,
            v_bus_max=chosen.v_bus_max,
            p_linear=linear,
            sense_offset=case.design.charge.sense_offset,
            r_source=case.controller.r_configured("source"),
            r_charge=case.controller.r_configured("pack"),
        ),
        rules=rules,
        f_sw=tuple(parse(text, "Hz") for text in case.design.parts.f_sw),
        has_battery_switch=path.wire("battery-switch") is not None,
        exchange=exchange_of(case.design.weights),
    )


def _output_current(
    case: Situation, chosen: Plan, supply: Supply, v_out: float, p_load: float, i_charge: float
) -> float:
    """Return what the stage delivers [A], cut to what the source gives."""
    path = chosen.path
    asked = i_charge + (p_load / _STAGE_GUESS / v_out if path.narrow else 0.0)
    power = source_limit(case, supply) * supply.v_set.typ * _STAGE_GUESS
    left = power if path.narrow else max(power - p_load / _STAGE_GUESS, 0.05 * power)
    return max(min(asked, left / v_out), 0.02 * case.i_charge)


def _usual(case: Situation, chosen: Plan) -> tuple[Points, np.ndarray]:
    mid = float(pack_ocv(case.pack, 0.5, 298.15))
    rows: list[tuple[float, float, float, bool, float]] = []
    for stretch in case.usage:
        if stretch.source == "none":
            continue
        supply = chosen.contracts[stretch.source]
        p = mode_power(case, stretch.mode)
        half = 0.5 * stretch.duration
        rows.append((supply.v_set.typ, mid, _output_current(case, chosen, supply, mid, p, case.i_charge), False, half))
        if chosen.path.narrow:
            idle = _output_current(case, chosen, supply, case.v_full, p, 0.0)
            rows.append((supply.v_set.typ, case.v_full, idle, False, half))
    if not rows:
        supply = next(iter(chosen.contracts.values()))
        rows.append((supply.v_set.typ, mid, _output_current(case, chosen, supply, mid, 0.0, case.i_charge), False, 1.0))
    table = np.array(rows, dtype=float)
    n = len(rows)
    points = Points(
        v_in=table[:, 0],
        v_out=table[:, 1],
        i_out=table[:, 2],
        reverse=np.zeros(n, dtype=bool),
        lasting=np.ones(n, dtype=bool),
    )
    return points, table[:, 4] / table[:, 4].sum()


def _corners(case: Situation, chosen: Plan) -> Points:
    """Every source at both edges, the pack empty and full, full charge with and without the busiest load, and peaks."""
    rows: list[tuple[float, float, float, bool, bool]] = []
    v_low = max(case.pack.v_precharge, 1.0)
    for supply in chosen.contracts.values():
        for v_in in (lowest_input(supply), supply.v_max_normal):
            for v_out in (v_low, case.v_full):
                for p in (0.0, case.p_busy):
                    rows.append(
                        (v_in, v_out, _output_current(case, chosen, supply, v_out, p, case.i_charge), False, True)
                    )
        if chosen.path.state("supplement") is not None and not chosen.path.narrow:
            missing = case.p_peak / _STAGE_GUESS - source_limit(case, supply) * supply.v_set.low
            peak = case.design.system.peak
            if missing > 0.0:
                lasting = peak is None or peak.duration > 1.0
                rows.append((v_low, supply.v_set.typ, missing / supply.v_set.typ, True, lasting))
                average = missing * (peak.duty if peak is not None else 1.0)
                rows.append((v_low, supply.v_set.typ, max(average / supply.v_set.typ, 0.01), True, True))
    table = np.array(rows, dtype=float)
    return Points(
        v_in=table[:, 0],
        v_out=table[:, 1],
        i_out=table[:, 2],
        reverse=table[:, 3] > 0.5,
        lasting=table[:, 4] > 0.5,
    )

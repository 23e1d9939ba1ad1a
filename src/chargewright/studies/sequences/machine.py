"""From a design's path with its parts to the automaton that runs its events: one machine for each source."""

from dataclasses import replace

import numpy as np

from chargewright.network.hardware import Hardware
from chargewright.network.solve import IDLE_SHARE, solve
from chargewright.parts.cell import pair_tau
from chargewright.parts.pack import pack_ocv, pack_polarisation, pack_resistance
from chargewright.parts.rail_inputs import rail_inputs
from chargewright.parts.regulator import rails_loss
from chargewright.parts.supply import Supply, feed
from chargewright.sim.sequence_rules import KINDS, Machine
from chargewright.sizing.build import Build, bank_capacitance
from chargewright.studies.ladder import PACK_UNDER_VOLTAGE
from chargewright.studies.needs import Plan, lowest_input
from chargewright.studies.operate import conditions, source_limit, wanted_charge
from chargewright.studies.sequences.settings import SequenceSettings
from chargewright.studies.settings import Settings
from chargewright.studies.situation import Situation
from chargewright.studies.stability import Stability

_HALF = 0.5
_HOLD = 0.97
"""Voltage at which the charge is cut back, over the lowest that a contract leaves at the product [1]: the set-point."""
_POINTS = ((0.1, 1.0), (0.05, 0.4), (0.02, 0.1))
"""Shares of the charge current between which the stage's loss is a line; the first pair that can be solved is taken."""
_LEAST_R = 1e-4
_USUAL_LOSS = 0.06
"""Loss over power of a stage that can be solved at none of the points (common practice)."""
_LONGEST_TRIP = 60.0


def machine_of(
    case: Situation, chosen: Plan, hardware: Hardware, build: Build, source: str, settings: SequenceSettings,
    coded: Settings | None = None, loops: Stability | None = None,
) -> Machine:  # fmt: skip
    """Return the automaton of a path on one source: at the low edge of its voltage, its trip point and its cable.

    coded : set-points with their errors; the exact ones without
    loops : whose crossover at the usual point gives the lag of the regulation; the settings' own without
    """
    path, pack, rules, temp = chosen.path, case.pack, case.design.rules, case.design.ambient.typical
    supply = chosen.contracts[source]
    first = default_contract(case, supply)
    one, zero = feed(supply, "low"), feed(first, "low")
    error = _limit_error(coded)
    e, narrow = one.v_open, path.narrow
    v_bus = case.v_full if narrow else e
    c_rails = rail_inputs(chosen.rails).c_low
    half, full = (float(pack_ocv(pack, soc, temp)) for soc in (_HALF, 1.0))
    idle, share = _stage_loss(case, chosen, hardware, supply)
    switch = hardware.wires.get("battery-switch")
    sense = hardware.wires["sense-charge"].r_25 if narrow and "sense-charge" in hardware.wires else 0.0
    r_in = sum(hardware.wires[k].r_25 for k in ("blocking-pair", "sense-source") if k in hardware.wires)
    pairs = range(len(pack.cell.pairs))
    below, tol, _ = PACK_UNDER_VOLTAGE
    peak = case.design.system.peak
    good = _connects(case, chosen, settings)

    def asked(p: float) -> float:
        """Return what a load of the rails takes from the bus [W], at the dearer of its two voltages."""
        return p + max(float(rails_loss(hardware.rails, np.array([v]), np.array([p]))[0]) for v in (v_bus, half))

    return Machine(
        narrow=narrow,
        switched=switch is not None,
        helps=path.state("supplement") is not None,
        buck=path.stage.legs == "buck",
        kind=KINDS.index(supply.overload.kind),
        talks=first is not supply,
        e_0=zero.v_open,
        e_1=e,
        i_rated_0=first.i_rated,
        i_rated_1=supply.i_rated,
        i_trip_0=first.overload.i_trip.low,
        i_trip_1=supply.overload.i_trip.low,
        i_limit_0=source_limit(case, first) * (1.0 + error),
        i_limit_1=source_limit(case, supply) * (1.0 + error),
        v_hold_0=_HOLD * lowest_input(first),
        v_hold_1=_HOLD * lowest_input(supply),
        t_trip=min(max(supply.overload.time, 1e-6), _LONGEST_TRIP),
        fold=settings.fold,
        beyond=settings.beyond,
        t_off=settings.t_off,
        t_attach=settings.t_attach if supply.bulk_capacitance_max is None else settings.t_attach_talks,
        t_move=settings.t_move,
        t_reset=settings.t_reset,
        t_dip=settings.t_dip,
        r_line=max(one.r, _LEAST_R),
        r_in=r_in,
        c_in=float(bank_capacitance(build.bank_a, e, -1.0)),
        c_bus=float(bank_capacitance(build.bank_b if narrow else build.bank_a, v_bus, -1.0)) + c_rails,
        g_in=rules.i_quiescent * IDLE_SHARE / e,
        g_bus=case.design.system.standby / half**2,
        v_good=good * (1.0 + settings.hysteresis),
        v_bad=good,
        t_check=settings.t_check,
        t_retry=settings.t_retry,
        t_ramp=5.0 * e / settings.slew,
        slew=settings.slew,
        loss_idle=idle,
        loss_share=share,
        p_most=1.2 * supply.i_rated * e,
        duty_most=rules.duty_max,
        tau=_lag(loops, settings),
        v_set=case.v_full + rules.floor_above_empty,
        ocv_flat=pack.v_empty,
        ocv_half=half,
        ocv_full=full,
        i_charge_flat=case.i_precharge,
        i_charge_half=float(wanted_charge(case, _HALF, temp)),
        r_pack=float(pack_resistance(pack, _HALF, temp, False)),
        r_switch=(switch.r_25 if switch is not None else 0.0) + sense,
        r_slow=float(pack_polarisation(pack, _HALF, temp, False)),
        tau_slow=max((float(np.max(pair_tau(pack.cell, k, _HALF, temp))) for k in pairs), default=1.0),
        i_pack_most=pack.i_discharge_max,
        v_diode=switch.v_diode if switch is not None else 0.0,
        v_below=settings.v_below,
        t_close=settings.t_switch,
        t_help=settings.t_help,
        t_leave=settings.dwell,
        headroom=settings.headroom - error,
        v_cut=pack.v_empty - (below - tol) * pack.series,
        t_cut=settings.t_cut,
        t_wake=settings.t_wake,
        p_boot=asked(case.p_boot),
        p_light=asked(min(case.modes.values())),
        p_busy=asked(case.p_busy),
        p_peak=asked(case.p_peak),
        t_boot=settings.t_boot,
        t_peak=peak.duration if peak is not None else 0.0,
        v_off=case.bus_min,
        v_on=case.bus_min * (1.0 + settings.hysteresis),
        v_shut=settings.shut * max(pack.v_empty, case.bus_min),
        t_shut=settings.t_shut,
        t_restart=settings.t_restart,
        locks=settings.locks,
    )


def default_contract(case: Situation, supply: Supply) -> Supply:
    """Return what a source gives before its contract is made; the contract itself where there is no such thing."""
    if supply.position is None:
        return supply
    return next((s for s in case.sources[supply.name] if s.position is None), supply)


def _connects(case: Situation, chosen: Plan, settings: SequenceSettings) -> float:
    """Return the input below which the controller lets go [V]: what the path can use at all."""
    if not chosen.path.narrow:
        return case.bus_min
    return case.v_full / case.design.rules.duty_max if chosen.path.stage.legs == "buck" else settings.v_input


def _limit_error(coded: Settings | None) -> float:
    """Return by how much the source limit may really be higher than it was asked for [1]."""
    point = next((p for p in coded.points if p.want.quantity == "input_current"), None) if coded is not None else None
    return max(point.high / point.want.value - 1.0, 0.0) if point is not None else 0.0


def _lag(loops: Stability | None, settings: SequenceSettings) -> float:
    """Return the time constant of the slower of the two current loops at the usual point [s].

    At small current, where conduction is discontinuous, both are far slower; but then little is to be cut back.
    """
    wanted = ("charge-current", "source-current")
    found = [float(r.margins.f_cross[-1]) for r in loops.loops if r.key in wanted] if loops is not None else []
    slowest = min((f for f in found if np.isfinite(f) and f > 0.0), default=0.0)
    return 1.0 / (2.0 * np.pi * slowest) if slowest > 0.0 else settings.t_regulate


def _stage_loss(case: Situation, chosen: Plan, hardware: Hardware, supply: Supply) -> tuple[float, float]:
    """Return the stage's loss at rest [W] and over what it gives [1]: the line through two solved points."""
    path, temp = chosen.path, case.design.ambient.typical
    state = path.state("charging")
    assert state is not None, "every path charges"
    for shares in _POINTS:
        i_pack = np.array(shares) * case.i_charge
        c = conditions(case, path, "charging", supply, soc=_HALF, p_load=0.0, temp=temp, i_pack=i_pack)
        s = solve(path, state, hardware, replace(c, i_pack=i_pack))
        given = s.v[path.stage.b] * np.abs(s.i_b)
        if bool(np.all(s.ok)) and given[1] > given[0]:
            slope = float((s.p_stage[1] - s.p_stage[0]) / (given[1] - given[0]))
            return max(float(s.p_stage[0] - slope * given[0]), 0.0), max(slope, 0.0)
    return case.design.rules.i_quiescent * supply.v_set.typ, _USUAL_LOSS

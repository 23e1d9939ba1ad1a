"""Whether a path can do the job at all: each requirement judged at its worst case, with the number that decides.

Worst case means the low edge of the source, a hot and worn cable, the fullest or emptiest pack, the hottest ambient.
A path that fails a `must` is out; a failed `should` costs the product something and becomes a finding.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from chargewright.base.units import show
from chargewright.network.graph import PowerPath, StateKey
from chargewright.network.hardware import Hardware
from chargewright.network.solve import Solution, solve
from chargewright.parts.pack import pack_ocv
from chargewright.parts.supply import Supply, worst_input_voltage
from chargewright.studies.needs import Plan, least_input
from chargewright.studies.operate import Operation, conditions, for_peaks, operate, source_limit
from chargewright.studies.situation import Situation

Weight = Literal["must", "should"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """One requirement on a path, judged. `value` must be at least `limit`, or at most, as `at_least` says."""

    key: str
    title: str
    weight: Weight
    met: bool
    value: float
    limit: float
    unit: str
    at_least: bool
    reason: str
    """One sentence with the numbers."""
    source: str = ""
    """Name of the source it is judged on; "" where none matters."""


def judge(case: Situation, chosen: Plan, hardware: Hardware) -> tuple[Requirement, ...]:
    """Return every requirement on a path, judged."""
    found = [judge_one(case, chosen, hardware, key, name) for name in chosen.contracts for key in _ON_A_SOURCE]
    return (*found, *(judge_one(case, chosen, hardware, key) for key in ("bus-ceiling", "bus-floor", "ends-charge")))


def judge_one(case: Situation, chosen: Plan, hardware: Hardware, key: str, source: str = "") -> Requirement:
    """Return one requirement by its key, judged; `source` names the source where the key asks for one."""
    if key in _ON_A_SOURCE:
        used = {u.source for u in case.usage if u.source != "none"}
        weight: Weight = "must" if source in used or not used else "should"
        found = _ON_A_SOURCE[key](case, chosen.path, hardware, chosen.contracts[source], weight)
        return replace(found, source=source)
    if key == "bus-ceiling":
        return _bus_ceiling(case, chosen)
    return _bus_floor(case, chosen.path, hardware) if key == "bus-floor" else _ends_charge(case, chosen)


def feasible(requirements: tuple[Requirement, ...]) -> bool:
    """Return whether every `must` is met."""
    return all(r.met for r in requirements if r.weight == "must")


def source_too_low(case: Situation, chosen: Plan) -> tuple[Requirement, ...]:
    """Return, before any part is chosen, what rules a buck out: no source of the day stays above the full pack.

    v_full / duty_max against the worst input voltage at rated current; common practice (a buck only steps down).
    """
    needed = least_input(case, chosen.path)
    used = [chosen.contracts[u.source] for u in case.usage if u.source != "none"] or list(chosen.contracts.values())
    found = []
    for supply in {s.name: s for s in used}.values():
        v_in = float(worst_input_voltage(supply, 0.0))
        if v_in < needed:
            low = _fill_requirement(case, chosen.path, supply, "must", met=False, v_in=v_in, needed=needed)
            found.append(replace(low, source=supply.name))
    return tuple(found)


def _solve_one(
    case: Situation, path: PowerPath, hw: Hardware, key: StateKey, supply: Supply, **given: float
) -> Solution:
    state = path.state(key)
    assert state is not None, "asked only for states that the path has"
    hot = case.design.ambient.hot
    c = conditions(case, path, key, supply, temp=hot, edge="low", **given)
    return solve(path, state, hw, c)


def _finishes_charge(case: Situation, path: PowerPath, hw: Hardware, supply: Supply, weight: Weight) -> Requirement:
    """The stage's duty at the end of the charge, at termination current: above its limit the pack is never full."""
    limit = case.design.rules.duty_max
    i_end = case.i_termination
    s = _solve_one(case, path, hw, "charging", supply, soc=1.0, p_load=0.0, i_pack=i_end)
    duty = float(s.waveform.d_in[0]) if path.stage.legs == "buck" else 0.0
    if not s.ok[0]:
        v_in, needed = float(worst_input_voltage(supply, i_end)), least_input(case, path)
        return _fill_requirement(case, path, supply, weight, met=False, v_in=v_in, needed=needed)
    v_in = float(s.v[path.stage.a][0])
    # Volt-second balance: duty times input is the pack and all drops, whatever the input.
    needed = v_in * duty / limit
    return _fill_requirement(case, path, supply, weight, met=duty <= limit, v_in=v_in, needed=needed)


def _fill_requirement(
    case: Situation, path: PowerPath, supply: Supply, weight: Weight, *, met: bool, v_in: float, needed: float
) -> Requirement:
    buck = path.stage.legs == "buck"
    return Requirement(
        key="finishes-charge",
        title=f"fills the pack from {supply.name}",
        weight=weight,
        met=met,
        value=v_in,
        limit=needed,
        unit="V",
        at_least=True,
        reason=(
            f"A buck needs its input above {show(needed, 'V')} to fill the pack: {show(case.v_full, 'V')} and its own "
            f"drops over a duty of {show(case.design.rules.duty_max, '1')}; '{supply.contract}' of {supply.name} "
            f"leaves {show(v_in, 'V')} at worst."
            if buck
            else f"Four switches reach {show(case.v_full, 'V')} from any source voltage."
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Binding:
    """The number that decides whether one condition can be had, and what it says."""

    value: float
    limit: float
    unit: str
    at_least: bool
    words: str
    """Why not; "" if nothing is passed."""


def _what_binds(case: Situation, o: Operation, limit: float, *, lasting: bool) -> _Binding:
    """Return what is passed at the one condition of `o`, or else the source's current against its `limit`."""
    v_bus, i_pack, v_pack = float(o.v_bus[0]), float(o.i_pack[0]), float(o.v_pack[0])
    if not o.solved[0]:
        words = "no steady state exists: source, path or pack cannot give that much"
        return _Binding(value=float("nan"), limit=limit, unit="A", at_least=False, words=words)
    if o.brown_out[0]:
        words = f"the bus is at {show(v_bus, 'V')}, and the rails need {show(case.bus_min, 'V')}"
        return _Binding(value=v_bus, limit=case.bus_min, unit="V", at_least=True, words=words)
    if -i_pack > case.pack.i_discharge_max:
        most = case.pack.i_discharge_max
        words = f"the pack would give {show(-i_pack, 'A')} and may give {show(most, 'A')}"
        return _Binding(value=-i_pack, limit=most, unit="A", at_least=False, words=words)
    if lasting and o.depleted[0]:
        least = case.pack.v_empty
        words = f"the pack sags to {show(v_pack, 'V')}, below its lowest {show(least, 'V')}"
        return _Binding(value=v_pack, limit=least, unit="V", at_least=True, words=words)
    words = "nothing helps the source" if o.overloaded[0] else ""
    return _Binding(value=float(o.i_source[0]), limit=limit, unit="A", at_least=False, words=words)


def _drawn(o: Operation) -> str:
    i = float(o.i_source[0])
    return show(i, "A") if np.isfinite(i) else "more than there is"


def _runs_on_source(case: Situation, path: PowerPath, hw: Hardware, supply: Supply, weight: Weight) -> Requirement:
    """The busiest lasting load with a half-full pack, charging as far as the source allows."""
    o = operate(case, path, hw, supply, soc=0.5, p_load=case.p_busy, temp=case.design.ambient.hot, edge="low")
    limit = source_limit(case, supply)
    binds = _what_binds(case, o, limit, lasting=True)
    helped = " with the pack's help" if o.state[0] == "supplement" else ""
    then = binds.words or f"the bus is then {show(float(o.v_bus[0]), 'V')}"
    return Requirement(
        key="runs-on-source",
        title=f"carries the busiest load from {supply.name}",
        weight=weight,
        met=bool(o.lasts[0]),
        value=binds.value,
        limit=binds.limit,
        unit=binds.unit,
        at_least=binds.at_least,
        reason=(
            f"{show(case.p_busy, 'W')} of load takes {_drawn(o)} of {show(limit, 'A')} from '{supply.contract}' "
            f"at its low edge{helped}; {then}."
        ),
    )


def _survives_peak(case: Situation, path: PowerPath, hw: Hardware, supply: Supply, weight: Weight) -> Requirement:
    """The peak with the source at its low edge and an emptyish pack; the source's own overload allowance counts."""
    peak = case.design.system.peak
    hw = for_peaks(case, hw)
    o = operate(case, path, hw, supply, soc=0.15, p_load=case.p_peak, temp=case.design.ambient.typical, edge="low")
    limit, trip = source_limit(case, supply), supply.overload.i_trip.low
    binds = _what_binds(case, o, limit, lasting=False)
    carried = bool(o.solved[0]) and not bool(o.overloaded[0]) and not bool(o.brown_out[0])
    only_source = not carried and binds.value == float(o.i_source[0])
    stood = only_source and peak is not None and peak.duration <= supply.overload.time and binds.value < trip
    who = {"supplement": "source and pack share it", "shared": "the charge gives way", "charging": "within the limit"}
    how = binds.words or who.get(str(o.state[0]), "the source alone")
    if stood and peak is not None:
        how = f"the source stands {show(peak.duration, 's')} of it"
    return Requirement(
        key="survives-peak",
        title=f"survives the peak on {supply.name}",
        weight=weight,
        met=carried or stood,
        value=binds.value,
        limit=trip if stood else binds.limit,
        unit=binds.unit,
        at_least=binds.at_least,
        reason=f"A peak of {show(case.p_peak, 'W')} draws {_drawn(o)} from '{supply.contract}' "
        f"({show(limit, 'A')} allowed): {how}.",
    )


def _at_bus(case: Situation, path: PowerPath, s: Solution, limit: float) -> _Binding:
    """Return what decides at the one condition of `s`: the bus floor where it is passed, or the source's limit."""
    v_bus, drawn = float(s.v[path.load_at][0]), float(s.i["source"][0])
    if bool(s.ok[0]) and v_bus < case.bus_min:
        words = f"the bus is at {show(v_bus, 'V')}, and the rails need {show(case.bus_min, 'V')}"
        return _Binding(value=v_bus, limit=case.bus_min, unit="V", at_least=True, words=words)
    words = f"the bus is at {show(v_bus, 'V')}" if s.ok[0] else "no steady state exists"
    return _Binding(value=drawn, limit=limit, unit="A", at_least=False, words=words)


def _runs_without_pack(case: Situation, path: PowerPath, hw: Hardware, supply: Supply, _weight: Weight) -> Requirement:
    """No pack fitted: the source alone carries the busiest load. Never a must: not every product runs without one."""
    s = _solve_one(case, path, hw, "no-pack", supply, soc=0.5, p_load=case.p_busy)
    limit = source_limit(case, supply)
    binds = _at_bus(case, path, s, limit)
    drawn = float(s.i["source"][0])
    return Requirement(
        key="runs-without-pack",
        title=f"runs with no pack on {supply.name}",
        weight="should",
        met=bool(s.ok[0]) and drawn <= limit and binds.unit == "A",
        value=binds.value,
        limit=binds.limit,
        unit=binds.unit,
        at_least=binds.at_least,
        reason=(
            f"Without a pack {show(case.p_busy, 'W')} takes {show(drawn, 'A')} of {show(limit, 'A')}, and "
            f"{binds.words}; peaks then have no help at all."
        ),
    )


def _starts_flat(case: Situation, path: PowerPath, hw: Hardware, supply: Supply, weight: Weight) -> Requirement:
    """A flat pack gets its precharge while the system starts."""
    limit = source_limit(case, supply)
    if path.state("flat-pack") is None:
        v_pack = float(pack_ocv(case.pack, 0.0, case.design.ambient.typical))
        return Requirement(
            key="starts-flat",
            title=f"starts with a flat pack on {supply.name}",
            weight=weight,
            met=v_pack >= case.bus_min,
            value=v_pack,
            limit=case.bus_min,
            unit="V",
            at_least=True,
            reason=(
                f"The pack holds the bus at its own voltage: a flat pack of {show(v_pack, 'V')} keeps the rails, which "
                f"need {show(case.bus_min, 'V')}, from starting until it has been charged that far."
            ),
        )
    s = _solve_one(case, path, hw, "flat-pack", supply, soc=0.0, p_load=case.p_boot, i_pack=case.i_precharge)
    drawn = float(s.i["source"][0])
    binds = _at_bus(case, path, s, limit)
    return Requirement(
        key="starts-flat",
        title=f"starts with a flat pack on {supply.name}",
        weight=weight,
        met=bool(s.ok[0]) and drawn <= limit and binds.unit == "A",
        value=binds.value,
        limit=binds.limit,
        unit=binds.unit,
        at_least=binds.at_least,
        reason=(
            f"Starting ({show(case.p_boot, 'W')}) and precharge ({show(case.i_precharge, 'A')}) take "
            f"{show(drawn, 'A')} of {show(limit, 'A')}, and {binds.words}."
        ),
    )


def _bus_ceiling(case: Situation, chosen: Plan) -> Requirement:
    return Requirement(
        key="bus-ceiling",
        title="keeps the bus below what the rails stand",
        weight="must",
        met=chosen.v_bus_max <= case.bus_max,
        value=chosen.v_bus_max,
        limit=case.bus_max,
        unit="V",
        at_least=False,
        reason=f"The bus reaches {show(chosen.v_bus_max, 'V')}; rails and rules allow {show(case.bus_max, 'V')}.",
    )


def _bus_floor(case: Situation, path: PowerPath, hw: Hardware) -> Requirement:
    """State of charge at which the busiest load on the pack alone pulls the bus below the rails' need."""
    soc = np.linspace(0.0, 1.0, 41)
    o = operate(case, path, hw, None, soc=soc, p_load=case.p_busy, temp=case.design.ambient.typical)
    fine = o.solved & ~o.brown_out
    lowest = float(soc[fine][0]) if fine.any() else 1.0
    return Requirement(
        key="bus-floor",
        title="uses the pack down to empty",
        weight="should",
        met=lowest <= 0.05,
        value=lowest,
        limit=0.05,
        unit="1",
        at_least=False,
        reason=(
            f"At {show(case.p_busy, 'W')} on the pack alone the bus stays above {show(case.bus_min, 'V')} down to "
            f"{show(lowest, '1')} of charge."
        ),
    )


def _ends_charge(case: Situation, chosen: Plan) -> Requirement:
    """The charger can tell the pack's current from the load's, so that the charge can end while the system runs."""
    apart = chosen.path.wire("battery-switch") is not None
    running = [case.modes[u.mode] for u in case.usage if u.source != "none" and u.mode != "off"]
    i_load = min(running, default=0.0) / case.v_full
    seen = (
        "Pack current is sensed apart from the load, so termination is judged on the pack alone."
        if apart
        else f"The charger sees charge and load together: {show(i_load, 'A')} of load hides the termination current of "
        f"{show(case.i_termination, 'A')}, so that the charge never ends while the system runs on the source."
    )
    return Requirement(
        key="ends-charge",
        title="ends the charge while the system runs",
        weight="must",
        met=apart or i_load < case.i_termination,
        value=0.0 if apart else i_load,
        limit=case.i_termination,
        unit="A",
        at_least=False,
        reason=seen,
    )


_ON_A_SOURCE: dict[str, Callable[[Situation, PowerPath, Hardware, Supply, Weight], Requirement]] = {
    "finishes-charge": _finishes_charge,
    "runs-on-source": _runs_on_source,
    "survives-peak": _survives_peak,
    "runs-without-pack": _runs_without_pack,
    "starts-flat": _starts_flat,
}

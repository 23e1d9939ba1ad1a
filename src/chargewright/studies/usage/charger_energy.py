"""The product as a battery charger in the United States, as information: the primary text rules.

10 CFR 430 subpart B appendix Y asks for a charge of the emptied battery and its maintenance, 24 hours in all or longer
if the charge takes longer, with the product switched off if that can be; then for the power with a full battery and
without one. The model runs that test, in steps or from a charge that was run already; what counts is what a
laboratory measures.
"""

from dataclasses import dataclass

import numpy as np

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.base.units import show
from chargewright.network.hardware import Hardware
from chargewright.parts.cell import Array
from chargewright.parts.charger_rules import charger_class, charger_limit, charger_yearly_energy, judge_battery_charger
from chargewright.parts.energy_rules import REMARK, Comparison
from chargewright.parts.pack import lowest_cell_voltage, pack_dc_resistance, pack_ocv
from chargewright.parts.supply import Supply, wall_power
from chargewright.sim import usage_rules as code
from chargewright.sim.usage import DAY, Series, rested, run_usage
from chargewright.sim.usage_setup import fold_charger, fold_pack
from chargewright.studies.charge import ChargePlan
from chargewright.studies.needs import Plan
from chargewright.studies.operate import operate
from chargewright.studies.situation import Situation
from chargewright.studies.usage.points import Bools
from chargewright.studies.usage.run import charger_of
from chargewright.studies.usage.tables import usage_tables

_SETTLE = 5.0 * 3600.0
"""The test lasts at least this much longer than the charge (appendix Y; from memory)."""
_RATE = 0.2 / 3600.0
"""Rate of the discharge that measures the battery's energy [1/s]: 0.2 C (appendix Y; from memory)."""
_TEMP = 298.15
_LAST_HOURS = 4.0 * 3600.0
"""Maintenance power is the mean over the end of the test (appendix Y; length from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargerEnergy:
    """What the test of a battery charger would come to by the model."""

    source: str
    class_: str
    e_batt: float
    """Out of the battery at 0.2 C down to its lowest working voltage [J]."""
    t_charge: float
    """Until the charge ends [s]."""
    t_test: float
    e_24: float
    """From the wall in the charge and maintenance test [J]."""
    p_maintenance: float
    p_no_battery: float
    """Wall power without a battery [W]: of the source alone."""
    e_year: float | None
    """By the rule's day of use [J]; None for classes of which that was not read."""
    limit: float
    comparison: Comparison | None
    note: str

    @property
    def remark(self) -> str:
        """How to take all of this."""
        return REMARK


def charger_energy(case: Situation, chosen: Plan, hardware: Hardware, source: str) -> ChargerEnergy:
    """Return the figures of the battery-charger rule for the product on one source.

    Raises NoSolution for a charge that does not end within two days.
    """
    standby = case.design.system.standby
    tables = usage_tables(case, chosen, hardware, loads=[0.0, standby], sources=[source], temp=_TEMP)
    pack = fold_pack(case.pack)
    length = 2.0 * DAY
    rules = fold_charger(
        case.pack,
        charger_of(case),
        recharge_drop=case.design.charge.recharge_drop,
        standby=standby,
        ambient=_TEMP,
        row_every=60.0,
    )
    series = Series(
        duration=np.array([60.0]),
        power=np.full(int(length / 60.0), standby),
        source=np.zeros(int(length / 60.0), dtype=np.int8),
        sources=(source,),
    )
    start = rested(case.pack, pack, rules, soc=_soc_empty(case), temp=_TEMP)
    sums = run_usage(pack, tables.path, rules, series, start=start, length=length, rows=int(length / 60.0) + 1)
    ended = sums.events[sums.events[:, 1] == code.FILLED]
    if not len(ended):
        why = ""
        if sums.counts[code.TIMED_OUT]:
            why = f": the charge timer of {show(rules.timer, 's')} ends it first"
        elif sums.counts[code.CELL_HIGH]:
            why = ": the pack's protection ends it first, because the highest cell is too high"
        raise NoSolution(f"{source}: the charge does not end within two days{why}; so the test has no result")
    t_charge = float(ended[0, 0])
    t_test = _test_length(t_charge)
    p_wall = np.asarray(wall_power(tables.supplies[0], sums.rows[:, 5]))
    t = sums.rows[:, 0]
    kept = (t >= t_test - _LAST_HOURS) & (t < t_test)
    return _figures(
        case,
        tables.supplies[0],
        source,
        t_charge=t_charge,
        e_24=float(np.sum(p_wall[t < t_test - 1e-6]) * 60.0),
        p_maintenance=float(np.mean(p_wall[kept])),
    )


def charger_energy_after(case: Situation, chosen: Plan, hardware: Hardware, charge: ChargePlan) -> ChargerEnergy:
    """Return the figures from a charge that has been run already, switched off: for the rest the pack stays full.

    Takes milliseconds. That charge begins with an empty pack, the rule's where 0.2 C have emptied it: 2 %.
    Raises NoSolution for a charge that does not end, or where the full pack's state is not found.
    """
    if charge.run.ended_by != "termination":
        raise NoSolution(f"{charge.source}: the charge does not end ({charge.run.cause}); so the test has no result")
    supply = chosen.contracts[charge.source]
    full = operate(case, chosen.path, hardware, supply, soc=1.0, p_load=charge.p_load, temp=_TEMP, may_charge=False)
    if not full.solved[0]:
        raise NoSolution(f"{charge.source}: the path finds no rest with a full pack; so the test has no result")
    p_full, t_charge = float(wall_power(supply, full.p_source[0])), charge.run.t_end
    return _figures(
        case,
        supply,
        charge.source,
        t_charge=t_charge,
        e_24=charge.e_wall + p_full * (_test_length(t_charge) - t_charge),
        p_maintenance=p_full,
    )


def _test_length(t_charge: float) -> float:
    return max(DAY, t_charge + _SETTLE)


def _figures(
    case: Situation, supply: Supply, source: str, *, t_charge: float, e_24: float, p_maintenance: float
) -> ChargerEnergy:
    """Return what the rule makes of a test."""
    t_test, e_batt = _test_length(t_charge), battery_energy(case)
    v = float(pack_ocv(case.pack, 0.5, _TEMP))
    class_ = charger_class(e_batt, v)
    note, e_year, comparison = "", None, None
    try:
        e_year = charger_yearly_energy(
            class_,
            e_24=e_24,
            e_batt=e_batt,
            p_maintenance=p_maintenance,
            p_standby=supply.no_load,
            p_off=supply.no_load,
            t_charge_test=t_test,
        )
        comparison = judge_battery_charger(e_batt, v, e_year)
    except OutOfRange as error:
        note = str(error)
    return ChargerEnergy(
        source=source,
        class_=f"class {class_.number}: {class_.what}",
        e_batt=e_batt,
        t_charge=t_charge,
        t_test=t_test,
        e_24=e_24,
        p_maintenance=p_maintenance,
        p_no_battery=supply.no_load,
        e_year=e_year,
        limit=charger_limit(class_, e_batt),
        comparison=comparison,
        note=note,
    )


def battery_energy(case: Situation) -> float:
    """Return what the full pack gives at 0.2 C until pack or lowest cell is empty [J], its resistance settled."""
    soc, v, works = _discharge(case)
    gives = np.cumprod(works[::-1]).astype(bool)[::-1]
    return float(np.trapezoid(v[gives], soc[gives]) * case.pack.charge_span)


def _soc_empty(case: Situation) -> float:
    """Return where the discharge test leaves the pack."""
    soc, _, works = _discharge(case)
    return float(soc[int(np.argmax(works))])


def _discharge(case: Situation) -> tuple[Array, Array, Bools]:
    """Return states of charge, the pack's voltage at 0.2 C, and where neither pack nor lowest cell is empty."""
    pack, soc = case.pack, np.linspace(0.0, 1.0, 2001)
    i = _RATE * pack.capacity
    r = pack_dc_resistance(pack, soc, _TEMP, False)
    v = np.asarray(pack_ocv(pack, soc, _TEMP) - i * r)
    lowest = lowest_cell_voltage(pack, soc, _TEMP, i * (r - pack.lead_resistance) / pack.series)
    return soc, v, (v >= pack.v_empty) & (lowest >= pack.v_cell_min)


def charger_words(found: ChargerEnergy) -> str:
    """Return the figures in words."""
    year = "no yearly figure" if found.e_year is None else f"{show(found.e_year, 'J')} a year"
    side = ""
    if found.comparison is not None:
        side = f", {'inside' if found.comparison.inside else 'above'} the limit of {show(found.limit, 'J')}"
    return (
        f"As a battery charger ({found.class_}) on {found.source}: {show(found.e_24, 'J')} from the wall in the "
        f"{show(found.t_test, 's')} test for {show(found.e_batt, 'J')} in the battery, "
        f"{show(found.p_maintenance, 'W')} to keep it full, {show(found.p_no_battery, 'W')} without it; "
        f"{year}{side}. {found.remark.capitalize()}." + (f" {found.note}." if found.note else "")
    )

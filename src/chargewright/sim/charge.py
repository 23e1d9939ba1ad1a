"""A charge in time: precharge, constant current, constant voltage with taper, termination, timers, temperature zones.

What the source leaves over may hold the current back; the smallest of all limits rules at any instant, and the run
says which one that was and when. Equal cells, except the highest one (`parts.pack.cell_kinds`). Heat of the
cells goes to ambient through their own thermal resistance; heat of other parts is not in it.
"""

from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np

from chargewright.base.compiled import compiled_bare, is_kept, numba_module
from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.parts.cell import SOC_TOP, Array, frozen, temperature_findings
from chargewright.parts.pack import Pack
from chargewright.sim import _cell_kernel as step
from chargewright.sim import _charge_kernel as kernel
from chargewright.sim._charge_audit import LIMITS as LIMITS
from chargewright.sim._charge_audit import AuditRow, Trace, audit, cause_of
from chargewright.sim._charge_fold import fold_cell, fold_rules, start_region
from chargewright.sim.charge_setup import FINE, Accuracy, Available, ChargeSettings, require_sense, table_of

EndedBy = Literal["termination", "timer", "starved", "cold", "hot", "overfull", "refused"]
ENDINGS: dict[int, EndedBy] = {
    kernel.TERMINATION: "termination",
    kernel.TIMER: "timer",
    kernel.PRECHARGE_TIMER: "timer",
    kernel.STARVED: "starved",
    kernel.COLD: "cold",
    kernel.HOT: "hot",
    kernel.OVERFULL: "overfull",
    kernel.REFUSED: "refused",
}
"""Ways to end, by the codes of the kernel."""
_ROWS = (4_096, 30_000)
_WORTH_COMPILED = 8
"""Runs in one process from which the compiled kernel is worth fetching, if an earlier process has compiled it."""
_in_use = {"compiled": False, "runs": 0}
"""Whether this process has paid for the compiled kernel, and how many runs it has made."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChargeRun:
    """One charge; all SI."""

    trace: Trace
    seconds: dict[str, float]
    """Time under each limit."""
    t_precharge: float | None
    """When precharge was over; None if it never was."""
    t_voltage: float | None
    """When the charge voltage was first met."""
    t_80: float | None
    """When the state of charge was 80 %."""
    t_end: float
    t_timer: float
    """What the safety timer shows at the end; less than `t_end` where it paused or slowed."""
    charge: float
    energy_in: float
    """At the terminals."""
    energy_stored: float
    """Taken up at rest voltage."""
    energy_polarisation: float
    """Still in the RC pairs at the end; turns to heat at rest."""
    heat_cells: float
    """Of R0 and the RC pairs."""
    heat_entropic: float
    """Reversible, below zero where the cells cool; part of `energy_stored`."""
    heat_ambient: float
    """What the cells gave to ambient; the rest of their heat is in their temperature."""
    heat_leads: float
    """Of interconnect and protection."""
    heat_balancing: float
    """Of what balancing takes from the highest cell."""
    pauses: int
    """How often the temperature stopped the charge."""
    ended_by: EndedBy
    cause: str
    """Why it ended, in words."""
    audit: tuple[AuditRow, ...]
    """Against the cell's limits."""
    findings: tuple[Finding, ...]

    @property
    def unaccounted(self) -> float:
        """Energy in, less stored, polarisation and heat [J]: zero to the error of the integration."""
        heat = self.heat_cells + self.heat_leads + self.heat_balancing
        return self.energy_in - self.energy_stored - self.energy_polarisation - heat

    @property
    def time_limited(self) -> float:
        """Time during which source or temperature held the current back [s]."""
        return self.seconds["source"] + self.seconds["temperature"]


def run_charge(
    pack: Pack,
    settings: ChargeSettings,
    *,
    soc_start: float,
    temp_ambient: float,
    temp_start: float | None = None,
    available: Available | None = None,
    thermal_resistance: float | None = None,
    accuracy: Accuracy = FINE,
    engine: Literal["auto", "plain", "compiled"] = "auto",
) -> ChargeRun:
    """Return a charge from rest at `soc_start` until something ends it.

    temp_start         : temperature of the cells at the start [K]; ambient if None
    available          : what source and load leave over for the pack, a function of the terminal voltage [V] over
                         arrays, or a table; what is below zero counts as zero; None is no limit
    thermal_resistance : of one cell to ambient in this product [K/W]; the cell's own if None
    accuracy           : `FINE`, or `QUICK` for sweeps
    engine             : "compiled" needs numba and pays for many runs in one process; "auto" takes it once it was asked
                         for by name, or after some runs if an earlier process has compiled it; both give the same
                         numbers to rounding, and the plain form serves without numba
    Raises OutOfRange, NoSolution.
    """
    require_sense(settings)
    if not 0.0 <= soc_start <= 1.0:
        raise OutOfRange(f"a charge starts between 0 % and 100 % (got {show(soc_start, '1')})")
    if settings.v_set / pack.series > pack.cell.rest_in_charge[-1]:
        raise OutOfRange(
            f"the charge voltage {show(settings.v_set / pack.series, 'V')} per cell is above every rest voltage of the "
            f"cell {pack.cell.key} ({show(pack.cell.ocv[-1], 'V')} at {SOC_TOP:.0%}), so no taper would end"
        )
    temp = temp_ambient if temp_start is None else temp_start
    table = table_of(available, pack, settings, soc_start, min(temp, temp_ambient))
    cell = fold_cell(pack, thermal_resistance)
    rules = fold_rules(pack, settings, table, temp_ambient=temp_ambient, accuracy=accuracy)
    run = compiled_bare(kernel.charge_cell) if _takes_compiled(engine) else kernel.charge_cell
    for rows_at_most in _ROWS:
        rows, sums, seconds, marks = (
            np.empty((rows_at_most, 7)),
            np.zeros(step.SUMS),
            np.zeros(len(LIMITS)),
            np.full(kernel.MARKS, -1.0),
        )
        count, reason, pauses = run(
            cell,
            rules,
            step.at_rest(cell, soc_start * pack.cell.charge_span, float(temp)),
            start_region(pack, temp),
            step.room_to_work(cell),
            rows,
            sums,
            seconds,
            marks,
        )
        if reason != kernel.TOO_MANY_STEPS:
            return _result(pack, settings, rules, rows[:count], sums, seconds, marks, reason, pauses)
    t_reached = show(float(rows[count - 1, 0]), "s")
    raise NoSolution(
        f"the charge changes its limit without end: {count} steps in {t_reached}. Widen the hysteresis of the "
        "temperature zones, or look at the available current, whose table may jump"
    )


@cache
def charge_is_compiled() -> bool:
    """Return whether an earlier process has compiled the kernel for these sources: then it only is to be fetched."""
    return is_kept(kernel.charge_cell)


def _takes_compiled(engine: str) -> bool:
    _in_use["runs"] += 1
    if engine == "compiled":
        _in_use["compiled"] |= numba_module() is not None
    elif engine == "auto" and _in_use["runs"] == _WORTH_COMPILED:
        _in_use["compiled"] |= is_kept(kernel.charge_cell)
    return engine != "plain" and bool(_in_use["compiled"])


def _result(
    pack: Pack, settings: ChargeSettings, rules: kernel.Rules, rows: Array, sums: Array, seconds: Array, marks: Array,
    reason: int, pauses: int,
) -> ChargeRun:  # fmt: skip
    """Return the run of the pack from the run of its cell."""
    t, i_cell, v_cell, v_highest, q, temp, limit = (frozen(rows[:, k]) for k in range(7))
    soc = frozen(q / pack.cell.charge_span)
    trace = Trace(
        t=t,
        i=frozen(i_cell * pack.parallel),
        v_pack=frozen(v_cell * pack.series),
        v_cell_highest=v_highest,
        v_cell_lowest=frozen(_lowest(v_cell - i_cell * rules.lead, v_highest, pack.series)),
        soc=soc,
        temp=temp,
        limit=limit.astype(np.int64),
    )
    by_limit = {name: float(seconds[code]) for code, name in enumerate(LIMITS)}
    ended_by = ENDINGS[reason]
    heat_leads = rules.lead * float(sums[step.I_SQUARE]) * pack.cells
    return ChargeRun(
        trace=trace,
        seconds=by_limit,
        t_precharge=float(marks[kernel.T_CHARGE]) if marks[kernel.T_CHARGE] >= 0.0 else None,
        t_voltage=float(marks[kernel.T_VOLTAGE]) if marks[kernel.T_VOLTAGE] >= 0.0 else None,
        t_80=_first_time(t, soc, 0.8),
        t_end=float(t[-1]),
        t_timer=float(marks[kernel.CLOCK]),
        charge=float(sums[step.Q_IN]) * pack.parallel,
        energy_in=float(sums[step.E_IN]) * pack.cells + heat_leads,
        energy_stored=float(sums[step.E_STORED]) * pack.cells,
        energy_polarisation=float(sums[step.E_PAIRS]) * pack.cells,
        heat_cells=float(sums[step.HEAT_R0] + sums[step.HEAT_PAIRS]) * pack.cells,
        heat_entropic=float(sums[step.HEAT_ENTROPIC]) * pack.cells,
        heat_ambient=float(sums[step.HEAT_OUT]) * pack.cells,
        heat_leads=heat_leads,
        heat_balancing=float(sums[step.HEAT_BALANCING]) * pack.cells,
        pauses=pauses,
        ended_by=ended_by,
        cause=cause_of(pack, settings, trace, by_limit, reason, rules.temp_ambient),
        audit=audit(pack, settings, trace),
        findings=tuple(temperature_findings(pack.cell, float(temp.min()), float(temp.max()))),
    )


def _lowest(v_mean: Array, v_highest: Array, series: int) -> Array:
    """Return the voltage of all cells but the highest: they are alike, so the mean tells it."""
    return v_mean if series == 1 else (series * v_mean - v_highest) / (series - 1)


def _first_time(t: Array, soc: Array, level: float) -> float | None:
    """Return when the state of charge first met a level; None if never, 0 if it was met at the start."""
    met = np.flatnonzero(soc >= level)
    if len(met) == 0:
        return None
    k = int(met[0])
    if k == 0:
        return 0.0
    share = (level - soc[k - 1]) / (soc[k] - soc[k - 1])
    return float(t[k - 1] + share * (t[k] - t[k - 1]))

"""What use comes to over a week, a month and a year, from the engine that also steps the days of the command line.

A week is stepped through from a full pack. Days repeat, so once a day ends as the one before it the rest of the year is
that day again and again; where the pack still drifts after a week, a month is stepped through and the year is told from
its last week. Peaks shorter than a step are left to a run of their own.
"""

from dataclasses import dataclass

import numpy as np

from chargewright.base.errors import NoSolution
from chargewright.network.hardware import Hardware
from chargewright.parts.cell import Array
from chargewright.studies.ageing import aged_situation
from chargewright.studies.day import run_time
from chargewright.studies.needs import Plan
from chargewright.studies.situation import Situation
from chargewright.studies.usage.charger_energy import ChargerEnergy, charger_energy
from chargewright.studies.usage.record import UsageRun
from chargewright.studies.usage.run import usage
from chargewright.studies.usage.settings import UsageSettings

SPANS = {"week": 7.0, "month": 30.0, "year": 365.0}
"""Days."""
SETTLED = 1e-4
"""Of charge, from the end of one day to that of the next."""
_WEEK, _MONTH = 7, 30


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """Use over one stretch of time; energies [J], times [s]."""

    name: str
    days: float
    e_wall: float
    e_load: float
    e_loss: float
    """In the product, the pack's own resistance included."""
    cycles: float
    """Equivalent full cycles of the pack [1]."""
    t_unserved: float
    t_overload: float
    """Source or pack asked for more than they may lastingly give."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunTime:
    """How long a full pack alone carries one mode [s]."""

    mode: str
    power: float
    new: float
    aged: float | None
    """At the end of life; None where the design file names no aged pack."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """Use of one path over time."""

    run: UsageRun
    """What was stepped through: a week, or a month where the week did not settle."""
    settled: bool
    """Whether the last day of it ended as the one before."""
    spans: tuple[Span, ...]
    run_times: tuple[RunTime, ...]
    charger: ChargerEnergy | None
    """Under the rule for battery chargers, on the first source in use; None where no charge ends in that test."""


def outlook(case: Situation, chosen: Plan, hardware: Hardware) -> Outlook:
    """Return what use comes to on one path. Raises ChargewrightError where the usage table cannot be used."""
    run = usage(case, chosen, hardware, settings=UsageSettings(days=float(_WEEK)))
    if not _settled(run):
        run = usage(case, chosen, hardware, settings=UsageSettings(days=float(_MONTH)))
    return Outlook(
        run=run,
        settled=_settled(run),
        spans=tuple(_span(run, name, days) for name, days in SPANS.items()),
        run_times=_run_times(case, chosen, hardware),
        charger=_charger(case, chosen, hardware, run),
    )


def _settled(run: UsageRun) -> bool:
    return bool(abs(run.daily.soc_end[-1] - run.daily.soc_end[-2]) < SETTLED)


def _span(run: UsageRun, name: str, days: float) -> Span:
    """Return so many days: those that were stepped through, then the last of them, or the mean of the last week."""
    lasting = 1 if _settled(run) else _WEEK

    def over(daily: Array) -> float:
        stepped = min(int(days), len(daily))
        return float(np.sum(daily[:stepped]) + (days - stepped) * np.mean(daily[-lasting:]))

    d = run.daily
    return Span(
        name=name,
        days=days,
        e_wall=over(d.e_wall),
        e_load=over(d.e_load),
        e_loss=over(d.e_loss),
        cycles=over(d.cycles),
        t_unserved=over(d.t_unserved),
        t_overload=over(d.t_overload),
    )


def _run_times(case: Situation, chosen: Plan, hardware: Hardware) -> tuple[RunTime, ...]:
    old, ambient = aged_situation(case), case.design.ambient.typical
    return tuple(
        RunTime(
            mode=mode,
            power=power,
            new=run_time(case, chosen.path, hardware, power, ambient),
            aged=None if old is None else run_time(old, chosen.path, hardware, power, ambient),
        )
        for mode, power in sorted(case.modes.items(), key=lambda item: item[1])
        if power > 0.0
    )


def _charger(case: Situation, chosen: Plan, hardware: Hardware, run: UsageRun) -> ChargerEnergy | None:
    names = run.sources or tuple(chosen.contracts)
    try:
        return charger_energy(case, chosen, hardware, names[0])
    except NoSolution:
        return None

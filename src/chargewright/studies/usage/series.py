"""What a product is asked for over time: the usage table day by day, a week with days of rest, or a measured log."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import LogError, OutOfRange
from chargewright.base.near import hint_of
from chargewright.base.units import show
from chargewright.parts.cell import Array, frozen
from chargewright.sim.usage import DAY, Series
from chargewright.studies.situation import Situation, mode_power
from chargewright.studies.usage.feeding import known_name, named

PEAKY = 1.05
"""A power this much above the mean of its step is a peak inside it [1]."""
_PLAUSIBLE = 30.0
"""A log whose greatest power is this many times above or below the design's is taken for one in another unit [1]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoadLog:
    """A measured load, averaged over equal steps so that its energy is kept."""

    name: str
    step: float
    power: Array
    """Mean power over each step [W]."""
    peak: Array
    """Greatest power that was logged inside each step [W]."""
    source: npt.NDArray[np.int8] | None
    """Place in `sources` through each step, -1 for none; None where the log says nothing of sources."""
    sources: tuple[str, ...]
    energy: float
    """Of the rows of the log [J]."""
    rows: int
    source_lines: tuple[int, ...] = ()
    """Line of the file in which each of `sources` is met first; empty for a log that was not read from a file."""
    notes: tuple[str, ...]
    """Everything that was mended or assumed while it was read."""

    @property
    def duration(self) -> float:
        """Length [s]."""
        return self.step * len(self.power)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Demand:
    """A series for a usage run, and what was assumed to make it."""

    title: str
    series: Series
    said: tuple[str, ...] = ()
    peak: Array | None = None
    """Greatest power inside each step of a log [W], where it is more than the mean; None where it is not known."""


def table_demand(case: Situation, *, work_days: int = 7, rest_days: int = 0, rest_source: str = "none") -> Demand:
    """Return the usage table of the design, day after day; with days of rest, a week of `work_days` and those.

    rest_source : what feeds the product while it rests, switched off; "none" for nothing
    Raises OutOfRange.
    """
    fed = [named(case, u.source, u.contract) for u in case.usage]
    names = sorted((set(fed) | ({rest_source} if rest_days else set())) - {"none"})
    unknown = [n for n in names if known_name(case, n) is None]
    if unknown:
        raise OutOfRange(f"usage: no source is called {unknown[0]!r}; there are {', '.join(case.sources)}")
    stretches = [(u.duration, mode_power(case, u.mode), name) for u, name in zip(case.usage, fed, strict=True)]
    title, said = "the usage table of the design, again and again", []
    whole = sum(s[0] for s in stretches)
    if abs(whole - DAY) > 60.0:
        said.append(f"The usage table lasts {show(whole, 's')}, not a day; it is repeated end to end.")
    if rest_days:
        if work_days < 1:
            raise OutOfRange("a week with days of rest needs at least one day of work")
        rest = (rest_days * DAY, case.design.system.standby, rest_source)
        stretches = stretches * work_days + [rest]
        title = f"{work_days} days by the usage table, then {rest_days} days switched off"
        said.append(f"On days of rest the product is switched off, on {_place(rest_source)}.")
    return Demand(
        title=title,
        series=Series(
            duration=frozen([s[0] for s in stretches]),
            power=frozen([s[1] for s in stretches]),
            source=np.array([names.index(s[2]) if s[2] != "none" else -1 for s in stretches], dtype=np.int8),
            sources=tuple(names),
        ),
        said=tuple(said),
    )


def log_demand(case: Situation, log: LoadLog) -> Demand:
    """Return a measured log as a series; where it says nothing of sources, the usage table's are taken, by the hour.

    Raises LogError for a log that is not plausible for the design, or that names sources which the design has not.
    """
    _require_plausible(case, log)
    said = list(log.notes)
    if log.source is not None:
        source, names = log.source, tuple(_fed_by(case, log, n) for n in log.sources)
    else:
        source, names = _sources_by_table(case, log)
        said.append("The log says nothing of sources: those of the usage table are taken, from its beginning on.")
    whole = log.duration / DAY
    if abs(whole - round(whole)) > 1e-6:
        said.append(f"The log lasts {show(log.duration, 's')}; it is repeated end to end, so hours of the day move on.")
    return Demand(
        title=f"the load log {log.name}",
        series=Series(duration=frozen([log.step]), power=log.power, source=source, sources=names),
        said=tuple(said),
        peak=log.peak if np.any(log.peak > PEAKY * log.power) else None,
    )


def in_steps(demand: Demand, step: float) -> Demand:
    """Return the same demand on an even grid of `step` seconds, energy kept: what a plot or a table needs."""
    s = demand.series
    ends = np.cumsum(np.broadcast_to(s.duration, s.power.shape))
    energy = np.concatenate([[0.0], np.cumsum(np.broadcast_to(s.duration, s.power.shape) * s.power)])
    edges = np.arange(0.0, ends[-1] + 0.5 * step, step)
    at = np.interp(edges, np.concatenate([[0.0], ends]), energy)
    source = s.source[np.minimum(np.searchsorted(ends, 0.5 * (edges[1:] + edges[:-1])), len(ends) - 1)]
    return replace(
        demand,
        series=Series(duration=frozen([step]), power=frozen(np.diff(at) / step), source=source, sources=s.sources),
    )


def _sources_by_table(case: Situation, log: LoadLog) -> tuple[npt.NDArray[np.int8], tuple[str, ...]]:
    by_table = table_demand(case).series
    ends = np.cumsum(by_table.duration)
    t = (np.arange(len(log.power)) + 0.5) * log.step % ends[-1]
    return by_table.source[np.searchsorted(ends, t, side="right")], by_table.sources


def _fed_by(case: Situation, log: LoadLog, name: str) -> str:
    """Return what feeds under a name of the log, 'source' or 'source at 9 V'. Raises LogError."""
    lines = dict(zip(log.sources, log.source_lines, strict=False))
    where = f"{log.name}, line {lines[name]}" if name in lines else log.name
    try:
        found = known_name(case, name)
    except OutOfRange as error:
        raise LogError(f"{where}: {error}") from None
    if found is None:
        raise LogError(f"{where}: no source is called {name!r}; {hint_of(name, case.sources)}")
    return found


def _require_plausible(case: Situation, log: LoadLog) -> None:
    highest, expected = float(np.max(log.power)), max(case.p_peak, case.p_busy)
    if highest <= 0.0:
        raise LogError(f"{log.name}: no step of the log draws any power")
    for word, ratio in (("above", highest / expected), ("below", expected / highest)):
        if ratio > _PLAUSIBLE:
            raise LogError(
                f"{log.name}: its greatest power, {show(highest, 'W')}, is {ratio:.0f} times {word} the design's "
                f"{show(expected, 'W')}. Check the unit in the head of the column, or mend the modes of the design"
            )


def _place(source: str) -> str:
    return "its pack" if source == "none" else source

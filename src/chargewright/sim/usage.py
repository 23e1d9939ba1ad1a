"""Use over days in steps: pack, path and charger over a series of loads and sources.

Kept: state of charge, polarisation of up to three RC pairs, one temperature for all cells, the charger's regions of
temperature, recharge, termination and timers, supplement with headroom and dwell, wake-up of a pack that was empty, the
highest and the lowest cell with balancing, hysteresis of the rest voltage where the cell's table gives its branches.
Left out: the path's own thermal time constants (it is solved as settled at one ambient temperature), and all that is
quicker than a step, for which `sim.bus_dip` stands.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from chargewright.base.compiled import compiled_bare, is_kept, numba_module
from chargewright.base.errors import ChargewrightError, OutOfRange
from chargewright.parts.cell import Array, frozen
from chargewright.parts.pack import Pack
from chargewright.sim import _usage_kernel as kernel
from chargewright.sim import _usage_pack as cells
from chargewright.sim import usage_rules as code
from chargewright.sim._charge_fold import start_region
from chargewright.sim._usage_pack import PackTables
from chargewright.sim._usage_path import PathTables
from chargewright.sim.usage_rules import Books, Rules
from chargewright.sim.usage_setup import joined

Engine = Literal["auto", "plain", "compiled"]
DAY = 86400.0
_CHUNK = 200_000
_EVENTS_KEPT = 2000
_PAYS_FROM = {"made": 300_000, "kept": 60_000}
"""Steps in one process from which the compiled kernel pays for being made, or for being read from the cache."""
_OFTEN = 4.0
_plain_steps = [0]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Series:
    """Loads and sources over time, stretch by stretch; repeated for as long as a run lasts."""

    duration: Array
    """Of each stretch [s]; one number where all are equal."""
    power: Array
    """That the rails are asked for [W]."""
    source: npt.NDArray[np.int8]
    """Place in `sources`; -1 where there is none."""
    sources: tuple[str, ...]

    @property
    def period(self) -> float:
        """Length of the whole series [s]."""
        return float(self.duration[0]) * len(self.power) if len(self.duration) == 1 else float(np.sum(self.duration))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PackState:
    """A pack at one instant, and what the charger remembers of it."""

    now: Array
    flags: npt.NDArray[np.int64]

    @property
    def temp(self) -> float:
        """Temperature of the cells [K]."""
        return float(self.now[cells.TEMP])

    @property
    def charge(self) -> float:
        """Charge above state of charge 0 [C]."""
        return float(self.now[cells.Q])

    @property
    def polarisation(self) -> Array:
        """Voltages of the RC pairs of the whole pack [V]."""
        return self.now[cells.U :]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UsageSums:
    """What a run adds up; SI. Columns and codes: `sim.usage_rules`."""

    steps: int
    days: Array
    """(day, column)"""
    by_source: Array
    """(day, source, 2): seconds there, joules given at its connector."""
    seconds: Array
    """(state, limit)"""
    counts: Array
    """By event."""
    soc_time: Array
    """(source + 1, bin of state of charge): seconds with a load above standby, the first row without a source."""
    events: Array
    """(n, 4): time, event, state of charge, source; the first ones where there were more than could be kept."""
    rows: Array
    """The trace, (n, `ROW_COLUMNS`)."""
    spent: Array
    """Seconds at the points of the path's tables, at their places in its store."""
    start: PackState
    end: PackState

    def total(self, column: int) -> float:
        """Return the sum of a column over all days."""
        return float(np.sum(self.days[:, column]))


def rested(pack: Pack, tables: PackTables, rules: Rules, *, soc: float, temp: float) -> PackState:
    """Return a pack at rest. Raises OutOfRange for a state of charge that is none."""
    if not 0.0 <= soc <= 1.0:
        raise OutOfRange(f"a usage run starts between 0 % and 100 % of charge (got {soc:g})")
    now = np.zeros(cells.STATE)
    now[cells.Q], now[cells.TEMP] = soc * tables.span, temp
    now[cells.VOLTAGE] = cells.rest_voltage(tables, float(now[cells.Q]), temp)
    now[cells.AHEAD] = tables.one_ahead
    now[cells.T_WAKE], now[cells.T_DOWN] = rules.wake, rules.restart
    flags = np.zeros(code.FLAGS, dtype=np.int64)
    flags[code.FEED] = -2
    flags[code.REGION] = start_region(pack, temp)
    return PackState(now=now, flags=flags)


def run_usage(
    pack: PackTables,
    path: PathTables,
    rules: Rules,
    series: Series,
    *,
    start: PackState,
    length: float,
    rows: int = 20_000,
    engine: Engine = "auto",
    progress: Callable[[float], None] | None = None,
) -> UsageSums:
    """Return what a series of loads and sources does, repeated for `length` seconds.

    rows     : most rows of the trace
    engine   : "compiled" needs numba; "auto" takes it where a process has enough to do; both give the same numbers
    progress : told the share that is done
    """
    steps = _steps_in(series, rules.longest) * length / series.period
    if rules.row_every > 0.0:
        rows = min(rows, math.ceil(length / rules.row_every) + 2)
    run, data, books, spent, now, flag, par = _prepared(pack, path, rules, series, start, length, rows, engine, steps)
    done = 0.0
    while done < length - 1e-6:
        for first, last, duration in _parts(series, length - done):
            series_of = (data.duration if duration is None else duration, data.power, data.source)
            run(data.pack, data.path, data.rules, spent, books, now, flag, par, *series_of, first, last)
            done += _length_of(series, first, last) if duration is None else float(duration[0])
            if progress is not None:
                progress(min(done / length, 1.0))
    return _result(start, books, spent, now, flag, round(steps))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Data:
    pack: PackTables
    path: PathTables
    rules: Rules
    duration: Any
    power: Any
    source: Any


def _prepared(
    pack: PackTables, path: PathTables, rules: Rules, series: Series, start: PackState, length: float, rows: int,
    engine: Engine, steps: float,
) -> Any:  # fmt: skip
    many_days = max(1, math.ceil(length / DAY - 1e-9))
    days = np.zeros((many_days, code.DAY_COLUMNS))
    days[:, [code.SOC_LOW, code.TEMP_LOW]] = np.inf
    sources = len(series.sources)
    store, places = joined(
        [
            days,
            np.zeros(many_days * sources * 2),
            np.zeros(len(code.STATES) * code.LIMIT_COUNT),
            np.zeros(len(code.EVENTS)),
            np.zeros((sources + 1) * code.SOC_BINS),
            np.zeros(4 * _EVENTS_KEPT),
            np.zeros(rows * code.ROW_COLUMNS),
        ]
    )
    names = ("days", "by_source", "seconds", "counts", "soc_time", "events", "rows")
    at = dict(zip(names, places, strict=True))
    books = Books(store=store, sources=sources, event_room=_EVENTS_KEPT, row_room=rows, **at)
    spent = np.zeros(len(path.store))
    now, flag, par = start.now.copy(), start.flags.copy(), np.zeros(cells.PARAMETERS)
    now[[cells.CLOCK, cells.ROW_AT]] = 0.0
    flag[[code.ROWS, code.NOTED]] = 0
    par[cells.AT_SOC] = -1.0
    data = _Data(
        pack=pack,
        path=path,
        rules=rules,
        duration=np.asarray(series.duration, dtype=float),
        power=np.asarray(series.power, dtype=float),
        source=np.asarray(series.source, dtype=np.int8),
    )
    if _compiles(engine, steps):
        return compiled_bare(kernel.run_series), data, books, spent, now, flag, par
    _plain_steps[0] += int(steps)
    listed = _Data(
        pack=_lists(pack),
        path=_lists(path),
        rules=_lists(rules),
        duration=data.duration.tolist(),
        power=data.power.tolist(),
        source=data.source.tolist(),
    )
    return kernel.run_series, listed, _lists(books), spent.tolist(), now.tolist(), flag.tolist(), par.tolist()


def _compiles(engine: Engine, steps: float) -> bool:
    if engine == "plain":
        return False
    if engine == "compiled":
        if numba_module() is None:
            raise ChargewrightError('engine="compiled" needs numba: `pip install numba`; engine="plain" does without')
        return True
    due = _plain_steps[0] + steps
    if due < _PAYS_FROM["kept"] or numba_module() is None:
        return False
    return due > _PAYS_FROM["made"] or is_kept(kernel.run_series)


def _lists(record: Any) -> Any:
    """Return a record with lists for arrays: several times as quick where nothing is compiled."""
    return record._replace(**{k: v.tolist() for k, v in record._asdict().items() if isinstance(v, np.ndarray)})


def _steps_in(series: Series, longest: float) -> float:
    """Return how many steps a series takes, nearly: in long stretches several are taken at once."""
    counts = np.maximum(1.0, np.ceil(np.asarray(series.duration) / longest - 1e-9))
    counts = np.where(counts > _OFTEN, counts / _OFTEN, counts)
    return float(counts[0]) * len(series.power) if len(counts) == 1 else float(np.sum(counts))


def _parts(series: Series, left: float) -> Any:
    """Yield the stretches of one period, in chunks, as far as the time left goes; the last one may be cut."""
    n = len(series.power)
    same = len(series.duration) == 1
    whole = n
    if left < series.period - 1e-6:
        if same:
            whole = min(n, int(left / float(series.duration[0]) + 1e-9))
        else:
            whole = int(np.searchsorted(np.cumsum(series.duration), left + 1e-6, side="right"))
    for first in range(0, whole, _CHUNK):
        yield first, min(first + _CHUNK, whole), None
    rest = left - _length_of(series, 0, whole)
    if whole < n and rest > 1e-6:
        yield whole, whole + 1, np.array([rest])


def _length_of(series: Series, first: int, last: int) -> float:
    if len(series.duration) == 1:
        return float(series.duration[0]) * (last - first)
    return float(np.sum(series.duration[first:last]))


def _result(start: PackState, books: Books, spent: Any, now: Any, flag: Any, steps: int) -> UsageSums:
    store, sources = np.array(books.store), books.sources

    def part(first: int, last: int, columns: int) -> Array:
        return frozen(np.reshape(store[first:last], (-1, columns)))

    rows = books.rows + int(flag[code.ROWS]) * code.ROW_COLUMNS
    return UsageSums(
        steps=steps,
        days=part(books.days, books.by_source, code.DAY_COLUMNS),
        by_source=frozen(
            np.reshape(store[books.by_source : books.seconds], (-1, sources, 2) if sources else (1, 0, 2))
        ),
        seconds=part(books.seconds, books.counts, code.LIMIT_COUNT),
        counts=frozen(store[books.counts : books.soc_time]),
        soc_time=part(books.soc_time, books.events, code.SOC_BINS),
        events=part(books.events, books.events + 4 * int(flag[code.NOTED]), 4),
        rows=part(books.rows, rows, code.ROW_COLUMNS),
        spent=frozen(spent),
        start=start,
        end=PackState(now=np.array(now), flags=np.array(flag, dtype=np.int64)),
    )

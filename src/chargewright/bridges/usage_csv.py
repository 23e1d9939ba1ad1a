"""A usage run as CSV tables: days, balance, states, events, trace; each column carries its unit.

Parquet is not written: no library that the product runs on offers it.
"""

from collections.abc import Iterable, Sequence
from typing import Any

from chargewright.base.errors import ChargewrightError
from chargewright.studies.usage.record import UsageRun

_DAILY = {
    "e_asked": "J", "e_load": "J", "e_wall": "J", "e_source": "J", "e_loss": "J", "e_from_cells": "J",
    "e_into_cells": "J", "e_supplement": "J", "cycles": "1", "flips": "1", "t_source": "s", "t_unserved": "s",
    "t_overload": "s", "t_blocked": "s", "soc_low": "1", "soc_high": "1", "soc_end": "1", "temp_low": "K",
    "temp_high": "K",
}  # fmt: skip
_TRACE = {
    "t": "s", "soc": "1", "i_pack": "A", "v_pack": "V", "temp": "K", "p_source": "W", "p_load": "W", "p_loss": "W",
    "state": "", "limit": "", "source": "",
}  # fmt: skip


def usage_tables_csv(run: UsageRun) -> dict[str, str]:
    """Return file name to CSV text."""
    days = range(1, len(run.daily.e_load) + 1)
    columns = [getattr(run.daily, name) for name in _DAILY]
    trace = [getattr(run.trace, name) for name in _TRACE]
    return {
        "days.csv": _csv(["day", *_heads(_DAILY)], zip(days, *columns, strict=True)),
        "balance.csv": _csv(
            ["where", "cause", "side", "energy_J"], ((x.where, x.cause, x.side, x.energy) for x in run.lines)
        ),
        "states.csv": _csv(["state", "limit", "t_s"], ((x.state, x.limit, x.seconds) for x in run.times)),
        "events.csv": _csv(["t_s", "event", "soc_1", "source"], ((e.t, e.what, e.soc, e.source) for e in run.events)),
        "trace.csv": _csv(_heads(_TRACE), zip(*trace, strict=True)),
        "peaks.csv": _csv(
            ["source", "mode", "soc_1", "v_lowest_V", "v_needed_V"],
            (
                (p.source, p.mode, soc, v, p.v_needed)
                for p in run.peaks
                for soc, v in zip(p.soc, p.v_lowest, strict=True)
            ),
        ),
    }


def _heads(units: dict[str, str]) -> list[str]:
    return [f"{name}_{unit}" if unit else name for name, unit in units.items()]


def _csv(heads: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    return "\n".join([",".join(heads), *(",".join(_cell(x) for x in row) for row in rows)]) + "\n"


def _cell(value: Any) -> str:
    if isinstance(value, str):
        if "\n" in value or "\r" in value:
            raise ChargewrightError(f"a name with a line break cannot stand in a table: {value!r}")
        # A cell that begins like a formula would be run by a spreadsheet.
        plain = value if value[:1] not in ("=", "+", "-", "@") else f"'{value}"
        return '"' + plain.replace('"', '""') + '"' if any(c in plain for c in ',;"') else plain
    return f"{float(value):.10g}"

"""A predicted charge and a usage run as tables: what stands in each column, in which unit."""

from typing import Any

from chargewright.bridges.table_files import Columns
from chargewright.sim.charge import LIMITS, ChargeRun
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


def charge_table(run: ChargeRun) -> Columns:
    """Return the curves of a charge: a row for each step, with the limit that rules from there on."""
    trace = run.trace
    return {
        "t_s": trace.t,
        "i_pack_A": trace.i,
        "v_pack_V": trace.v_pack,
        "v_cell_highest_V": trace.v_cell_highest,
        "soc_1": trace.soc,
        "temp_cells_K": trace.temp,
        "limit": [LIMITS[int(k)] for k in trace.limit],
    }


def usage_tables(run: UsageRun) -> dict[str, tuple[str, Columns]]:
    """Return, by the name of the table, its title and its columns."""
    peaks = [(p, soc, v) for p in run.peaks for soc, v in zip(p.soc, p.v_lowest, strict=True)]
    return {
        "days": ("day by day", {"day_1": range(1, len(run.daily.e_load) + 1), **_columns(run.daily, _DAILY)}),
        "balance": (
            "energy in, out and lost, by element",
            {
                "where": [x.where for x in run.lines],
                "cause": [x.cause for x in run.lines],
                "side": [x.side for x in run.lines],
                "energy_J": [x.energy for x in run.lines],
            },
        ),
        "states": (
            "time in each state under each limit",
            {
                "state": [x.state for x in run.times],
                "limit": [x.limit for x in run.times],
                "t_s": [x.seconds for x in run.times],
            },
        ),
        "events": (
            "what happened; the first two thousand",
            {
                "t_s": [e.t for e in run.events],
                "event": [e.what for e in run.events],
                "soc_1": [e.soc for e in run.events],
                "source": [e.source for e in run.events],
            },
        ),
        "trace": ("over time: flows hold from their row to the next", _columns(run.trace, _TRACE)),
        "peaks": (
            "the load peak over the state of charge, by situation",
            {
                "source": [p.source for p, _, _ in peaks],
                "mode": [p.mode for p, _, _ in peaks],
                "soc_1": [soc for _, soc, _ in peaks],
                "v_lowest_V": [v for _, _, v in peaks],
                "v_needed_V": [p.v_needed for p, _, _ in peaks],
            },
        ),
    }


def _columns(record: Any, units: dict[str, str]) -> Columns:
    return {f"{name}_{unit}" if unit else name: getattr(record, name) for name, unit in units.items()}

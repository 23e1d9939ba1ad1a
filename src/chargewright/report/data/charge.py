"""Charge and day: times, energies, audit, and the curves themselves."""

from collections.abc import Sequence

import numpy as np

from chargewright.report.tables import ROW, DataTable, column, table_form
from chargewright.sim.charge import LIMITS, ChargeRun
from chargewright.studies.charge import ChargePlan
from chargewright.studies.day import Day
from chargewright.studies.study import PathStudy

CHARGES = table_form(
    "charges",
    "Charges from flat that the product must expect",
    (
        column("charge", "charge"),
        column("contract", "contract"),
        column("p_load", "load", "W"),
        column("temp_ambient", "ambient", "K"),
        column("t_80", "to 80 %", "s"),
        column("t_voltage", "to the voltage limit", "s"),
        column("t_full", "to termination", "s"),
        column("ended_by", "ended by"),
        column("soc_end", "charge at the end", "1"),
        column("e_wall", "from the wall", "J"),
        column("e_stored", "stored", "J"),
        column("e_heat_pack", "heat in the pack", "J"),
        column("temp_max", "hottest cell", "K"),
        column("v_cell_max", "highest cell", "V", 4),
        column("t_held_back", "held back by source or temperature", "s"),
        column("cause", "why it ended"),
    ),
)


def charges_table(charges: Sequence[ChargePlan]) -> DataTable:
    """Return one row for each charge that the product must expect."""
    rows = [
        (
            c.title,
            c.contract,
            c.p_load,
            c.temp_ambient,
            c.run.t_80,
            c.run.t_voltage,
            c.run.t_end if c.run.ended_by == "termination" else None,
            c.run.ended_by,
            float(c.run.trace.soc[-1]),
            c.e_wall,
            c.run.energy_stored,
            c.run.heat_cells + c.run.heat_leads,
            float(np.max(c.run.trace.temp)),
            float(np.max(c.run.trace.v_cell_highest)),
            c.run.time_limited,
            c.run.cause,
        )
        for c in charges
    ]
    return CHARGES.filled(rows)


CHARGE_AUDIT = table_form(
    "charge_audit",
    "Audit of the charge against the cell's limits",
    (
        column("what", "what"),
        column("value", "value", ROW, 4),
        column("limit", "limit", ROW, 4),
        column("unit", "SI unit"),
        column("ok", "kept", kind="flag"),
        column("note", "note"),
    ),
)


def audit_table(run: ChargeRun) -> DataTable:
    """Return a charge against every limit of the cell that it touches."""
    rows = [(a.what, a.value, a.limit, a.unit, a.ok, a.note) for a in run.audit]
    return CHARGE_AUDIT.filled(rows)


CHARGE_LIMITS = table_form(
    "charge_limits",
    "What ruled the current, and for how long",
    (column("limit", "limit"), column("t", "time", "s"), column("share", "share", "1", 2)),
)


def limits_table(run: ChargeRun) -> DataTable:
    """Return how long each limit ruled the current."""
    rows = [(name, seconds, seconds / max(run.t_end, 1e-9)) for name, seconds in run.seconds.items() if seconds > 0.0]
    return CHARGE_LIMITS.filled(rows)


CHARGE_CURVE = table_form(
    "charge_curve",
    "The charge over time",
    (
        column("t", "time", "s"),
        column("i", "pack current", "A"),
        column("v_pack", "pack voltage", "V"),
        column("v_cell_highest", "highest cell", "V"),
        column("soc", "state of charge", "1"),
        column("temp_cell", "cell temperature", "K"),
        column("limit", "limit in force"),
    ),
)


def charge_curve_table(run: ChargeRun) -> DataTable:
    """Return the curves of a charge."""
    t = run.trace
    rows = [
        (
            float(t.t[k]),
            float(t.i[k]),
            float(t.v_pack[k]),
            float(t.v_cell_highest[k]),
            float(t.soc[k]),
            float(t.temp[k]),
            LIMITS[int(t.limit[k])],
        )
        for k in range(len(t.t))
    ]
    return CHARGE_CURVE.filled(rows)


DAYS = table_form(
    "days",
    "The usage day on each path",
    (
        column("path", "path"),
        column("e_wall", "from the wall", "J"),
        column("e_source", "from the source", "J"),
        column("e_load", "to the load", "J"),
        column("e_loss", "lost in the product", "J"),
        column("e_from_pack", "from the pack", "J"),
        column("cycles", "full cycles a day", kind="number"),
        column("soc_low", "lowest charge", "1"),
        column("t_unserved", "load not served", "s"),
        column("t_overload", "source beyond its limit", "s"),
        column("closes", "day closes", kind="flag"),
        column("run_time", "run time on a full pack", "s"),
    ),
)


def days_table(paths: Sequence[PathStudy]) -> DataTable:
    """Return the usage day of each path."""
    rows = [
        (
            p.path.key,
            d.e_wall,
            d.e_source,
            d.e_load,
            d.e_loss,
            d.e_from_pack,
            d.throughput,
            d.soc_low,
            d.t_unserved,
            d.t_overload,
            d.closes,
            (p.measures or {}).get("run_time"),
        )
        for p in paths
        if (d := p.day) is not None
    ]
    return DAYS.filled(rows)


DAY_CURVE = table_form(
    "day_curve",
    "The usage day over time",
    (
        column("t", "time", "s"),
        column("soc", "state of charge", "1"),
        column("p_source", "from the source", "W"),
        column("p_loss", "lost in the product", "W"),
    ),
)


def day_curve_table(day: Day) -> DataTable:
    """Return the curves of a day; powers hold from their instant to the next."""
    p_source, p_loss = (np.append(x, x[-1:]) for x in (day.p_source, day.p_loss))
    rows = [(float(day.t[k]), float(day.soc[k]), float(p_source[k]), float(p_loss[k])) for k in range(len(day.t))]
    return DAY_CURVE.filled(rows)

"""Use over time: what a week, a month and a year come to, where it is lost, and how long a full pack lasts."""

from chargewright.report.tables import DataTable, column, table_form
from chargewright.studies.outlook import Outlook
from chargewright.studies.usage.charger_energy import ChargerEnergy

USE = table_form(
    "use",
    "What use comes to",
    (
        column("span", "over a"),
        column("t_span", "time", "s"),
        column("e_wall", "from the wall", "J"),
        column("e_load", "to the rails", "J"),
        column("e_loss", "lost in the product", "J"),
        column("cycles", "full cycles", kind="number"),
        column("t_unserved", "load not served", "s"),
        column("t_overload", "source or pack overloaded", "s"),
    ),
)


def use_table(found: Outlook) -> DataTable:
    """Return one row for each stretch of time."""
    rows = [
        (s.name, s.days * 86400.0, s.e_wall, s.e_load, s.e_loss, s.cycles, s.t_unserved, s.t_overload)
        for s in found.spans
    ]
    return USE.filled(rows)


USE_LOSSES = table_form(
    "use_losses",
    "Where a day of use loses energy",
    (
        column("where", "where"),
        column("cause", "cause"),
        column("e_day", "a day", "J"),
        column("share", "share", "1", 2),
    ),
)


def use_losses_table(found: Outlook) -> DataTable:
    """Return the losses of a mean day of the run, the greatest first."""
    lost = sorted((x for x in found.run.lines if x.side == "loss" and x.energy > 0.0), key=lambda x: -x.energy)
    whole, days = sum(x.energy for x in lost), found.run.length / 86400.0
    return USE_LOSSES.filled([(x.where, x.cause, x.energy / days, x.energy / whole) for x in lost])


USE_STATES = table_form(
    "use_states",
    "What it does, and what limits it",
    (
        column("state", "state"),
        column("limit", "limit"),
        column("t_day", "a day", "s"),
        column("share", "share", "1", 2),
    ),
)


def use_states_table(found: Outlook) -> DataTable:
    """Return the time of a mean day in each state under each limit, the longest first."""
    days = found.run.length / 86400.0
    times = sorted(found.run.times, key=lambda x: -x.seconds)
    return USE_STATES.filled([(x.state, x.limit, x.seconds / days, x.seconds / found.run.length) for x in times])


RUN_TIMES = table_form(
    "run_times",
    "How long a full pack lasts alone",
    (
        column("mode", "mode"),
        column("p_load", "load", "W"),
        column("t_new", "new pack", "s"),
        column("t_aged", "at the end of its life", "s"),
    ),
)


def run_times_table(found: Outlook) -> DataTable:
    """Return one row for each mode of the product."""
    return RUN_TIMES.filled([(r.mode, r.power, r.new, r.aged) for r in found.run_times])


CHARGER_RULE = table_form(
    "charger_rule",
    "As a battery charger in the United States, by the model",
    (
        column("source", "source"),
        column("class", "class"),
        column("e_batt", "battery", "J"),
        column("t_charge", "to the end of the charge", "s"),
        column("e_24", "in the test", "J"),
        column("p_maintenance", "keeping it full", "W"),
        column("p_no_battery", "without a battery", "W"),
        column("e_year", "a year", "J"),
        column("limit", "limit of the class", "J"),
        column("note", "note"),
    ),
)


def charger_rule_table(charger: ChargerEnergy) -> DataTable:
    """Return the figures of the rule for battery chargers."""
    c = charger
    row = (
        c.source, c.class_, c.e_batt, c.t_charge, c.e_24, c.p_maintenance, c.p_no_battery, c.e_year, c.limit,
        c.note or c.remark,
    )  # fmt: skip
    return CHARGER_RULE.filled([row])

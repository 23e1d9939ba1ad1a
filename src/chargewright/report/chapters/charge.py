"""How it charges: the curve, the times, what ruled it, and the audit against the cell's limits."""

from chargewright.base.units import show
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Block, Chapter, KeyNumber, KeyNumbers, Pictures, Tone, Verdict
from chargewright.report.data.charge import audit_table, charges_table, limits_table
from chargewright.report.figures.charge_curves import charge_message, charge_picture
from chargewright.report.figures.charge_power import charge_power_picture
from chargewright.report.tables import table_block
from chargewright.studies.charge import ChargePlan


def chapter(dossier: Dossier) -> Chapter | None:
    """Return the chapter; None without a winner."""
    winner = dossier.study.winner
    if winner is None or winner.charge is None:
        return None
    charge, pack = winner.charge, dossier.study.case.pack
    blocks: list[Block] = [
        Verdict(
            text=f"{_capital(charge.title)}: {charge_message(charge)}",
            tone="plain" if charge.t_full < float("inf") else "bad",
        ),
        _numbers(charge),
        Pictures(items=(charge_picture(charge, pack.series, pack.v_cell_max), charge_power_picture(charge))),
        table_block(limits_table(charge.run)),
        _audit(charge),
    ]
    if dossier.charges:
        blocks.append(_cases(dossier))
    return Chapter(key="charge", title="Charge", question="How does it charge?", blocks=tuple(blocks))


def _numbers(charge: ChargePlan) -> KeyNumbers:
    run = charge.run
    t80 = show(run.t_80, "s") if run.t_80 is not None else "never"
    full = show(charge.t_full, "s") if charge.t_full < float("inf") else "never"
    return KeyNumbers(
        items=(
            KeyNumber(label="to 80 %", shown=t80),
            KeyNumber(label="to termination", shown=full, note=f"ended by {run.ended_by}"),
            KeyNumber(
                label="from the wall",
                shown=show(charge.e_wall, "J", 3),
                note=f"with {show(charge.p_load, 'W', 3)} of load",
            ),
            KeyNumber(label="stored in the cells", shown=show(run.energy_stored, "J", 3)),
            KeyNumber(label="heat in the pack", shown=show(run.heat_cells + run.heat_leads, "J", 3)),
            KeyNumber(
                label="highest cell",
                shown=show(float(run.trace.v_cell_highest.max()), "V", 4),
                note="spread of the cells included",
            ),
        )
    )


def _audit(charge: ChargePlan) -> Block:
    table = audit_table(charge.run)

    def tone(row: int, key: str) -> Tone:
        return ("good" if table.rows[row][4] else "bad") if key == "ok" else "plain"

    return table_block(table, tones=tone)


def _cases(dossier: Dossier) -> Block:
    table = charges_table(dossier.charges)

    def tone(row: int, key: str) -> Tone:
        return "bad" if key == "t_full" and table.rows[row][6] is None else "plain"

    only = (
        "charge",
        "temp_ambient",
        "t_80",
        "t_full",
        "e_wall",
        "temp_max",
        "v_cell_max",
        "t_held_back",
        "cause",
    )
    return table_block(table, only=only, tones=tone)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]

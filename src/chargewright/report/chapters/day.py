"""The usage day: energies, state of charge, load that is not served."""

from chargewright.base.units import show
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Block, Chapter, KeyNumber, KeyNumbers, Pictures, Verdict
from chargewright.report.data.charge import days_table
from chargewright.report.figures.day import day_message, day_picture
from chargewright.report.figures.day_energy import day_energy_picture
from chargewright.report.headline import day_derivation
from chargewright.report.tables import table_block


def chapter(dossier: Dossier) -> Chapter | None:
    """Return the chapter; None without a winner."""
    study = dossier.study
    winner = study.winner
    if winner is None or winner.day is None:
        return None
    day = winner.day
    run_time = (winner.measures or {}).get("run_time", float("nan"))
    blocks: list[Block] = [
        Verdict(text=day_message(day), tone="bad" if day.t_unserved > 0.0 or not day.closes else "plain"),
        KeyNumbers(
            items=(
                KeyNumber(
                    label="efficiency of the day",
                    shown=show(day.efficiency, "1", 3),
                    note="load over what the source gives",
                    derivation=day_derivation(day),
                ),
                KeyNumber(label="lost in the product", shown=show(day.e_loss, "J", 3)),
                KeyNumber(label="full cycles a day", shown=f"{day.throughput:.3g}"),
                KeyNumber(label="lowest charge", shown=show(day.soc_low, "1", 3)),
                KeyNumber(label="run time on a full pack", shown=show(run_time, "s", 3)),
                KeyNumber(
                    label="load not served",
                    shown=show(day.t_unserved, "s", 3) if day.t_unserved > 0.0 else "none",
                    tone="bad" if day.t_unserved > 0.0 else "good",
                ),
            )
        ),
        Pictures(items=(day_picture(day, study.case), day_energy_picture(study))),
        table_block(days_table(study.paths)),
    ]
    return Chapter(key="day", title="Usage day", question="What does a day cost?", blocks=tuple(blocks))

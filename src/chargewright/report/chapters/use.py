"""Use over time: week, month and year, losses by element, run times, and the rule for battery chargers."""

from chargewright.base.units import show
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Block, Chapter, KeyNumber, KeyNumbers, Pictures, Verdict
from chargewright.report.data.use import (
    charger_rule_table,
    run_times_table,
    use_losses_table,
    use_states_table,
    use_table,
)
from chargewright.report.figures.usage import usage_picture
from chargewright.report.figures.use_losses import use_losses_picture
from chargewright.report.tables import table_block
from chargewright.studies.outlook import Outlook
from chargewright.studies.usage.charger_energy import charger_words


def chapter(dossier: Dossier) -> Chapter | None:
    """Return the chapter; None without a winner."""
    found = dossier.outlook
    if found is None:
        return None
    run = found.run
    blocks: list[Block] = [
        Verdict(text=" ".join(s.text for s in run.stories), tone="bad" if run.t_unserved > 0.0 else "plain"),
        _numbers(found),
        Pictures(items=(usage_picture(run), use_losses_picture(found))),
        table_block(use_table(found), note=_how(found)),
        table_block(run_times_table(found)),
        table_block(use_losses_table(found)),
        table_block(use_states_table(found)),
    ]
    if found.charger is not None:
        blocks.append(table_block(charger_rule_table(found.charger), note=charger_words(found.charger)))
    return Chapter(key="use", title="Use over time", question="What does it come to in a year?", blocks=tuple(blocks))


def _numbers(found: Outlook) -> KeyNumbers:
    year = next(s for s in found.spans if s.name == "year")
    items = [
        KeyNumber(label="from the wall in a year", shown=show(year.e_wall, "J", 3)),
        KeyNumber(label="lost in the product", shown=show(year.e_loss, "J", 3), note="in a year"),
        KeyNumber(label="full cycles a year", shown=f"{year.cycles:.3g}"),
    ]
    if found.run_times:
        middle = found.run_times[len(found.run_times) // 2]
        items.append(KeyNumber(label="run time, new", shown=show(middle.new, "s", 3), note=f"mode {middle.mode}"))
        if middle.aged is not None:
            items.append(KeyNumber(label="run time at the end of life", shown=show(middle.aged, "s", 3)))
    return KeyNumbers(items=tuple(items))


def _how(found: Outlook) -> str:
    days = round(found.run.length / 86400.0)
    rest = (
        "every further one is like the last of them"
        if found.settled
        else "the pack still drifts, so what is beyond is told from the last seven"
    )
    return (
        f"{days} days are stepped through from a full pack; {rest}. Peaks shorter than a step are judged by a run of "
        "their own: chargewright usage."
    )

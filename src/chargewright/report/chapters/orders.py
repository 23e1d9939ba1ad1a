"""The order of events: how far it was searched, what ends badly, and the worst of it over time."""

from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Block, Bullets, Chapter, KeyNumber, KeyNumbers, Paragraph, Unfold, Verdict
from chargewright.report.data.sequences import orders_table, rest_table, searched_table
from chargewright.report.figures.sequence import sequence_picture
from chargewright.report.tables import table_block
from chargewright.studies.sequences.record import Sequences
from chargewright.studies.sequences.script import run_script, usual_script

_SHOWN = ("source", "severity", "title", "script", "ways", "period", "cause", "cure")


def chapter(dossier: Dossier) -> Chapter | None:
    """Return the chapter; None without a winner."""
    found = dossier.orders
    if found is None or not found.sources:
        return None
    bad = found.outcomes
    worse = any(o.severity in ("stop", "serious") for o in bad)
    blocks: list[Block] = [
        Verdict(text=_verdict(found), tone="bad" if worse else "thin" if bad else "plain"),
        Paragraph(text=_how(found), tone="quiet"),
        KeyNumbers(
            items=(
                KeyNumber(label="states of rest", shown=str(sum(len(s.states) for s in found.sources))),
                KeyNumber(label="transitions run", shown=str(sum(len(s.links) for s in found.sources))),
                KeyNumber(
                    label="limit cycles",
                    shown=str(sum(s.cycles for s in found.sources)) if any(s.cycles for s in found.sources) else "none",
                    tone="bad" if any(s.cycles for s in found.sources) else "good",
                ),
            )
        ),
        _picture(found),
    ]
    if bad:
        blocks.append(table_block(orders_table(found), only=_SHOWN))
    blocks += [
        Unfold(
            title="How far it was searched, and every state in which it comes to rest",
            blocks=(table_block(searched_table(found)), table_block(rest_table(found))),
            in_print=False,
        ),
        Unfold(title="What was taken for granted", blocks=(Bullets(items=found.assumptions),)),
    ]
    return Chapter(
        key="orders", title="Order of events", question="Does the order of events matter?", blocks=tuple(blocks)
    )


def _verdict(found: Sequences) -> str:
    orders = sum(s.orders for s in found.sources)
    length = found.sources[0].length
    head = (
        f"{orders} orders of up to {length} events come to {sum(len(s.states) for s in found.sources)} states of rest"
    )
    if not found.outcomes:
        return f"{head}; none of them ends in a cycle, a reset, a latched source or a dead product."
    worst = found.outcomes[0]
    many = len(found.outcomes)
    rest = f" and {many - 1} more that end badly" if many > 1 else ""
    return f"{head}. One ends with '{worst.title}', shortest after {', '.join(worst.script)} on {worst.source}{rest}."


def _how(found: Sequences) -> str:
    text = (
        "Plug, contract, boot, load step, peak, unplug, drop-out, trip, hard reset, pack out and in, flat and full: "
        "from each state of rest every event that can happen there is run in time until all is at rest, or until a "
        "limit cycle is proven. States that are alike are one, so that the orders of any length are covered whose "
        "events come at rest; events that come earlier are run by the command `chargewright sequence`."
    )
    if found.left_out:
        text += f" Left to that command as well: {', '.join(found.left_out)}."
    if not all(s.whole for s in found.sources):
        text += " The search was cut off before its end."
    return text


def _picture(found: Sequences) -> Block:
    if found.outcomes:
        worst = found.outcomes[0]
        machine = next(s.machine for s in found.sources if s.source == worst.source)
        return sequence_picture(run_script(machine, worst.script, record=True), worst.cause)
    first = found.sources[0]
    words = usual_script(first.machine)
    legs = run_script(first.machine, words, record=True)
    return sequence_picture(legs, f"A usual order on {first.source}: {', '.join(words)}.")

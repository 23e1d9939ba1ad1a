"""What protects it: the ladders, and where rungs overlap."""

from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Block, Chapter, Paragraph, Pictures, Unfold, Verdict
from chargewright.report.data.handover import ladders_table
from chargewright.report.figures.ladder import ladder_picture, overlaps
from chargewright.report.tables import table_block


def chapter(dossier: Dossier) -> Chapter | None:
    """Return the chapter; None without ladders."""
    ladders = dossier.ladders
    if not ladders:
        return None
    bad = [(ladder, pair) for ladder in ladders for pair in overlaps(ladder)]
    words = (
        f"{len(bad)} of the rungs on {len(ladders)} ladders reach past the start of the next; they are shaded below."
        if bad
        else f"On all {len(ladders)} ladders every rung ends before the next begins."
    )
    blocks: list[Block] = [
        Verdict(text=words, tone="bad" if bad else "plain"),
        Paragraph(
            text="Each ladder runs from what is normal to what breaks. A band holds tolerance and set-point error; "
            "thresholds that the design file does not set are proposals and say so. No fault is run in time here.",
            tone="quiet",
        ),
        Pictures(items=tuple(ladder_picture(ladder) for ladder in ladders)),
        Unfold(title="Every rung, with where its numbers come from", blocks=(table_block(ladders_table(ladders)),)),
    ]
    return Chapter(key="protection", title="Protection", question="What protects it?", blocks=tuple(blocks))

"""How far the design can go: asking backwards."""

from math import isfinite

from chargewright.base.units import show
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Block, Chapter, Paragraph, Tone, Verdict
from chargewright.report.data.paths import reach_table
from chargewright.report.tables import table_block
from chargewright.studies.limits import Edge


def chapter(dossier: Dossier) -> Chapter | None:
    """Return the chapter; None without a winner."""
    reach = dossier.study.reach
    if reach is None:
        return None
    tight = [e for e in reach.edges if isfinite(e.edge)]
    failed = [e for e in reach.edges if e.edge != e.edge]
    blocks: list[Block] = [Verdict(text=_verdict(tight, failed), tone="bad" if failed else "plain")]
    table = reach_table(reach)

    def tone(row: int, key: str) -> Tone:
        edge = reach.edges[row].edge
        return "bad" if key == "edge" and edge != edge else "plain"

    blocks += [
        table_block(table, tones=tone),
        Paragraph(
            text="Each quantity is moved alone, all else as designed, until something fails. A dash as the last value "
            "that passes: the design's own value already fails; 'unlimited': the end of the search still passes.",
            tone="quiet",
        ),
    ]
    return Chapter(key="reach", title="Reach", question="How far does it go?", blocks=tuple(blocks))


def _verdict(tight: list[Edge], failed: list[Edge]) -> str:
    if failed:
        return "Already failing at the design's own value: " + ", ".join(e.title for e in failed) + "."
    if not tight:
        return "Nothing failed within the range that was searched."
    nearest = min(tight, key=lambda e: e.margin)
    return (
        f"The nearest edge is the {nearest.title}: {show(nearest.edge, nearest.unit, 3)} still passes, "
        f"{show(nearest.margin, '1', 2)} from the design's {show(nearest.now, nearest.unit, 3)}."
    )

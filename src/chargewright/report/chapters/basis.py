"""What the study rests on: assumptions, what is not modelled, cautions, standards it defers to."""

from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Block, Bullets, Caution, Cell, Chapter, Heading, Paragraph, Table, Verdict


def chapter(dossier: Dossier) -> Chapter:
    """Return the chapter."""
    blocks: list[Block] = [
        Verdict(text="Results support design and review; they never replace review and test by qualified people."),
        Caution(title="Cautions", items=dossier.cautions),
        Heading(text="Assumed where the design file says nothing"),
        Bullets(items=dossier.assumptions)
        if dossier.assumptions
        else Paragraph(text="Nothing: the design file says everything that was needed."),
        Heading(text="Not modelled in this edition"),
        Bullets(items=dossier.not_modelled),
        Heading(text="Standards that govern"),
        Paragraph(
            text="This study defers to the primary text, in its current edition, and to local codes.", tone="quiet"
        ),
        Table(
            caption="Standards",
            heads=("standard", "what it governs"),
            aligns=("left", "left"),
            rows=tuple((Cell(text=s.name), Cell(text=s.subject)) for s in dossier.standards),
        ),
    ]
    return Chapter(key="basis", title="Basis and limits", question="What does it rest on?", blocks=tuple(blocks))

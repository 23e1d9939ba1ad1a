"""What is wrong or thin, against which limit, and what would cure it."""

from chargewright.base.findings import SEVERITIES
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Block, Chapter, Findings, Paragraph, Tone, Verdict

MEANING = {
    "stop": "hardware or cells are at risk, or the job cannot be done",
    "serious": "fails in the field",
    "caution": "thin margin",
    "note": "good to know",
}


def chapter(dossier: Dossier) -> Chapter:
    """Return the chapter."""
    found = dossier.findings
    counts = [(s, sum(f.severity == s for f in found)) for s in SEVERITIES]
    words = ", ".join(f"{n} {s}" for s, n in counts if n)
    tone: Tone = "bad" if any(f.severity == "stop" for f in found) else "plain"
    blocks: list[Block] = [
        Verdict(text=f"{len(found)} findings: {words}." if found else "Nothing was found wrong or thin.", tone=tone),
        Paragraph(text="; ".join(f"{s}: {m}" for s, m in MEANING.items()) + ".", tone="quiet"),
    ]
    if found:
        blocks.append(Findings(items=found))
    return Chapter(key="findings", title="Findings", question="What is wrong or thin?", blocks=tuple(blocks))

"""What a shell user reads after a study: the verdict, the reasons, the worst findings, where the report is."""

from textwrap import fill

from chargewright.dossier.record import Dossier
from chargewright.report.write import ReportFiles
from chargewright.studies.words import because, score_line, verdict_sentence, why_out

_WIDTH = 96
_FINDINGS = 6


def summary(dossier: Dossier, files: ReportFiles) -> str:
    """Return the summary as plain text of at most about a screen."""
    study = dossier.study
    lines = ["", _wrapped(verdict_sentence(study)), ""]
    lines += [_wrapped(line, "  ") for line in because(study)]
    if study.ranking.order:
        lines += ["", "Paths that can do the job:"]
        lines += [_wrapped(f"{k}. {score_line(r, study)}", "  ") for k, r in enumerate(study.ranking.order, start=1)]
    out = [p for p in study.paths if not p.feasible]
    if out:
        lines += ["", "Paths that cannot:"]
        lines += [_wrapped(f"{p.path.title}: {reason}", "  ") for p in out for reason in why_out(p)[:1]]
    lines += ["", *_findings(dossier)]
    lines += ["", f"Report: {files.html}" + (f"   PDF: {files.pdf}" if files.pdf else "")]
    lines += ["", *(_wrapped(text) for text in dossier.cautions[:2])]
    return "\n".join(lines)


def _findings(dossier: Dossier) -> list[str]:
    if not dossier.findings:
        return ["No findings."]
    counted = {s: sum(f.severity == s for f in dossier.findings) for s in ("stop", "serious", "caution", "note")}
    head = ", ".join(f"{n} {s}" for s, n in counted.items() if n)
    worst = [f for f in dossier.findings if f.severity != "note"][:_FINDINGS]
    return [f"Findings: {head}.", *(_wrapped(f"{f.severity}: {f.where}: {f.what}", "  ") for f in worst)]


def _wrapped(text: str, indent: str = "") -> str:
    return fill(text, _WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")

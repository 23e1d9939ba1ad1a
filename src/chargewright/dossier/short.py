"""What a notebook or a shell shows of a dossier: the verdict, the ranking, how many findings. Text and HTML."""

from collections.abc import Sequence
from html import escape

from chargewright.base.findings import SEVERITIES, Finding
from chargewright.base.units import show
from chargewright.studies.study import PathStudy, Study
from chargewright.studies.verdict import MEASURES, SMALL_IS_GOOD
from chargewright.studies.words import verdict_sentence, why_out


def short_text(study: Study, findings: Sequence[Finding]) -> str:
    """Return the verdict and the ranking as plain text."""
    lines = [f"<Dossier of {study.case.design.name}>", verdict_sentence(study)]
    lines += [" ".join(cell for cell in row if cell) for row in _rows(study)]
    return "\n".join([*lines, counted(findings)])


def short_html(study: Study, findings: Sequence[Finding]) -> str:
    """Return the verdict and the ranking as a small HTML table; every text from the design file is escaped."""
    head = ("", "path", "points", *(MEASURES[name][0] for name in SMALL_IS_GOOD))
    cells = "".join(f"<th>{escape(text)}</th>" for text in head)
    body = "".join(
        "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in _padded(row, len(head))) + "</tr>"
        for row in _rows(study)
    )
    return (
        f"<p><b>{escape(study.case.design.name)}</b>: {escape(verdict_sentence(study))}</p>"
        f"<table><thead><tr>{cells}</tr></thead><tbody>{body}</tbody></table><p>{escape(counted(findings))}</p>"
    )


def counted(findings: Sequence[Finding]) -> str:
    """Return how many findings there are of each severity: "2 serious, 1 note"."""
    numbers = {s: sum(f.severity == s for f in findings) for s in SEVERITIES}
    return "findings: " + (", ".join(f"{n} {s}" for s, n in numbers.items() if n) or "none")


def _rows(study: Study) -> list[tuple[str, ...]]:
    """Return one row a path, best first; what cannot do the job gives its first reason instead of numbers."""
    place = {r.key: (k, r) for k, r in enumerate(study.ranking.order, start=1)}
    rows: list[tuple[str, ...]] = []
    for p in study.paths:
        if p.path.key in place:
            k, r = place[p.path.key]
            rows.append((f"{k}.", p.path.title, f"{100.0 * r.total:.0f}", *_measures(p)))
        else:
            rows.append(("out", p.path.title, "", next(iter(why_out(p)), "")))
    return rows


def _measures(p: PathStudy) -> tuple[str, ...]:
    known = p.measures or {}
    return tuple(show(known[name], MEASURES[name][1], 3) if name in known else "" for name in SMALL_IS_GOOD)


def _padded(row: tuple[str, ...], n: int) -> tuple[str, ...]:
    return (*row, *[""] * (n - len(row)))

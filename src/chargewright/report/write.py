"""Write everything that a study hands out into one folder: pages, figures, tables, the record."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chargewright.base.files import write_folder_atomically
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Document, pictures_of
from chargewright.report.document import document_of
from chargewright.report.html import html_page
from chargewright.report.record import curves_of, study_record, tables_of
from chargewright.report.tables import csv_text

Progress = Callable[[str, float], None]
"""Told the step that starts and the share of the work that is done [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportFiles:
    """What was written, and where."""

    folder: Path
    html: Path
    pdf: Path | None
    record: Path
    figures: tuple[Path, ...]
    tables: tuple[Path, ...]


def write_report(
    dossier: Dossier,
    folder: Path,
    *,
    pdf: bool = True,
    png: bool = True,
    progress: Progress | None = None,
    date: str = "",
) -> ReportFiles:
    """Write the report of a dossier into `folder`, all of it or, if anything fails, nothing; return the files.

    pdf, png : whether to set the PDF, and to copy each figure as PNG; both take a second or two
    date     : printed as given; without one, the same study gives the same bytes on any day
    Raises ChargewrightError if the folder is not ours to replace or cannot be written.
    """
    tell = progress or (lambda _step, _share: None)
    made: list[str] = []

    def fill(draft: Path) -> None:
        made.extend(_fill(dossier, draft, pdf=pdf, png=png, tell=tell, date=date))

    write_folder_atomically(folder, fill)
    tell("report written", 1.0)
    return ReportFiles(
        folder=folder,
        html=folder / "report.html",
        pdf=folder / "report.pdf" if pdf else None,
        record=folder / "study.json",
        figures=tuple(folder / name for name in made if name.startswith("figures/")),
        tables=tuple(folder / name for name in made if name.startswith("tables/")),
    )


def _fill(dossier: Dossier, draft: Path, *, pdf: bool, png: bool, tell: Progress, date: str) -> list[str]:
    tell("figures and page", 0.0)
    document = document_of(dossier, date)
    made: list[str] = []

    def put(name: str, data: str | bytes) -> None:
        target = draft / name
        target.parent.mkdir(exist_ok=True)
        target.write_bytes(data.encode("utf-8") if isinstance(data, str) else data)
        made.append(name)

    put("report.html", html_page(document))
    put("study.json", json_text(study_record(dossier)))
    for table in (*tables_of(dossier), *curves_of(dossier)):
        put(f"tables/{table.key}.csv", csv_text(table))
    if dossier.stage_wave is not None:
        put("stage.cir", dossier.stage_wave.deck)
    if pdf:
        from chargewright.report.pdf import pdf_bytes

        tell("PDF", 0.4)
        put("report.pdf", pdf_bytes(document))
    _figures(document, put, png=png, tell=tell)
    return made


def _figures(document: Document, put: Callable[[str, str | bytes], None], *, png: bool, tell: Progress) -> None:
    pictures = pictures_of([b for c in document.chapters for b in c.blocks])
    for k, picture in enumerate(pictures):
        put(f"figures/{picture.key}.svg", picture.svg)
        if png:
            from chargewright.report.pdf import png_bytes

            tell("figures for slides", 0.7 + 0.3 * k / len(pictures))
            put(f"figures/{picture.key}.png", png_bytes(picture))


def json_text(record: dict[str, Any]) -> str:
    """Return the record as JSON text: one line for each row of a table, so that versions can be compared."""
    return _laid_out(record, _LEVELS) + "\n"


_LEVELS = 3
"""Levels that are laid out on lines of their own: the record, its tables, their rows."""


def _laid_out(value: Any, levels: int) -> str:
    if levels and isinstance(value, dict) and value:
        inner = ",\n".join(f"{json.dumps(k, ensure_ascii=False)}: {_laid_out(v, levels - 1)}" for k, v in value.items())
        return f"{{\n{inner}\n}}"
    if levels and isinstance(value, list) and value:
        return "[\n" + ",\n".join(_laid_out(v, levels - 1) for v in value) + "\n]"
    return json.dumps(value, ensure_ascii=False, allow_nan=False)

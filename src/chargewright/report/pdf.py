"""The document as a PDF, set by typst: embedded fonts, tagged for readers who cannot see it, the same bytes each time.

Every text goes into the source as a string literal, so nothing in a product's or a part's name can act as markup.
"""

from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from math import ceil, sqrt

from chargewright.base.errors import ChargewrightError
from chargewright.base.findings import Finding
from chargewright.report.blocks import (
    Block,
    Bullets,
    Caution,
    Cell,
    Derivation,
    Document,
    Evaluation,
    Findings,
    Heading,
    KeyNumber,
    KeyNumbers,
    Paragraph,
    Picture,
    Pictures,
    Table,
    Unfold,
    Verdict,
)
from chargewright.report.palette import SHADES
from chargewright.report.words import MARKS, SEVERITY_MARKS, bound, finding_lines

_COLOURS = {"stop": "bad", "serious": "pack", "caution": "thin", "note": "soft"}
_WIDEST_TEXT = 34.0
"""Characters that a text column may claim before it wraps; longer texts get more, by the root of what is beyond."""
_ACROSS = 115.0
"""Characters that go side by side in a table as wide as the page."""
_BETWEEN = 0.6
"""What the rule between two rows takes, in lines."""
_WHOLE = 36.0
"""A table of at most so many lines is not broken over two pages."""
_MARK = "mm"
"""As wide as the sign before a text with a tone, which must not stand on a line of its own."""
_EPOCH = 0


def pdf_bytes(document: Document) -> bytes:
    """Return the PDF. Raises ChargewrightError if the typesetter refuses."""
    import typst

    source = typst_source(document).encode("utf-8")
    try:
        made = typst.compile(source, format="pdf", timestamp=_EPOCH, pdf_standards=["ua-1"], ignore_system_fonts=True)
    except typst.TypstError as error:
        raise ChargewrightError(f"the PDF could not be set: {error}. The HTML report is not affected.") from error
    assert isinstance(made, bytes), "one document is one file"
    return made


def png_bytes(picture: Picture, scale: float = 2.0) -> bytes:
    """Return a figure as PNG, by default at twice its size on the page, for slides."""
    import typst

    source = (
        "#set page(width: auto, height: auto, margin: 0pt)\n"
        f'#image(bytes({quoted(picture.svg)}), format: "svg", alt: {quoted(picture.alt)})'
    )
    made = typst.compile(source.encode("utf-8"), format="png", ppi=72.0 * scale * _PX, ignore_system_fonts=True)
    assert isinstance(made, bytes), "one page is one file"
    return made


_PX = 96.0 / 72.0
"""Points per px: typst takes a px of a figure for 1/96 inch, and paints `ppi` dots per inch."""


def quoted(text: str) -> str:
    """Return a text as a typst string literal."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\r", "").replace("\n", "\\n")
    return f'"{escaped}"'


def typst_source(document: Document) -> str:
    """Return the whole document in typst's language."""
    notes = _Notes()
    colours = "\n".join(f'#let {s.name} = rgb("{s.light}")' for s in SHADES)
    parts = [
        colours,
        f"#let made-by = {_text(document.made_by)}",
        f"#set document(title: {quoted(document.title + ': power-path study')}, date: none)",
        _preamble(),
        _front(document),
    ]
    for number, chapter in enumerate(document.chapters, start=1):
        parts.append(f'#chapter-head({_content(f"{number}  {chapter.title}")}, "c-{chapter.key}")')
        parts.append(f"#question[#{_text(chapter.question)}]")
        parts += [_block(b, notes) for b in chapter.blocks]
    parts.append(_derivations(notes))
    return "\n".join(p for p in parts if p)


@dataclass(slots=True)
class _Notes:
    """Derivations met so far; each is printed at the end and referred to by its number."""

    found: list[Derivation] = field(default_factory=list)

    def mark(self, derivation: Derivation | None) -> str:
        """Return the reference to a derivation, which is kept for the end; nothing for None."""
        if derivation is None:
            return ""
        if derivation not in self.found:
            self.found.append(derivation)
        n = self.found.index(derivation) + 1
        return f'#super[#link(label("d{n}"))[{n}]]'


@cache
def _preamble() -> str:
    return (files("chargewright.report") / "templates" / "report.typ").read_text(encoding="utf-8")


def _text(text: str) -> str:
    return quoted(bound(text))


def _content(text: str) -> str:
    return f"[#{_text(text)}]"


def _front(document: Document) -> str:
    date = f" {document.date}." if document.date else ""
    words = "Results support, and never replace, review and test by qualified people."
    lines = [
        "#text(size: 8.5pt, fill: soft)[Power-path study]",
        f'#block(above: 6pt, below: 10pt)[#text(size: 26pt, weight: "semibold")[#{_text(document.title)}]]',
    ]
    if document.subtitle:
        lines.append(f'#block(below: 10pt)[#text(size: 11.5pt, style: "italic")[#{_text(document.subtitle)}]]')
    lines.append(f"#quiet[#{_text(f'{document.made_by}.{date} {words}')}]")
    lines.append("#line(length: 100%, stroke: 1.2pt + ink)")
    entries = [f'contents-entry("{k}", {_content(c.title)}, "c-{c.key}")' for k, c in enumerate(document.chapters, 1)]
    lines.append(f"#contents({', '.join(entries)})")
    return "\n".join(lines)


def _block(block: Block, notes: _Notes) -> str:
    match block:
        case Heading():
            return f"#heading(level: 2){_content(block.text)}"
        case Verdict():
            return f"#verdict({quoted(block.tone)}, {_content(block.text)})"
        case Paragraph():
            return (
                f"#quiet{_content(block.text)}" if block.tone == "quiet" else f"#par[#{_toned(block.text, block.tone)}]"
            )
        case Bullets():
            return f"#list({', '.join(_content(item) for item in block.items)})"
        case KeyNumbers():
            return f"#key-numbers({', '.join(_key_number(n, notes) for n in block.items)})"
        case Table():
            return _table(block, notes)
        case Picture():
            return f"#{_picture(block)}"
        case Pictures():
            return f"#pair({', '.join(_picture(p) for p in block.items)})"
        case Findings():
            return f"#pair({', '.join(_finding(f) for f in block.items)})"
        case Caution():
            return f"#caution({_content(block.title)}, ({', '.join(_content(i) for i in block.items)},))"
        case Unfold():
            return "\n".join(_block(b, notes) for b in block.blocks) if block.in_print else ""


def _toned(text: str, tone: str) -> str:
    return f"toned({quoted(tone)}, {_content(text)})"


def _key_number(n: KeyNumber, notes: _Notes) -> str:
    value = f"[#{_toned(n.shown, n.tone)}{notes.mark(n.derivation)}]"
    return f"key-number({_content(n.label)}, {value}, {_content(n.note)})"


def _table(table: Table, notes: _Notes) -> str:
    weights = _weights(table)
    breakable = "true" if _lines(table, weights) > _WHOLE else "false"
    columns = ", ".join(f"{w:.2f}fr" for w in weights)
    aligns = ", ".join(f"{a} + top" for a in table.aligns)
    heads = ", ".join(_content(h) for h in table.heads)
    rows = ", ".join(f"({', '.join(_cell(c, notes) for c in row)},)" for row in table.rows)
    return (
        f"#data-table({_content(table.caption)}, ({columns},), ({aligns},), ({heads},), ({rows}{',' if rows else ''}), "
        f"{_content(table.note) if table.note else quoted('')}, {breakable})"
    )


def _cell(cell: Cell, notes: _Notes) -> str:
    inner = f"#{_toned(cell.text, cell.tone)}{notes.mark(cell.derivation)}"
    return f'[#text(weight: "bold")[{inner}]]' if cell.strong and len(cell.text) < 40 else f"[{inner}]"


def _weights(table: Table) -> list[float]:
    """Return each column's share of the width: what its longest text wants, never less than its longest word."""
    weights = []
    for k, head in enumerate(table.heads):
        texts = [f"{row[k].text}{_MARK if row[k].tone in MARKS else ''}" for row in table.rows]
        word = max((len(w) for t in (*texts, head) for w in t.split()), default=1)
        whole = max((len(t) for t in texts), default=1)
        if table.aligns[k] == "right":
            word = max(word, min(whole, 14))
        beyond = max(float(whole) - _WIDEST_TEXT, 0.0)
        weights.append(max(float(word), min(float(whole), _WIDEST_TEXT) + 2.5 * sqrt(beyond)) + 2.0)
    return weights


def _lines(table: Table, weights: list[float]) -> float:
    """Return about how many lines a table takes."""
    room = [_ACROSS * w / sum(weights) for w in weights]
    rows = [max(ceil(len(c.text) / r) for c, r in zip(row, room, strict=True)) + _BETWEEN for row in table.rows]
    return sum(rows) + 3.0


def _picture(p: Picture) -> str:
    return f"picture({quoted(p.svg)}, {quoted(p.alt)}, {_content(p.message)})"


def _finding(f: Finding) -> str:
    told = ", ".join(f"({_content(head)}, {_content(text)})" for head, text in finding_lines(f))
    return (
        f"finding({quoted(SEVERITY_MARKS[f.severity])}, {_COLOURS[f.severity]}, {_content(f.severity)}, "
        f"{_content(f.where)}, {_content(f.what)}, {told})"
    )


def _derivations(notes: _Notes) -> str:
    if not notes.found:
        return ""
    lines = ["#pagebreak(weak: true)", '#chapter-head([Where the numbers come from], "c-derivations")']
    lines.append("#quiet[Raised numbers in the report refer to this list. Inserted numbers are in SI units.]")
    lines.append("#columns(2, gutter: 16pt)[")
    for n, d in enumerate(notes.found, start=1):
        inner = ", ".join(e for one in d.evaluations for e in _evaluation(one, 0))
        head = f"{_content(f'{d.what} = {d.shown}')}, {quoted(d.note)}"
        lines.append(f'#derivation([{n}], [#metadata(none)#label("d{n}")], {head}, ({inner}{"," if inner else ""}))')
    return "\n".join([*lines, "]"])


def _evaluation(e: Evaluation, depth: int) -> list[str]:
    formulas = ", ".join(_content(line) for line in e.formula.split("; "))
    numbers = ", ".join(_content(line) for line in e.inserted.split("; "))
    inputs = _content(",  ".join(f"{name} = {value}" for name, value in e.inputs))
    name = _content(e.relation.replace("_", " "))
    found = [f"evaluation({depth}, {name}, ({formulas},), ({numbers},), {inputs}, {_content(e.source)})"]
    for inner in e.because:
        found += _evaluation(inner, depth + 1)
    return found

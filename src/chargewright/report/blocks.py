"""The report as plain blocks: what is said, in which order, and nothing of how it looks.

A chapter is a list of blocks. Two renderers turn the same blocks into HTML (`html`) and into a PDF (`pdf`), so the two
cannot say different things. Every text here is plain: each renderer escapes it for its own language.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from chargewright.base.findings import Finding

Tone = Literal["plain", "good", "thin", "bad", "quiet"]
"""What a text means for the design; shown by colour and never by colour alone."""
Align = Literal["left", "right"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Evaluation:
    """One relation with its numbers, as text."""

    relation: str
    formula: str
    """As the physics page prints it; several lines are joined by "; "."""
    inserted: str
    """The formula with SI numbers in the place of its inputs, and the result behind it."""
    inputs: tuple[tuple[str, str], ...]
    """Name and value with its unit."""
    result: str
    source: str
    because: tuple["Evaluation", ...] = ()
    """Evaluations that gave some of the inputs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Derivation:
    """How one shown number came about."""

    what: str
    shown: str
    evaluations: tuple[Evaluation, ...]
    """They add up to the number shown where there are several."""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """A heading inside a chapter."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Paragraph:
    """Running text."""

    text: str
    tone: Tone = "plain"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The sentence that answers the chapter's question, set larger."""

    text: str
    tone: Tone = "plain"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bullets:
    """A list of sentences."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyNumber:
    """One headline number that can be unfolded."""

    label: str
    shown: str
    note: str = ""
    tone: Tone = "plain"
    derivation: Derivation | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyNumbers:
    """Headline numbers side by side."""

    items: tuple[KeyNumber, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One cell of a table."""

    text: str
    tone: Tone = "plain"
    strong: bool = False
    derivation: Derivation | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table; the first column names the row."""

    caption: str
    heads: tuple[str, ...]
    aligns: tuple[Align, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A figure: one SVG for all outputs. Its colours are those of `palette`, which the HTML page turns into its own."""

    key: str
    """File name without ending, and prefix of every id inside the SVG."""
    title: str
    message: str
    """What it shows, in one sentence with numbers: the caption."""
    alt: str
    """For those who cannot see it: what is drawn, and the message."""
    svg: str
    wide: bool = False
    """Whether it needs the whole width of the page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pictures:
    """Figures that are looked at together."""

    items: tuple[Picture, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """Findings, worst first."""

    items: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """What the reader has to heed."""

    title: str
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unfold:
    """Detail that is folded away on the page; printed in full, or left out of print."""

    title: str
    blocks: tuple["Block", ...]
    in_print: bool = True


Block: TypeAlias = (
    Heading | Paragraph | Verdict | Bullets | KeyNumbers | Table | Picture | Pictures | Findings | Caution | Unfold
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """One chapter; it answers one question."""

    key: str
    title: str
    question: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """The whole report."""

    title: str
    subtitle: str
    date: str
    """As the caller gives it; "" for none."""
    made_by: str
    chapters: tuple[Chapter, ...]


def pictures_of(blocks: Sequence[Block]) -> tuple[Picture, ...]:
    """Return every figure in blocks, in order, those folded away included."""
    found: list[Picture] = []
    for block in blocks:
        if isinstance(block, Picture):
            found.append(block)
        elif isinstance(block, Pictures):
            found.extend(block.items)
        elif isinstance(block, Unfold):
            found.extend(pictures_of(block.blocks))
    return tuple(found)

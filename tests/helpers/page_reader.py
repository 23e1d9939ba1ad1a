"""Read an HTML page by what it shows."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "link", "br", "hr", "img", "input"}


@dataclass(slots=True)
class Tag:
    """One start tag that was met, with the tags around it."""

    name: str
    attributes: dict[str, str]
    around: tuple[str, ...]


@dataclass(slots=True)
class Page:
    """What is on a page."""

    tags: list[Tag] = field(default_factory=list)
    text: str = ""
    unbalanced: list[str] = field(default_factory=list)

    def all(self, name: str) -> list[Tag]:
        """Return every tag of a name."""
        return [t for t in self.tags if t.name == name]


def read_page(html: str) -> Page:
    """Return tags and text of a page, each run of spaces as one."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    page = reader.page
    page.unbalanced += reader.open
    page.text = " ".join("".join(reader.texts).split())
    return page


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.page = Page()
        self.open: list[str] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.page.tags.append(Tag(tag, {k: v or "" for k, v in attrs}, tuple(self.open)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.page.tags.append(Tag(tag, {k: v or "" for k, v in attrs}, tuple(self.open)))

    def handle_endtag(self, tag: str) -> None:
        if self.open and self.open[-1] == tag:
            self.open.pop()
        else:
            self.page.unbalanced.append(f"/{tag}")

    def handle_data(self, data: str) -> None:
        if not {"style", "title", "defs"} & set(self.open):
            self.texts.append(data if not self.texts or data[:1].isspace() else f" {data}")

"""The document as one HTML file: no script, nothing fetched, figures inside, light and dark."""

from functools import cache
from importlib.resources import files
from typing import Any

from chargewright.report.blocks import Document, Picture
from chargewright.report.palette import themed, variables
from chargewright.report.words import MARKS, SEVERITY_MARKS, bound, finding_lines


def html_page(document: Document) -> str:
    """Return the page. The template engine escapes all text; only the figures, which are ours, go in as they are."""
    text: str = _template().render(document=document, style=_style())
    return text


@cache
def _template() -> Any:
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    def svg(picture: Picture) -> Markup:
        # The alternative text stands on the drawing's frame; what is inside is for the eye.
        return Markup(themed(picture.svg).replace("<svg ", '<svg aria-hidden="true" focusable="false" ', 1))

    environment = Environment(autoescape=True, undefined=StrictUndefined, keep_trailing_newline=True)
    environment.filters["bound"] = bound
    environment.globals |= {
        "kind_of": lambda block: type(block).__name__,
        "marks": MARKS,
        "severity_marks": SEVERITY_MARKS,
        "finding_lines": finding_lines,
        "svg": svg,
    }
    return environment.from_string(_file("page.html"))


def _style() -> Any:
    from markupsafe import Markup

    css = _file("style.css").replace("LIGHT", variables(dark=False)).replace("DARK", variables(dark=True))
    return Markup(css)


def _file(name: str) -> str:
    return (files("chargewright.report") / "templates" / name).read_text(encoding="utf-8")

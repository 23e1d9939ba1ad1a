"""The document as one HTML file: no script, nothing fetched, figures inside, light and dark."""

from functools import cache
from importlib.resources import files
from typing import Any

from chargewright.report.blocks import Document, Picture
from chargewright.report.palette import themed, variables
from chargewright.report.words import MARKS, SEVERITY_MARKS, bound, finding_lines


def html_page(document: Document) -> str:
    """Return the page. All text is escaped; only figures and style, which are ours, go in as they are."""
    from markupsafe import Markup

    text: str = _template().render(document=document, style=Markup(page_style()))
    return text


@cache
def _template() -> Any:
    return environment().from_string(template_text("page.html"))


@cache
def environment() -> Any:
    """Return the template engine with what all pages use."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    def svg(picture: Picture) -> Markup:
        # The alternative text stands on the drawing's frame; what is inside is for the eye.
        return Markup(themed(picture.svg).replace("<svg ", '<svg aria-hidden="true" focusable="false" ', 1))

    made = Environment(autoescape=True, undefined=StrictUndefined, keep_trailing_newline=True)
    made.filters["bound"] = bound
    made.globals |= {
        "kind_of": lambda block: type(block).__name__,
        "marks": MARKS,
        "severity_marks": SEVERITY_MARKS,
        "finding_lines": finding_lines,
        "svg": svg,
    }
    return made


def page_style() -> str:
    """Return the style that all pages share."""
    return template_text("style.css").replace("LIGHT", variables(dark=False)).replace("DARK", variables(dark=True))


def template_text(name: str) -> str:
    """Return one file of the templates."""
    return (files("chargewright.report") / "templates" / name).read_text(encoding="utf-8")

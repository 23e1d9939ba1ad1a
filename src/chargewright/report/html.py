"""The document as one HTML file: no script, nothing fetched, figures inside, light and dark."""

from functools import cache
from importlib.resources import files
from typing import Any

from chargewright.base.units import show
from chargewright.report.blocks import Document, Picture
from chargewright.report.palette import themed, variables
from chargewright.report.words import bound

MARKS = {"bad": "✕", "thin": "△"}
"""Signs that say the same as the colour of a tone."""
SEVERITY_MARKS = {"stop": "■", "serious": "▲", "caution": "◆", "note": "○"}


def html_page(document: Document) -> str:
    """Return the page. The template engine escapes all text; only the figures, which are ours, go in as they are."""
    text: str = _template().render(document=document, style=_style())
    return text


def shown(value: float, unit: str) -> str:
    """Return a number of a finding as text; one without a unit is a plain number."""
    return show(value, unit) if unit else f"{value:.4g}"


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
        "show": shown,
        "svg": svg,
    }
    return environment.from_string(_file("page.html"))


def _style() -> Any:
    from markupsafe import Markup

    css = _file("style.css").replace("LIGHT", variables(dark=False)).replace("DARK", variables(dark=True))
    return Markup(css)


def _file(name: str) -> str:
    return (files("chargewright.report") / "templates" / name).read_text(encoding="utf-8")

"""Waveforms as one HTML page that can be explored: cursor, mark, stretches; no library, nothing fetched.

The report itself stays without a script. This page has one, our own: its policy allows that script by its hash and
nothing else, and the numbers stand in it as data.
"""

import json
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import OutOfRange
from chargewright.report.html import environment, page_style, template_text
from chargewright.studies.transients.record import Limit

Floats = npt.NDArray[np.float64]
_DIGITS = 7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """One quantity over the view's time, SI; `low` and `high` are its least and greatest value around each instant."""

    key: str
    title: str
    unit: str
    mean: Floats
    low: Floats
    high: Floats
    drawn: bool = True
    """Whether it is shown at first."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """Curves over one time axis."""

    key: str
    title: str
    note: str
    t: Floats
    """Rising, of the shape of every curve [s]; the event is at 0."""
    curves: tuple[Curve, ...]
    events: tuple[tuple[float, str], ...] = ()
    """Instants [s] with what happens then; their numbers stand in the chart."""
    limits: tuple[Limit, ...] = ()


def waveform_page(title: str, subtitle: str, made_by: str, views: Sequence[View]) -> str:
    """Return the page. Raises OutOfRange for a view whose curves and time do not have one shape, or for none."""
    if not views:
        raise OutOfRange("a page of waveforms needs at least one")
    script = template_text("waveforms.js")
    style = page_style() + template_text("waveforms.css")
    # Inside a script element only "</" could end it early.
    data = json.dumps([_record(v) for v in views], ensure_ascii=False, allow_nan=False).replace("<", "\\u003c")
    from markupsafe import Markup

    text: str = environment().from_string(template_text("waveforms.html")).render(
        title=title, subtitle=subtitle, made_by=made_by, data=Markup(data), script=Markup(script), style=Markup(style),
        script_hash=_hash(script), style_hash=_hash(style),
    )  # fmt: skip
    return text


def _hash(text: str) -> str:
    """Return how a content security policy names an inline script or style."""
    return f"sha256-{b64encode(sha256(text.encode()).digest()).decode()}"


def _record(view: View) -> dict[str, Any]:
    shapes = {np.shape(values) for c in view.curves for values in (c.mean, c.low, c.high)} | {np.shape(view.t)}
    if len(shapes) != 1 or np.ndim(view.t) != 1 or len(view.t) < 2:
        raise OutOfRange(f"{view.title}: time and curves need one shape of at least two instants; found {shapes}")
    events = "; ".join(f"{n} {words}" for n, (_, words) in enumerate(view.events, start=1))
    return {
        "key": view.key,
        "title": view.title,
        "note": f"{view.note} Events: {events}." if events else view.note,
        "t": _numbers(view.t),
        "events": [[float(t), words] for t, words in view.events],
        "limits": [{"of": b.of, "words": b.words, "value": b.value, "side": b.side} for b in view.limits],
        "curves": [
            {"key": c.key, "title": c.title, "unit": c.unit, "drawn": c.drawn}
            | {name: _numbers(getattr(c, name)) for name in ("mean", "low", "high")}
            for c in view.curves
        ],
    }


def _numbers(values: Floats) -> list[float | None]:
    return [float(f"{v:.{_DIGITS}g}") if np.isfinite(v) else None for v in np.asarray(values, dtype=float)]

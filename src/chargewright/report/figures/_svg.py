"""A small drawing board for SVG: shapes, and text as outlines so that it looks the same on every machine.

Outlines come from the sans-serif font that matplotlib brings. Coordinates are in px, y downwards.
"""

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Literal
from xml.sax.saxutils import escape
from zlib import crc32

from chargewright.report.palette import INK, PAPER

Anchor = Literal["start", "middle", "end"]
_UNITS = 2048.0
"""Font units per em of the outlines."""
_HINT_FREE = 2
"""LOAD_NO_HINTING of the font library: outlines as designed."""


@dataclass(slots=True)
class Board:
    """A drawing under way. `key` keeps its ids apart from those of other figures on the same page."""

    key: str
    width: float
    height: float
    _body: list[str] = field(default_factory=list)
    _glyphs: dict[str, str] = field(default_factory=dict)

    def line(
        self, x1: float, y1: float, x2: float, y2: float, *, colour: str = INK, width: float = 1.0, dash: str = ""
    ) -> None:
        """Draw a straight line."""
        dashed = f";stroke-dasharray:{dash}" if dash else ""
        self._body.append(
            f'<line x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}" '
            f'style="stroke:{colour};stroke-width:{_n(width)}{dashed}"/>'
        )

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        fill: str = "none",
        stroke: str = "none",
        line: float = 1.0,
        radius: float = 0.0,
        opacity: float = 1.0,
        dash: str = "",
    ) -> None:
        """Draw a rectangle."""
        style = f"fill:{fill};stroke:{stroke};stroke-width:{_n(line)}"
        style += f";fill-opacity:{_n(opacity)}" if opacity < 1.0 else ""
        style += f";stroke-dasharray:{dash}" if dash else ""
        self._body.append(
            f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(max(width, 0.0))}" height="{_n(max(height, 0.0))}" '
            f'rx="{_n(radius)}" style="{style}"/>'
        )

    def path(
        self,
        d: str,
        *,
        fill: str = "none",
        stroke: str = "none",
        width: float = 1.0,
        opacity: float = 1.0,
        dash: str = "",
    ) -> None:
        """Draw a path given in SVG's own path language."""
        style = f"fill:{fill};stroke:{stroke};stroke-width:{_n(width)};stroke-linejoin:round"
        style += f";fill-opacity:{_n(opacity)}" if opacity < 1.0 else ""
        style += f";stroke-dasharray:{dash}" if dash else ""
        self._body.append(f'<path d="{d}" style="{style}"/>')

    def circle(self, x: float, y: float, r: float, *, fill: str = INK, stroke: str = "none") -> None:
        """Draw a circle."""
        self._body.append(f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(r)}" style="fill:{fill};stroke:{stroke}"/>')

    def ring(self, x: float, y: float, r: float, *, colour: str = INK, width: float = 1.4) -> None:
        """Draw a circle that is not filled."""
        style = f"fill:none;stroke:{colour};stroke-width:{_n(width)}"
        self._body.append(f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(r)}" style="{style}"/>')

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = 11.0,
        colour: str = INK,
        anchor: Anchor = "start",
        bold: bool = False,
    ) -> float:
        """Write `words` with their baseline at y; return their width in px."""
        wide = text_width(words, size, bold=bold)
        start = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * wide
        scale, mark = size / _UNITS, f"{crc32(self.key.encode()):x}"
        pen, uses = 0.0, []
        for sign in words:
            outline, advance = _glyph(sign, bold)
            if outline:
                name = f"g{mark}{'b' if bold else 'r'}{ord(sign):x}"
                self._glyphs[name] = outline
                uses.append(f'<use href="#{name}" x="{pen:.0f}"/>')
            pen += advance
        self._body.append(
            f'<g transform="translate({_n(start)} {_n(y)}) scale({scale:.6f} {-scale:.6f})" style="fill:{colour}">'
            f"{''.join(uses)}</g>"
        )
        return wide

    def svg(self, title: str) -> str:
        """Return the finished SVG on a sheet of paper."""
        glyphs = "".join(f'<path id="{name}" d="{d}"/>' for name, d in sorted(self._glyphs.items()))
        w, h = _n(self.width), _n(self.height)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w} {h}" width="{w}" height="{h}">'
            f"<title>{escape(title)}</title><defs>{glyphs}</defs>"
            f'<rect width="{w}" height="{h}" style="fill:{PAPER}"/>{"".join(self._body)}</svg>\n'
        )


def text_width(words: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a text becomes [px]."""
    return sum(_glyph(sign, bold)[1] for sign in words) * size / _UNITS


def shortened(words: str, size: float, width: float, *, bold: bool = False) -> str:
    """Return a text that fits a width [px], cut with an ellipsis where it has to be."""
    if text_width(words, size, bold=bold) <= width:
        return words
    while words and text_width(words + "…", size, bold=bold) > width:
        words = words[:-1]
    return words.rstrip() + "…"


@lru_cache(maxsize=2)
def _font(bold: bool) -> Any:
    from matplotlib import get_data_path
    from matplotlib.ft2font import FT2Font

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    font = FT2Font(f"{get_data_path()}/fonts/ttf/{name}")
    font.set_size(_UNITS, 72)
    return font


@lru_cache(maxsize=2048)
def _glyph(sign: str, bold: bool) -> tuple[str, float]:
    """Return outline (y upwards, font units) and advance of one sign."""
    from matplotlib.ft2font import LoadFlags

    font = _font(bold)
    glyph = font.load_char(ord(sign), flags=LoadFlags.NO_HINTING)
    points, codes = font.get_path()
    return _outline(points, codes), float(glyph.linearHoriAdvance) / 65536.0


def _outline(points: Any, codes: Any) -> str:
    d, k = [], 0
    while k < len(codes):
        code = int(codes[k])
        if code == 1:
            d.append(f"M{_i(points[k])}")
            k += 1
        elif code == 2:
            d.append(f"L{_i(points[k])}")
            k += 1
        elif code == 3:
            d.append(f"Q{_i(points[k])} {_i(points[k + 1])}")
            k += 2
        elif code == 4:
            d.append(f"C{_i(points[k])} {_i(points[k + 1])} {_i(points[k + 2])}")
            k += 3
        else:
            d.append("Z")
            k += 1
    return "".join(d)


def _i(point: Any) -> str:
    return f"{round(float(point[0]))} {round(float(point[1]))}"


def _n(value: float) -> str:
    """Return a coordinate without needless digits."""
    return f"{value:.2f}".rstrip("0").rstrip(".")

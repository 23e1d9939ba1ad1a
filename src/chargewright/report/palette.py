"""The colours of report and figures: a blue, orange and grey set that colour-blind readers can tell apart.

The hues for paths are those of M. Okabe, K. Ito, Color Universal Design, 2008 (from memory), darkened where they were
too light for a line on white. Figures are drawn in the light colours; the page replaces each by a variable, so that
dark mode needs no second drawing. Nothing is told by colour alone: paths also have a line style and a letter.
"""

from dataclasses import dataclass

INK = "#1f2630"
SOFT = "#5a6472"
HAIR = "#c9cfd6"
WASH = "#eef1f4"
PAPER = "#ffffff"
SOURCE = "#0069a8"
"""Energy from the source."""
PACK = "#b05200"
"""Energy from the pack."""
LOSS = "#8a4b8f"
"""Energy that is lost."""
LOAD = "#46525f"
"""Energy that the system uses."""
GOOD = "#00694d"
THIN = "#8a5a00"
BAD = "#b3261e"
SERIES = ("#0069a8", "#b05200", "#00805e", "#9a3b7d", "#6b7400", "#3a3f99")
"""Colours for paths and states, in order; the first and second are those of source and pack."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shade:
    """One colour of the palette in both modes."""

    name: str
    light: str
    dark: str


SHADES = (
    Shade(name="ink", light=INK, dark="#e6e9ed"),
    Shade(name="soft", light=SOFT, dark="#a4aebb"),
    Shade(name="hair", light=HAIR, dark="#3c4652"),
    Shade(name="wash", light=WASH, dark="#212932"),
    Shade(name="paper", light=PAPER, dark="#171c22"),
    Shade(name="source", light=SOURCE, dark="#62b4ea"),
    Shade(name="pack", light=PACK, dark="#f0a04b"),
    Shade(name="loss", light=LOSS, dark="#cf98d4"),
    Shade(name="load", light=LOAD, dark="#aab6c3"),
    Shade(name="good", light=GOOD, dark="#5fc7a4"),
    Shade(name="thin", light=THIN, dark="#e0b25a"),
    Shade(name="bad", light=BAD, dark="#f2938c"),
    Shade(name="series-3", light=SERIES[2], dark="#4fc39c"),
    Shade(name="series-4", light=SERIES[3], dark="#e08fc6"),
    Shade(name="series-5", light=SERIES[4], dark="#c0c852"),
    Shade(name="series-6", light=SERIES[5], dark="#a3a8f5"),
)
"""Every colour that report and figures use."""

DASHES = ("", "6 3", "1.5 2.5", "9 3 1.5 3", "3.5 2", "9 2.5 1.5 2.5 1.5 2.5")
"""Line styles that go with `SERIES`, as SVG writes them."""
LETTERS = "ABCDEFGHJKLMNPQR"


def themed(svg: str) -> str:
    """Return an SVG whose colours are the page's variables instead of fixed ones."""
    for shade in SHADES:
        svg = svg.replace(shade.light, f"var(--{shade.name})")
    return svg


def variables(*, dark: bool) -> str:
    """Return the declarations of all colours as CSS variables."""
    return " ".join(f"--{s.name}: {s.dark if dark else s.light};" for s in SHADES)

"""Small things that both renderers do to running text."""

import re

_UNITS = "(?:[pnµmkMG]?(?:V|A|W|Ω|F|H|Hz|Wh|Ah|J|s)|%|°C|mm²|min|h|d|K|K/W|V·s|V/s|ppm/K|C)"
_NUMBER_AND_UNIT = re.compile(rf"(?<=[0-9]) (?={_UNITS}(?![\w]))")
NO_BREAK = "\u00a0"


def bound(text: str) -> str:
    """Return a text in which no line ends between a number and its unit."""
    return _NUMBER_AND_UNIT.sub(NO_BREAK, text)

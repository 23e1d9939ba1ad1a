"""Words and signs that both renderers share."""

import re

from chargewright.base.findings import Finding, Severity
from chargewright.base.units import show
from chargewright.report.blocks import Tone

MARKS: dict[Tone, str] = {"bad": "✕", "thin": "△"}
"""Signs that say the same as the colour of a tone."""
SEVERITY_MARKS: dict[Severity, str] = {"stop": "■", "serious": "▲", "caution": "◆", "note": "○"}
_UNITS = "(?:[pnµmkMG]?(?:V|A|W|Ω|F|H|Hz|Wh|Ah|J|s)|%|°C|mm²|min|h|d|K|K/W|V·s|V/s|ppm/K|C)"
_NUMBER_AND_UNIT = re.compile(rf"(?<=[0-9]) (?={_UNITS}(?![\w]))")
NO_BREAK = "\u00a0"


def finding_lines(f: Finding) -> list[tuple[str, str]]:
    """Return what is told of a finding below its sentence, as pairs of head and text."""
    numbers = [("value", f.value), ("limit", f.limit)]
    lines = [(head, _number(v, f.unit)) for head, v in numbers if v == v]
    lines.append(("why", f.why))
    if f.cure is not None:
        clears = "which clears it" if f.cure.clears else "which does not clear it"
        lines.append(("cure tried", f"{f.cure.change}: {_number(f.cure.value, f.unit)}, {clears}"))
    lines.append(("source", f"{f.source} ({f.check})"))
    return lines


def _number(value: float, unit: str) -> str:
    return show(value, unit) if unit else f"{value:.4g}"


def bound(text: str) -> str:
    """Return a text in which no line ends between a number and its unit."""
    return _NUMBER_AND_UNIT.sub(NO_BREAK, text)

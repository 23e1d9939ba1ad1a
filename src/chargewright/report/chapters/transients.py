"""What happens when …: plug, load, limits and hand-overs in time, each against the limits of cell, source and parts."""

from math import isfinite

from chargewright.base.units import show
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import (
    Block,
    Bullets,
    Cell,
    Chapter,
    Heading,
    Paragraph,
    Pictures,
    Table,
    Tone,
    Unfold,
    Verdict,
)
from chargewright.report.figures.steady_wave import steady_wave_picture
from chargewright.report.figures.transient import transient_picture
from chargewright.studies.transients.record import Measure, TransientReport, Transients
from chargewright.studies.transients.steady_wave import SteadyWave

_SHOWN = ("bus_low", "bus_high", "pack_high", "coil_most", "source_most", "source_over", "settling", "changes")


def chapter(dossier: Dossier) -> Chapter | None:
    """Return the chapter; None where nothing was run in time."""
    if dossier.transients is None:
        return None
    return Chapter(
        key="transients",
        title="What happens when",
        question="Does it withstand what happens to it?",
        blocks=(
            *transient_blocks(dossier.transients),
            *([] if dossier.stage_wave is None else _stage(dossier.stage_wave)),
            Paragraph(text=_MORE, tone="quiet"),
        ),
    )


def transient_blocks(found: Transients) -> list[Block]:
    """Return verdict, charts and tables of transients."""
    failed = [r for r in found.reports if not r.passes]
    blocks: list[Block] = [
        Verdict(text=_verdict(found, failed), tone="bad" if failed else "plain"),
        Paragraph(text=_WHAT, tone="quiet"),
        *(Paragraph(text=f"{r.title}: {r.cause} What helps: {r.cure}.", tone="bad") for r in failed),
        Pictures(items=tuple(transient_picture(r) for r in found.reports)),
        _table(found),
    ]
    if found.left_out:
        blocks.append(Bullets(items=tuple(f"Not run: {left.title}; {left.why}." for left in found.left_out)))
    blocks.append(Unfold(title="What happens in each, and what is assumed", blocks=(_details(found),)))
    return blocks


def _stage(wave: SteadyWave) -> list[Block]:
    return [
        Heading(text="The stage, switch by switch"),
        Pictures(items=(steady_wave_picture(wave),)),
        Paragraph(text=_DECK, tone="quiet"),
    ]


_DECK = (
    "For whoever doubts it: the file stage.cir in this report's folder is the same stage with source, pack and load in "
    "the Berkeley SPICE language, open loop at this duty. The command 'ngspice -b stage.cir' runs it for 200 periods "
    "and writes out.raw: coil current, output voltage, input voltage and pack current as out0 to out3. The figure's "
    "numbers are in the table stage_wave."
)
_MORE = (
    "The averaged circuit ran these: each quantity as its mean over a switching period, with an estimate of the coil's "
    "ripple. The command 'chargewright transients' runs every switching edge if asked, for any path, and writes all "
    "waveforms."
)
_WHAT = (
    "The parts and the loops of this study, put into time: amplifiers, wind-up, delays and body diodes included, the "
    "controller's own habits assumed. Layout, part tolerance and what a real controller does besides are not in it: "
    "each of these belongs on the bench, with a current probe, before anyone relies on it."
)


def _verdict(found: Transients, failed: list[TransientReport]) -> str:
    if not found.reports:
        return "Nothing was run in time."
    if not failed:
        return f"Yes: in all {len(found.reports)} that this path can meet, every limit is kept. {_closest(found)}"
    return f"Not in all: {'; '.join(_inside(r.title) for r in failed)}."


def _closest(found: Transients) -> str:
    """Return which limit comes nearest, over its own size."""
    near = [(m, r) for r in found.reports for m in r.measures if _judged(m)]
    m, r = min(near, key=lambda one: _room(one[0]))
    assert m.limit is not None
    return f"Nearest: {m.title} {m.told(m.value)} of {m.told(m.limit)} ({_inside(r.title)})."


def _inside(title: str) -> str:
    """Return a title as it stands inside a sentence."""
    return title[0].lower() + title[1:]


def _judged(m: Measure) -> bool:
    return m.limit is not None and isfinite(m.limit) and m.limit > 0.0 and m.unit in ("V", "A")


def _room(m: Measure) -> float:
    assert m.limit is not None
    return (m.limit - m.value if m.side == "above" else m.value - m.limit) / m.limit


def _table(found: Transients) -> Table:
    heads = (
        "transient",
        "lowest bus",
        "highest bus",
        "pack",
        "coil",
        "source",
        "above its limit for",
        "settled",
        "loops",
    )
    return Table(
        caption="Each against its limits",
        heads=heads,
        aligns=("left", "right", "right", "right", "right", "right", "right", "right", "right"),
        rows=tuple((Cell(text=r.title), *(_cell(r.measure(key)) for key in _SHOWN)) for r in found.reports),
        note="In brackets the limit, where there is one. Loops: how often the ruling loop changes after one event.",
    )


def _cell(m: Measure) -> Cell:
    tone: Tone = "plain" if m.passes else "bad"
    if m.key == "settling":
        return Cell(text="not within the run" if m.note else show(m.value, "s", 2))
    # A leak of microamperes is as good as nothing.
    shown = m.told(0.0 if m.unit == "A" and abs(m.value) < 1e-3 else m.value)
    if m.limit is None or not isfinite(m.limit):
        return Cell(text=shown, tone=tone)
    return Cell(text=f"{shown} ({m.told(m.limit)})", tone=tone)


def _details(found: Transients) -> Bullets:
    items = [f"{r.title}. {r.what} With: {r.setting}. {' '.join(r.assumptions)}" for r in found.reports]
    return Bullets(items=(*items, *found.assumptions))

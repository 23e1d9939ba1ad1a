"""Whether it is stable: margins of every loop over the envelope, the amplifiers, the source side against the stage."""

import numpy as np

from chargewright.base.units import show, show_scaled
from chargewright.dossier.record import Dossier
from chargewright.loops.compensator import Designed
from chargewright.report.blocks import (
    Block,
    Bullets,
    Cell,
    Chapter,
    Heading,
    KeyNumber,
    KeyNumbers,
    Paragraph,
    Pictures,
    Table,
    Tone,
    Verdict,
)
from chargewright.report.data.loops import filter_table, part_values
from chargewright.report.figures.loop_gain import loop_gain_picture
from chargewright.report.figures.margin_map import margin_map_picture
from chargewright.report.figures.nyquist import nyquist_picture
from chargewright.report.figures.source_filter import source_filter_picture
from chargewright.report.tables import table_block
from chargewright.studies.loop_words import Thinnest, decibels, thinnest, thinnest_of
from chargewright.studies.stability import DISTANCE, GAIN_MARGIN, PHASE_MARGIN, LoopReport, Stability

_RULE = f"{show(PHASE_MARGIN, 'rad')} and {20.0 * np.log10(GAIN_MARGIN):.0f} dB"
_NAMES = {
    "gm": ("gm", "A/V"), "r_z": ("Rz", "ohm"), "c_z": ("Cz", "F"), "c_p": ("Cp", "F"), "r_1": ("R1", "ohm"),
    "r_2": ("R2", "ohm"), "r_3": ("R3", "ohm"), "c_1": ("C1", "F"), "c_2": ("C2", "F"), "c_3": ("C3", "F"),
}  # fmt: skip


def chapter(dossier: Dossier) -> Chapter | None:
    """Return the chapter; None without a winner."""
    if dossier.study.winner is None:
        return None
    blocks = [_NOT_JUDGED] if dossier.stability is None else _blocks(dossier.stability)
    return Chapter(key="stability", title="Stability", question="Is it stable?", blocks=tuple(blocks))


_NOT_JUDGED: Block = Verdict(
    text="Not known: no point was found at which a loop of this path could be judged.", tone="bad"
)


def _blocks(found: Stability) -> list[Block]:
    thin = thinnest(found)
    blocks: list[Block] = [
        Verdict(text=_verdict(found, thin), tone=_tone(found, thin)),
        Paragraph(
            text="This is an averaged small-signal model with an assumed controller, not a proof: it tells whether the "
            "chosen coil and capacitors can be regulated with margin, and where it becomes thin. A real controller's "
            "amplifiers, delays and modes differ, and only a measured loop counts.",
            tone="quiet",
        ),
        _numbers(found, thin),
        *(
            Paragraph(text=f"No amplifier was found for the loop of the {title}: {why}.", tone="bad")
            for title, why in found.not_designed.items()
        ),
        _margins(found),
        *(Paragraph(text=_stiffer(r), tone="thin") for r in found.loops if r.stiffened is not None),
        Pictures(items=tuple(loop_gain_picture(r) for r in found.loops)),
        Heading(text="The thinnest loop, looked at closely"),
        Pictures(items=(nyquist_picture(thin.loop), margin_map_picture(thin.loop))),
        _amplifiers(found),
        Heading(text="Source side"),
        *_source_side(found),
        Heading(text="What is assumed"),
        Bullets(
            items=(
                *found.assumptions,
                *_covered(found),
            )
        ),
    ]
    return blocks


def _covered(found: Stability) -> list[str]:
    """Return for each way in which the stage works over which points its loops are judged."""
    edges = "each source at its low and high edge"
    socs = "the pack from nearly empty to nearly full"
    tolerances = "cold and hot, inductance and capacitance at both ends of their tolerance"
    told = {
        "charging": f"{edges}, {socs}, full and termination current, {tolerances}, calmest and busiest load",
        "resting": f"{edges}, the bus at its floor and above the full pack, {tolerances}, calmest and busiest load",
        "helping": f"{edges}, {socs}, {tolerances}, the load a little beyond the source and at its peak",
        "boosting": f"{socs}, {tolerances}, calmest, busiest and peak load",
    }
    names = {"charging": "Charging", "resting": "Pack parted", "helping": "Pack helping", "boosting": "Pack alone"}
    rows = []
    for mode, what in told.items():
        report = next((r for r in found.loops if r.mode == mode), None)
        if report is None:
            continue
        way = ", the stage running from the pack to the bus" if report.reverse else ""
        left = f" {report.left_out} more are out of its reach." if report.left_out else ""
        rows.append(f"{names[mode]}{way}, {len(report.corners)} points: {what}; and the usual point.{left}")
    return rows


def _verdict(found: Stability, thin: Thinnest) -> str:
    corner = thin.loop.corners[thin.corner]
    if not thin.stable:
        return f"Not with the assumed controller: the loop of the {thin.loop.title} is not stable with {corner}."
    if found.not_designed:
        return f"Not with the assumed controller: no amplifier was found for the {', '.join(found.not_designed)}."
    told = f"the {thin.name} of the {thin.loop.title} is {thin.words} with {corner}"
    if thin.share < 1.0:
        return f"Stable, but with less than {_RULE} of margin: {told}."
    points = sum(len(r.corners) for r in found.loops)
    kept = f"Every loop keeps {_RULE} at every corner, {points} points in all; thinnest: {told}."
    cured = [r for r in found.loops if r.stiffened is not None]
    if cured:
        needs = " and ".join(
            f"{show(r.stiffened.damper.c, 'F', 3)} with {show(r.stiffened.damper.r, 'ohm', 3)} for the {r.title}"
            for r in cured
            if r.stiffened is not None
        )
        return f"Yes, once the bus is stiffer: {needs}. Every other loop keeps {_RULE}; thinnest: {told}."
    if found.filter.passes:
        return kept
    near = float(found.filter.distance[found.filter.worst])
    return f"{kept} The source side needs a look: it comes within {near:.2g} of −1."


def _tone(found: Stability, thin: Thinnest) -> Tone:
    if not thin.stable or found.not_designed:
        return "bad"
    return "plain" if found.passes else "thin"


def _numbers(found: Stability, thin: Thinnest) -> KeyNumbers:
    # A bus that needs a capacitor is told apart: its margins without one say nothing of the others.
    own = [r for r in found.loops if r.stiffened is None] or list(found.loops)
    phase = min(own, key=lambda r: r.phase_margin)
    gain = min(own, key=lambda r: r.gain_margin)
    kept, cured = sum(r.passes for r in found.loops), sum(r.stiffened is not None for r in found.loops)
    usual = [float(r.margins.f_cross[-1]) for r in found.loops if np.isfinite(r.margins.f_cross[-1])]
    f = found.filter
    stable = all(bool(np.all(r.margins.stable)) for r in own)
    span = f"{show(min(usual), 'Hz', 3)} to {show(max(usual), 'Hz', 3)}" if usual else "none"
    return KeyNumbers(
        items=(
            KeyNumber(
                label="loops that keep the rule",
                shown=f"{kept} of {len(found.loops) + len(found.not_designed)}",
                note=f"{_RULE} at every corner" + (f"; {cured} more with a stiffer bus" if cured else ""),
                tone="bad" if thin.share < 1.0 or found.not_designed else "thin" if cured else "good",
            ),
            KeyNumber(
                label="least phase margin",
                shown=show(phase.phase_margin, "rad") if stable else "not stable",
                note=phase.title if stable else thin.loop.title,
                tone=_against(phase.phase_margin, PHASE_MARGIN, stable),
            ),
            KeyNumber(
                label="least gain margin",
                shown=decibels(gain.gain_margin) if stable else "not stable",
                note=gain.title if stable else thin.loop.title,
                tone=_against(gain.gain_margin, GAIN_MARGIN, stable),
            ),
            KeyNumber(label="crossovers, usual point", shown=span),
            KeyNumber(
                label="source side's distance from −1",
                shown=f"{f.distance[f.worst]:.2g}",
                note=f"{DISTANCE:g} is wanted",
                tone="plain" if f.passes else "thin",
            ),
        )
    )


def _stiffer(r: LoopReport) -> str:
    """Return what a bus needs that only the stage holds."""
    with_it = r.stiffened
    assert with_it is not None, "asked only where something was found"
    return (
        f"The loop of the {r.title} needs a stiffer bus: its own capacitors are too small against coil and loads of "
        f"constant power. With {show(with_it.damper.c, 'F', 3)} and {show(with_it.damper.r, 'ohm', 3)} in series "
        f"beside them (the capacitor's own series resistance counts) it keeps {show(with_it.phase_margin, 'rad')} and "
        f"{decibels(with_it.gain_margin)}, designed for {show(with_it.f_target, 'Hz', 3)}. Larger input "
        "capacitors at the rails do the same work (those they have are counted); a controller that holds the coil "
        "current from inside (average or peak current mode) may do without."
    )


def _against(value: float, limit: float, stable: bool) -> Tone:
    if not stable:
        return "bad"
    return "plain" if value >= limit else "thin"


def _margins(found: Stability) -> Table:
    heads = ("loop", "crossover", "phase margin", "gain margin", "phase, worst", "gain, worst", "worst corner", "rule")
    return Table(
        caption="Margins at the usual point and at their worst",
        heads=heads,
        aligns=("left", "right", "right", "right", "right", "right", "left", "left"),
        rows=tuple(_row(r) for r in found.loops),
        note=f"The rule is {_RULE} at every corner (common practice). Crossover and the first two margins are those "
        "of the usual point, the worst margins the least over all corners; the corner is that of the thinner one.",
    )


def _row(r: LoopReport) -> tuple[Cell, ...]:
    m, thin = r.margins, thinnest_of(r)
    cross = float(m.f_cross[-1])
    stable = bool(np.all(m.stable))
    return (
        Cell(text=r.title),
        Cell(text=show(cross, "Hz", 3) if np.isfinite(cross) else "–"),
        Cell(text=show(float(m.phase[-1]), "rad") if m.stable[-1] else "–"),
        Cell(text=decibels(float(m.gain[-1])) if m.stable[-1] else "–"),
        Cell(text=show(r.phase_margin, "rad") if stable else "–", tone=_against(r.phase_margin, PHASE_MARGIN, True)),
        Cell(text=decibels(r.gain_margin) if stable else "–", tone=_against(r.gain_margin, GAIN_MARGIN, True)),
        Cell(text=r.corners[thin.corner]),
        Cell(text="kept" if r.passes else "not kept" if stable else "not stable", tone="good" if r.passes else "bad"),
    )


def _amplifiers(found: Stability) -> Table:
    return Table(
        caption="Amplifiers, with values that are sold",
        heads=("loop", "amplifier", "designed for", "values"),
        aligns=("left", "left", "right", "left"),
        rows=tuple(
            (
                Cell(text=title),
                Cell(text=made.kind),
                Cell(text=show(f_target, "Hz", 3)),
                Cell(text=", ".join(_value(name, value) for name, value in part_values(made).items())),
            )
            for title, made, f_target in (_built(r) for r in found.loops)
        ),
        note="Type 2: a transconductance amplifier into Rz and Cz in series, Cp beside them. Type 3: an operational "
        "amplifier, R1 with R3 and C3 in series beside it at the input, R2 and C1 in series with C2 beside them as "
        "feedback. Designed for the crossover at the corner with the most gain.",
    )


def _built(r: LoopReport) -> tuple[str, Designed, float]:
    """Return title, amplifier and crossover of a loop as it would be built: with its bus capacitor, if it needs one."""
    if r.stiffened is None:
        return r.title, r.designed, r.f_target
    return f"{r.title}, with the stiffer bus", r.stiffened.designed, r.stiffened.f_target


def _value(key: str, value: float) -> str:
    name, unit = _NAMES[key]
    return f"{name} {show_scaled(value, unit, 3)}"


def _source_side(found: Stability) -> list[Block]:
    f = found.filter
    least = f"{f.distance[f.worst]:.2g}"
    if f.apart:
        told = "The source side stays 6 dB below the stage at every corner: no damper is needed."
    elif f.passes:
        told = f"The source side comes near the stage but keeps {least} from −1 at every corner: no damper is needed."
    elif f.damper is None:
        told = (
            f"The source side comes within {least} of −1, where {DISTANCE:g} is wanted, and no damper of a sensible "
            "size brings it there: another cable, bank or crossover has to."
        )
    else:
        told = (
            f"Put {show(f.damper.c, 'F', 3)} with {show(f.damper.r, 'ohm', 3)} in series beside the input capacitors: "
            f"the distance from −1 rises from {least} to {f.distance_damped:.2g}."
        )

    def tone(_row: int, key: str) -> Tone:
        return ("good" if f.passes else "thin") if key in ("passes", "distance") else "plain"

    return [
        Paragraph(text=told, tone="plain" if f.passes else "thin"),
        table_block(
            filter_table(found),
            tones=tone,
            note="A filter whose impedance stays well below that of the stage leaves its loops as they are (the "
            "criterion of R. D. Middlebrook, 1976, from memory); one that comes near must at least keep away from −1. "
            "The margins above already include cable and bank.",
        ),
        Pictures(items=(source_filter_picture(f),)),
    ]

"""The command that judges the regulation loops of a design's best path: margins over the envelope, worst corners."""

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_args

import typer

if TYPE_CHECKING:
    from chargewright.studies.stability import Stability


def loops(
    design: Annotated[Path, typer.Argument(metavar="DESIGN", help="The design file (YAML).", show_default=False)],
    path: Annotated[str | None, typer.Option("--path", help="Key of the power path; by default the best one.")] = None,
    control: Annotated[
        str, typer.Option("--control", help="How the duty is made: voltage, peak-current or average-current.")
    ] = "voltage",
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for loops.json, loop_envelope.csv and the figures.")
    ] = None,
    no_png: Annotated[bool, typer.Option("--no-png", help="Leave the PNG copies of the figures out.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON to standard output.")] = False,
) -> int:
    """Judge the regulation loops: amplifiers, crossover and margins over the whole envelope, the worst corner named."""
    from chargewright.base.errors import OutOfRange
    from chargewright.base.near import nearest
    from chargewright.spec.load import load_design
    from chargewright.studies.loop_control import Control, ControllerModel
    from chargewright.studies.one_path import studied_path
    from chargewright.studies.stability import stability

    kinds: tuple[Control, ...] = get_args(Control)
    kind = next((k for k in kinds if k == control), None)
    if kind is None:
        raise OutOfRange(
            f"--control {control}: this is none of {', '.join(kinds)}; did you mean {nearest(control, kinds)}?"
        )

    study, chosen = studied_path(load_design(design), design, path, lambda _step, _share: None)
    found = stability(study.case, chosen, ControllerModel(control=kind))
    record = json.dumps(_record(found), ensure_ascii=False, allow_nan=False)
    print(record if as_json else _text(found))
    if out is not None:
        _save(out, found, record, png=not no_png)
        if not as_json:
            print(f"\nIn {out}: loops.json, loop_envelope.csv, a chart, a plane and a map of each loop")
    return 0 if found.passes else 1


def _save(out: Path, found: "Stability", record: str, *, png: bool) -> None:
    """Write record, envelope and figures into a folder."""
    from chargewright.base.files import save_bytes_atomically, save_text_atomically
    from chargewright.report.data.loops import envelope_table
    from chargewright.report.figures.loop_gain import loop_gain_picture
    from chargewright.report.figures.margin_map import margin_map_picture
    from chargewright.report.figures.nyquist import nyquist_picture
    from chargewright.report.figures.source_filter import source_filter_picture
    from chargewright.report.tables import csv_text

    out.mkdir(parents=True, exist_ok=True)
    save_text_atomically(out / "loops.json", record + "\n")
    save_text_atomically(out / "loop_envelope.csv", csv_text(envelope_table(found)))
    pictures = [draw(r) for r in found.loops for draw in (loop_gain_picture, nyquist_picture, margin_map_picture)]
    for picture in (*pictures, source_filter_picture(found.filter)):
        save_text_atomically(out / f"{picture.key}.svg", picture.svg)
        if png:
            from chargewright.report.pdf import png_bytes

            save_bytes_atomically(out / f"{picture.key}.png", png_bytes(picture))


def _degrees(radians: float) -> str:
    return f"{math.degrees(radians):.0f}°" if math.isfinite(radians) else "no crossing"


def _decibels(ratio: float) -> str:
    return f"{20.0 * math.log10(ratio):.1f} dB" if math.isfinite(ratio) else "unlimited"


def _text(found: "Stability") -> str:
    from chargewright.base.units import show

    left = {r.mode: r.left_out for r in found.loops}
    points = sum({r.mode: len(r.corners) for r in found.loops}.values())
    lines = [f"Loops of {found.path} at {points} operating points ({sum(left.values())} out of the stage's reach)"]
    for r in found.loops:
        verdict = "keeps its margins" if r.passes else "DOES NOT keep its margins"
        lines += [
            "",
            f"{r.title}{' (stage from pack to bus)' if r.reverse else ''}: {verdict}",
            f"  {r.designed.kind} amplifier, designed for {show(r.f_target, 'Hz')} where the gain is highest",
            f"  least phase margin {_degrees(r.phase_margin)}, gain margin {_decibels(r.gain_margin)}, "
            f"distance from -1 {r.modulus_margin:.2f}"
            if all(r.margins.stable)
            else f"  not stable at {int(sum(~r.margins.stable))} of {len(r.corners)} points",
            f"  worst corner: {r.worst_corner}",
        ]
        if r.stiffened is not None:
            with_it = r.stiffened
            lines += [
                f"  needs a stiffer bus: {show(with_it.damper.c, 'F')} with {show(with_it.damper.r, 'ohm')} in series",
                f"  with it: {with_it.designed.kind} amplifier for {show(with_it.f_target, 'Hz')}, phase margin "
                f"{_degrees(with_it.phase_margin)}, gain margin {_decibels(with_it.gain_margin)}",
            ]
    for title, why in found.not_designed.items():
        lines += ["", f"{title}: no amplifier found. {why}"]
    inner = found.subharmonic
    if inner is not None:
        verdict = "does not oscillate" if inner.stable else "OSCILLATES"
        lines += [
            "",
            f"Current loop at half the switching frequency: {verdict}",
            f"  least slope share {inner.share:.2f} where 0.50 is the edge, quality factor of the double pole "
            f"{inner.quality:.2f}, with {inner.corner}",
        ]
    f = found.filter
    lines += ["", f"Source and cable against the stage: {'keep apart' if f.passes else 'DO NOT keep apart'}"]
    lines += [f"  least distance from oscillation {f.distance[f.worst]:.2f}, at: {f.worst_corner}"]
    if f.damper is not None:
        lines += [
            f"  would help: {show(f.damper.c, 'F')} with {show(f.damper.r, 'ohm')} in series at the stage's input"
        ]
    lines += ["", *found.assumptions]
    lines += ["Margins of a model: measure the loops of the built product, and have them reviewed by qualified people."]
    return "\n".join(lines)


def _finite(x: float) -> float | None:
    return float(x) if math.isfinite(x) else None


def _record(found: "Stability") -> dict[str, Any]:
    return {
        "path": found.path,
        "points": len(found.corners),
        "left_out": found.left_out,
        "passes": found.passes,
        "loops": [
            {
                "key": r.key,
                "title": r.title,
                "amplifier": r.designed.kind,
                "parts": {k: float(getattr(r.designed.built, k)) for k in r.designed.built.__dataclass_fields__},
                "f_target_Hz": r.f_target,
                "phase_margin_rad": _finite(r.phase_margin),
                "gain_margin": _finite(r.gain_margin),
                "modulus_margin": _finite(r.modulus_margin),
                "mode": r.mode,
                "reverse": r.reverse,
                "points": len(r.corners),
                "stable": bool(all(r.margins.stable)),
                "worst_corner": r.worst_corner,
                "passes": r.passes,
                "bus_damper_F": r.stiffened.damper.c if r.stiffened else None,
                "bus_damper_ohm": r.stiffened.damper.r if r.stiffened else None,
            }
            for r in found.loops
        ],
        "not_designed": found.not_designed,
        "subharmonic": None
        if found.subharmonic is None
        else {
            "slope_share": found.subharmonic.share,
            "quality": found.subharmonic.quality,
            "corner": found.subharmonic.corner,
        },
        "filter": {
            "passes": found.filter.passes,
            "distance": float(found.filter.distance[found.filter.worst]),
            "worst_corner": found.filter.worst_corner,
            "damper_F": found.filter.damper.c if found.filter.damper else None,
            "damper_ohm": found.filter.damper.r if found.filter.damper else None,
        },
        "assumptions": list(found.assumptions),
    }

"""The command that judges the regulation loops of a design's best path: margins over the envelope, worst corners."""

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from chargewright.studies.stability import Stability


def loops(
    design: Annotated[Path, typer.Argument(metavar="DESIGN", help="The design file (YAML).", show_default=False)],
    path: Annotated[str | None, typer.Option("--path", help="Key of the power path; by default the best one.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON to standard output.")] = False,
) -> int:
    """Judge the regulation loops: amplifiers, crossover and margins over the whole envelope, the worst corner named."""
    from chargewright.base.errors import NoSolution
    from chargewright.base.near import nearest
    from chargewright.spec.load import load_design
    from chargewright.studies.stability import stability
    from chargewright.studies.study import study_design

    study = study_design(load_design(design), design)
    keys = [p.path.key for p in study.paths]
    if path is not None and path not in keys:
        raise NoSolution(f"--path {path}: this design has no such path; did you mean {nearest(path, keys)}?")
    chosen = study.path(path) if path is not None else study.winner or study.paths[0]
    found = stability(study.case, chosen)
    print(json.dumps(_record(found), ensure_ascii=False, allow_nan=False) if as_json else _text(found))
    return 0 if found.passes else 1


def _degrees(radians: float) -> str:
    return f"{math.degrees(radians):.0f}°" if math.isfinite(radians) else "no crossing"


def _decibels(ratio: float) -> str:
    return f"{20.0 * math.log10(ratio):.1f} dB" if math.isfinite(ratio) else "unlimited"


def _text(found: "Stability") -> str:
    from chargewright.base.units import show

    lines = [
        f"Loops of {found.path} at {len(found.corners)} operating points ({found.left_out} out of the stage's reach)"
    ]
    for r in found.loops:
        verdict = "keeps its margins" if r.passes else "DOES NOT keep its margins"
        lines += [
            "",
            f"{r.title}: {verdict}",
            f"  {r.designed.kind} amplifier, designed for {show(r.f_target, 'Hz')} where the gain is highest",
            f"  least phase margin {_degrees(r.phase_margin)}, gain margin {_decibels(r.gain_margin)}, "
            f"distance from -1 {r.modulus_margin:.2f}",
            f"  worst corner: {r.worst_corner}",
        ]
    for title, why in found.not_designed.items():
        lines += ["", f"{title}: no amplifier found. {why}"]
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
                "worst_corner": r.worst_corner,
                "passes": r.passes,
            }
            for r in found.loops
        ],
        "not_designed": found.not_designed,
        "filter": {
            "passes": found.filter.passes,
            "distance": float(found.filter.distance[found.filter.worst]),
            "worst_corner": found.filter.worst_corner,
            "damper_F": found.filter.damper.c if found.filter.damper else None,
            "damper_ohm": found.filter.damper.r if found.filter.damper else None,
        },
        "assumptions": list(found.assumptions),
    }

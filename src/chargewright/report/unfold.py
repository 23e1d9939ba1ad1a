"""Unfolding numbers: a recorded evaluation of a relation becomes text that shows formula, numbers put in, and source.

The loss lines of a state are found among the evaluations of `replay` by their value, so that what is printed is what
was computed and not a second derivation that might differ.
"""

import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from chargewright.base.relation import Step
from chargewright.base.units import show
from chargewright.network.graph import WireKind
from chargewright.report.blocks import Derivation, Evaluation
from chargewright.report.replay import AGREES, Replay

_RELATIONS: dict[str, tuple[str, int]] = {
    "in_high_conduction": ("switch_conduction_loss", 1),
    "in_low_conduction": ("switch_conduction_loss", 1),
    "out_low_conduction": ("switch_conduction_loss", 1),
    "out_high_conduction": ("switch_conduction_loss", 1),
    "in_overlap": ("overlap_loss", 1),
    "out_overlap": ("overlap_loss", 1),
    "in_capacitance": ("output_capacitance_loss", 1),
    "out_capacitance": ("output_capacitance_loss", 1),
    "in_recovery": ("recovery_loss", 1),
    "out_recovery": ("recovery_loss", 1),
    "in_dead_time": ("dead_time_loss", 1),
    "out_dead_time": ("dead_time_loss", 1),
    "gate_drive": ("gate_drive_loss", 2),
    "coil_winding": ("resistive_loss", 1),
    "coil_ac": ("winding_ac_loss", 1),
    "coil_core": ("igse_interval_loss", 3),
    "in_capacitor": ("resistive_loss", 1),
    "out_capacitor": ("resistive_loss", 1),
}
"""Which relation gives a loss of the stage, and how many evaluations of it add up to the line."""
_THROUGH = {"in_high_conduction": "resistive_loss", "out_high_conduction": "resistive_loss"}
"""The same for a stage that stands still and passes the source through."""
_DEPTH = 2
"""How many levels of "and where does this input come from" are told."""
_NAME = re.compile(r"(?<![\w.])[A-Za-zΑ-Ωα-ω_][A-Za-z0-9Α-Ωα-ω_]*")
"""A name in a printed formula; a superscript behind it is not part of it."""


def wire_derivation(found: Replay, key: WireKind, what: str) -> Derivation | None:
    """Return how the loss of a wire came about; None where nothing flows."""
    loss = found.wire_loss(key)
    if not loss > 0.0:
        return None
    if key == found.solution.state.linear:
        return Derivation(what=what, shown=show(loss, "W"), evaluations=(), note=LINEAR)
    return _derivation(found, what, loss, "resistive_loss", 1)


def stage_derivation(found: Replay, name: str, what: str) -> Derivation | None:
    """Return how one loss of the stage (a field of StageLosses) came about; None where it is zero."""
    loss = found.stage_loss(name)
    if not loss > 0.0:
        return None
    if name == "quiescent":
        return Derivation(what=what, shown=show(loss, "W"), evaluations=(), note=QUIESCENT)
    relation, count = _RELATIONS[name]
    if found.solution.state.stage == "through":
        relation = _THROUGH.get(name, relation)
    return _derivation(found, what, loss, relation, count)


LINEAR = "Voltage across the pass element times its current; the element is worked as a linear regulator here."
QUIESCENT = (
    "Supply current of the controller (rules.i_quiescent; a tenth of it while the stage stands still) times the "
    "voltage that its supply is taken from."
)
RAILS = (
    "Sum over the rails of conduction, edges, output capacitance, gate drive, core and quiescent current of each "
    "regulator at this bus voltage; the relations behind it are those of the physics page."
)


def _derivation(found: Replay, what: str, loss: float, relation: str, count: int) -> Derivation:
    picked = adding_up(found.steps, relation, loss, count)
    results = {_key(s.result, s.unit): s for s in found.steps if _single(s.result) not in (0.0, 1.0)}
    return Derivation(
        what=what,
        shown=show(loss, "W"),
        evaluations=tuple(evaluation(s, results) for s in picked if _single(s.result) != 0.0),
        note="The sum of these evaluations." if sum(_single(s.result) != 0.0 for s in picked) > 1 else "",
    )


def adding_up(steps: Sequence[Step], relation: str, total: float, count: int) -> tuple[Step, ...]:
    """Return the last `count` neighbouring evaluations of a relation whose results add up to `total`; () if none do."""
    same = [s for s in steps if s.relation == relation]
    for end in range(len(same), count - 1, -1):
        group = same[end - count : end]
        if np.isclose(sum(_single(s.result) for s in group), total, rtol=AGREES, atol=0.0):
            return tuple(group)
    return ()


def evaluation(step: Step, results: dict[tuple[float, str], Step] | None = None, depth: int = _DEPTH) -> Evaluation:
    """Return a recorded evaluation as text; `results` are other evaluations, which may have given its inputs."""
    inputs = {name: (_single(value), unit) for name, (value, unit) in step.inputs.items()}
    because: list[Evaluation] = []
    for value, unit in inputs.values():
        behind = (results or {}).get(_key(value, unit))
        if behind is not None and depth > 0 and behind is not step:
            because.append(evaluation(behind, results, depth - 1))
    result = _single(step.result)
    return Evaluation(
        relation=step.relation,
        formula=step.formula,
        inserted=f"{inserted(step.formula, {n: v for n, (v, _) in inputs.items()})} = {plain(result)} {si(step.unit)}",
        inputs=tuple((name, with_unit(value, unit)) for name, (value, unit) in inputs.items()),
        result=show(result, step.unit, 5),
        source=step.source,
        because=tuple(because),
    )


def inserted(formula: str, values: dict[str, float]) -> str:
    """Return a printed formula with plain SI numbers in the place of its inputs."""

    def number(match: re.Match[str]) -> str:
        name = match.group()
        if name not in values:
            return name
        text = plain(values[name])
        return f"({text})" if text.startswith("−") or "·" in text else text

    lines = []
    for line in formula.split("; "):
        left, _, right = line.partition(" = ")
        lines.append(f"{left} = {_NAME.sub(number, right)}")
    return "; ".join(lines)


def plain(value: float) -> str:
    """Return a number without unit to six digits, in a form that the printed formulas can hold."""
    text = f"{value:.6g}"
    if "e" in text:
        mantissa, _, exponent = text.partition("e")
        text = f"{mantissa}·10^({int(exponent)})"
    return text.replace("-", "−")


_SI = {"ohm": "Ω", "1": "", "dK": "K", "V*s": "V·s", "A2": "A²", "m2": "m²", "m3": "m³", "W/m3": "W/m³"}


def si(unit: str) -> str:
    """Return how an SI unit is printed behind a plain number."""
    return _SI.get(unit, unit)


def with_unit(value: float, unit: str) -> str:
    """Return an input as people read it; a plain ratio stays a plain number."""
    return plain(value) if unit == "1" else show(value, unit, 5)


def _single(value: Any) -> float:
    return float(np.ravel(value)[0])


def _key(value: Any, unit: str) -> tuple[float, str]:
    return (_single(value), unit)

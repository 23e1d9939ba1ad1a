"""Headline numbers with their definitions, as evaluations that can be unfolded and checked."""

from dataclasses import fields

from chargewright.base.relation import Step
from chargewright.base.units import show
from chargewright.report.blocks import Derivation
from chargewright.report.unfold import evaluation
from chargewright.studies.day import Day
from chargewright.studies.states import StateReport
from chargewright.studies.study import Study
from chargewright.studies.verdict import MEASURES, SMALL_IS_GOOD, Ranked

_HERE = "derived here: definition of this study."


def score_derivation(study: Study, ranked: Ranked) -> Derivation:
    """Return how the score of a path came about: weighted mean of the scores on each measure."""
    weights = study.case.design.weights
    names = [f.name for f in fields(weights)]
    inputs: dict[str, tuple[float, str]] = {f"w_{n}": (float(getattr(weights, n)), "1") for n in names}
    inputs |= {f"s_{n}": (ranked.scores[n], "1") for n in names}
    above = " + ".join(f"w_{n}·s_{n}" for n in names)
    below = " + ".join(f"w_{n}" for n in names)
    total = _step("weighted score", f"score = ({above})/({below})", inputs, ranked.total, "1")
    measured = tuple(evaluation(s) for n in names if (s := _measure_step(study, ranked, n)) is not None)
    found = evaluation(total)
    return Derivation(
        what=f"score of {ranked.key}",
        shown=show(ranked.total, "1"),
        evaluations=(found, *measured),
        note="The score is the weighted mean of what follows: each measure against the best of the feasible paths.",
    )


def _measure_step(study: Study, ranked: Ranked, name: str) -> Step | None:
    unit = MEASURES[name][1]
    column = [(p.measures or {})[name] for p in study.paths if p.measures is not None]
    own = (study.path(ranked.key).measures or {})[name]
    good = [v for v in column if 0.0 < v < float("inf")]
    if not good or not 0.0 < own < float("inf"):
        return None
    best = min(good) if SMALL_IS_GOOD[name] else max(good)
    formula = f"s_{name} = best/own" if SMALL_IS_GOOD[name] else f"s_{name} = own/best"
    return _step(
        f"score on {MEASURES[name][0]}", formula, {"best": (best, unit), "own": (own, unit)}, ranked.scores[name], "1"
    )


def efficiency_derivation(report: StateReport) -> Derivation:
    """Return how the efficiency of a state at its usual point came about."""
    k, s = report.usual, report.solution
    zero = 0.0
    stored = float(s.conditions.e_cells[k] * s.i["pack"][k]) if "pack" in s.i else zero
    source = float(s.conditions.e_source[k] * s.i["source"][k]) if "source" in s.i else zero
    inside = float(s.wire_loss["source"][k]) if "source" in s.wire_loss else zero
    step = _step(
        "efficiency of a state",
        "eta = (p_load + max(p_cells, 0))/(p_source − p_inside + max(−p_cells, 0))",
        {
            "p_load": (float(s.p_load[k]), "W"),
            "p_cells": (stored, "W"),
            "p_source": (source, "W"),
            "p_inside": (inside, "W"),
        },
        float(report.efficiency[k]),
        "1",
    )
    return Derivation(
        what=f"efficiency, {report.title.partition(':')[0]}",
        shown=show(float(report.efficiency[k]), "1"),
        evaluations=(evaluation(step),),
        note=(
            "Power delivered by the rails and stored in the cells (at their rest voltage) over what comes from source "
            "and cells; the loss inside the source is left out."
        ),
    )


def day_derivation(day: Day) -> Derivation:
    """Return how the efficiency of a day came about."""
    step = _step(
        "efficiency of a day",
        "eta = e_load/e_source",
        {"e_load": (day.e_load, "J"), "e_source": (day.e_source, "J")},
        day.efficiency,
        "1",
    )
    return Derivation(
        what="efficiency of the day",
        shown=show(day.efficiency, "1"),
        evaluations=(evaluation(step),),
        note="" if day.closes else "The day does not close, so part of the load was paid from the pack.",
    )


def _step(relation: str, formula: str, inputs: dict[str, tuple[float, str]], result: float, unit: str) -> Step:
    return Step(relation=relation, result=result, unit=unit, formula=formula, inputs=dict(inputs), source=_HERE)

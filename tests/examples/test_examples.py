"""The shipped examples: studied without an error, three different answers, and verdicts that stand a little shaking."""

import re
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from chargewright.base.errors import ChargewrightError
from chargewright.dossier.record import Dossier
from chargewright.parts.pack import load_cell
from chargewright.spec.design import Design
from chargewright.spec.fields import Rated
from chargewright.spec.load import load_design
from chargewright.spec.source import FixedSourceSpec
from chargewright.spec.system import SystemSpec
from chargewright.studies.decision_map import profile
from chargewright.studies.study import Study, study_design
from chargewright.studies.verdict import rank
from chargewright.studies.words import verdict_sentence, why_out

TIED = 0.005
"""Lead below which the ranking itself says that it is too close to call."""


def test_there_are_three_examples_and_they_differ(dossier_of):
    found = {name: dossier_of(name).study for name in ("tablet", "handheld", "cart")}
    winners = {name: s.winner.path.key for name, s in found.items()}
    assert len(set(winners.values())) == 3, winners
    # Where the first two cannot be told apart, the sentence says so.
    for s in found.values():
        said = verdict_sentence(s)
        assert ("too close to call" in said or "equals it in all but" in said) == s.ranking.tie


def test_an_example_says_that_it_is_invented(example):
    first = example.read_text("utf-8").splitlines()[0]
    assert "Invented product" in first
    assert "no maker's data" in first


def test_an_example_is_handed_over_whole(dossier: Dossier):
    study, winner = dossier.study, dossier.study.winner
    assert winner is not None
    assert winner.feasible
    assert dossier.settings is not None
    assert dossier.test_plan is not None
    assert dossier.test_plan.steps
    assert dossier.ladders
    assert dossier.charges
    assert dossier.cautions
    assert dossier.standards
    assert dossier.not_modelled
    # An example is a design to copy: nothing in it endangers cells or stops the job.
    assert [f for f in dossier.findings if f.severity == "stop"] == []
    assert len(study.feasible_paths) >= 2
    assert all(why_out(p) for p in study.paths if not p.feasible)


def test_the_day_of_an_example_is_served_and_closes(dossier: Dossier):
    for p in dossier.study.feasible_paths:
        assert p.day.closes
        assert p.day.t_unserved == 0.0, p.path.key
        assert p.day.t_overload == 0.0, p.path.key
        # Energy conservation, roughly: what enters at the connector leaves as load, loss in the product and in the
        # cable; a cable of some tens of milliohms takes less than 2 %.
        out = p.day.e_load + p.day.e_loss
        assert out <= p.day.e_source * (1.0 + 1e-3)
        assert out > 0.98 * p.day.e_source


def test_the_charge_of_an_example_ends_and_what_its_audit_says_is_told(dossier: Dossier):
    for p in dossier.study.feasible_paths:
        assert p.charge.run.ended_by == "termination", p.path.key
    told = " ".join(f.what for f in dossier.findings if f.check == "charge-audit")
    for charge in dossier.charges:
        for row in charge.run.audit:
            assert row.ok or row.what in told, (charge.title, row)


def test_every_watt_of_an_example_is_accounted_for(dossier: Dossier):
    for p in dossier.study.paths:
        for s in p.states:
            if s.possible:
                scale = np.maximum(s.ledger.total("in"), 1e-3)
                assert np.nanmax(np.abs(s.ledger.unaccounted) / scale) < 1e-9, (p.path.key, s.key)


def test_a_findings_cure_clears_it(dossier: Dossier):
    cures = [f.cure for f in dossier.findings if f.cure is not None]
    assert all(c.clears for c in cures)


def test_the_map_agrees_with_the_verdict_where_the_product_stands(dossier: Dossier):
    study = dossier.study
    load = profile(study.case)
    i = int(np.argmin(np.abs(np.log(study.map.power / load.mean))))
    j = int(np.argmin(np.abs(study.map.share - load.share)))
    here = study.map.paths[study.map.winner[i, j]]
    first, second = study.ranking.order[:2]
    # The next cell of the map is up to 15 % of power and 5 % of time away from the product: where the lead is less than
    # 1 % either of the first two may stand there.
    assert here == first.key or (first.total - second.total < 0.01 and here == second.key)


@pytest.mark.parametrize("factor", [0.98, 1.02])
def test_no_weight_turns_the_verdict_by_two_percent(factor: float, dossier: Dossier):
    study = dossier.study
    measures = {p.path.key: p.measures for p in study.feasible_paths}
    weights = study.case.design.weights
    for f in fields(weights):
        shaken = rank(measures, replace(weights, **{f.name: factor * getattr(weights, f.name)}), firmness=False)
        assert _same(study, shaken.order[0].key, shaken.tie), f.name


def _same(study: Study, winner: str, tie: bool) -> bool:
    """Return whether a winner is the study's own, or one that the study or the shaken one calls as good."""
    first, second = study.ranking.order[0], study.ranking.order[1]
    return winner == first.key or ((study.ranking.tie or tie) and winner == second.key)


def _sources(design: Design, **factor: float) -> Design:
    def shaken(s):
        cable = replace(s.cable, resistance=s.cable.resistance * factor.get("cable", 1.0))
        s = replace(s, cable=cable)
        if isinstance(s, FixedSourceSpec):
            s = replace(
                s, voltage=s.voltage.scaled(factor.get("voltage", 1.0)), current=s.current * factor.get("current", 1.0)
            )
        return s

    return replace(design, sources=tuple(shaken(s) for s in design.sources))


def _load(system: SystemSpec, f: float) -> SystemSpec:
    return replace(
        system,
        rails=tuple(replace(r, power=r.power * f) for r in system.rails),
        modes=tuple(replace(m, power=m.power * f) for m in system.modes),
        peak=None if system.peak is None else replace(system.peak, power=system.peak.power * f),
        boot=None if system.boot is None else system.boot * f,
    )


def _capacity(design: Design, f: float) -> Design:
    own = design.pack.capacity or load_cell(design.pack.cell, Path(".")).capacity
    return replace(design, pack=replace(design.pack, capacity=own * f))


def _charge(design: Design, f: float) -> Design:
    asked = design.charge.current
    return replace(design, charge=replace(design.charge, current=Rated(asked.value * f, asked.per_capacity)))


SHAKEN: dict[str, Callable[[Design, float], Design]] = {
    "source voltage": lambda d, f: _sources(d, voltage=f),
    "source current": lambda d, f: _sources(d, current=f),
    "cable": lambda d, f: _sources(d, cable=f),
    "load": lambda d, f: replace(d, system=_load(d.system, f)),
    "capacity": _capacity,
    "charge current": _charge,
    "board": lambda d, f: replace(d, ambient=replace(d.ambient, board=d.ambient.board * f)),
    "rail frequency": lambda d, f: replace(
        d, system=replace(d.system, rails=tuple(replace(r, f_sw=r.f_sw * f) for r in d.system.rails))
    ),
    "dead time": lambda d, f: replace(d, rules=replace(d.rules, dead_time=d.rules.dead_time * f)),
    "gate drive": lambda d, f: replace(d, rules=replace(d.rules, v_drive=d.rules.v_drive * f)),
}


def _studies(name: str, dossier: Dossier, example: Path) -> Iterator[tuple[float, Study]]:
    feasible = tuple(p.path.key for p in dossier.study.feasible_paths[:3])
    design = replace(load_design(example), candidates=feasible)
    for factor in (0.98, 1.02):
        yield factor, study_design(SHAKEN[name](design, factor), example)


@pytest.mark.slow
@pytest.mark.parametrize("example_name", ["tablet", "handheld", "cart"])
@pytest.mark.parametrize("name", SHAKEN)
def test_no_input_turns_the_verdict_by_two_percent(name: str, example_name: str, dossier_of):
    # An input that is known to 2 % must not decide: either the same path wins, or it is called a tie. The first three
    # paths are studied again with new parts; the parts are chosen from a discrete catalogue, so that sizes may jump.
    dossier = dossier_of(example_name)
    example = Path(dossier.study.design_file)
    for factor, shaken in _studies(name, dossier, example):
        assert shaken.winner is not None
        assert _same(dossier.study, shaken.winner.path.key, shaken.ranking.tie), (
            name,
            factor,
            verdict_sentence(shaken),
        )


def test_a_shaken_input_does_arrive(example):
    # The check on the checks above: each shaking changes the design.
    design = load_design(example)
    for name, shake in SHAKEN.items():
        changed = shake(design, 1.02) != design
        fixed = any(isinstance(s, FixedSourceSpec) for s in design.sources)
        assert changed or (name in ("source voltage", "source current") and not fixed), name


def test_an_example_with_a_slip_is_refused(example, tmp_path):
    broken = tmp_path / example.name
    text, times = re.subn(r"power: (\d+) W", r"power: \1", example.read_text("utf-8"), count=1)
    assert times == 1
    broken.write_text(text, "utf-8")
    with pytest.raises(ChargewrightError):
        load_design(broken)

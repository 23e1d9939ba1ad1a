"""The whole study: twelve lines lead to a verdict with reasons, and what cannot be done is said with numbers."""

from pathlib import Path

import numpy as np
import pytest

from chargewright.base.errors import ChargewrightError
from chargewright.paths import shelf
from chargewright.spec.load import parse_design
from chargewright.studies.day import run_time
from chargewright.studies.study import Study, study_design
from chargewright.studies.verdict import rank
from chargewright.studies.words import because, score_line, tipping_words, verdict_sentence, why_out


def studied(text: str, progress=None) -> Study:
    return study_design(parse_design(text, "bench.yaml"), Path("bench.yaml"), progress)


@pytest.fixture(scope="module")
def steps() -> list[tuple[str, float]]:
    """Return what the study of the twelve lines tells on its way."""
    return []


@pytest.fixture(scope="module")
def small(twelve, steps) -> Study:
    """Return the study of the twelve lines."""
    return studied(twelve, lambda step, share: steps.append((step, share)))


@pytest.fixture(scope="module")
def tall(twelve) -> Study:
    """Return the study of six cells on a 20 V adapter: bucks are out, four switches are not."""
    rails = "rails: [{name: core, voltage: 5 V, power: 12 W, bus_max: 30 V}]\ncontroller: generic-tall"
    return studied(twelve.replace("series: 2", "series: 6").replace("load: 12 W", rails))


def test_twelve_lines_give_a_verdict(small):
    assert small.winner is not None
    assert {p.path.key for p in small.paths} == set(shelf.keys())
    sentence = verdict_sentence(small)
    assert small.winner.path.title in sentence
    assert "Twelve lines" in sentence
    assert len(small.case.assumptions) == 4
    assert small.not_modelled


def test_progress_rises_from_nothing_and_names_every_path(small, steps):
    shares = [share for _, share in steps]
    assert shares[0] == 0.0
    assert shares == sorted(shares)
    assert shares[-1] < 1.0
    for p in small.paths:
        assert any(p.path.title in step for step, _ in steps)


def test_paths_stand_in_the_order_of_their_scores_and_then_the_others(small):
    keys = [r.key for r in small.ranking.order]
    assert [p.path.key for p in small.feasible_paths] == keys
    assert [p.path.key for p in small.paths][: len(keys)] == keys
    assert small.path("direct").path.key == "direct"
    with pytest.raises(KeyError):
        small.path("nothing")


def test_feasible_is_every_must_met_and_the_others_have_a_reason(small, tall):
    for study in (small, tall):
        for p in study.paths:
            musts = [r for r in p.requirements if r.weight == "must"]
            assert p.feasible == (bool(musts) and all(r.met for r in musts))
            assert (p.measures is not None) == p.feasible
            assert bool(why_out(p)) is not p.feasible


def test_the_ranking_is_that_of_the_measures_shown(small):
    again = rank({p.path.key: p.measures for p in small.feasible_paths}, small.case.design.weights)
    assert again == small.ranking


def test_measures_are_those_of_day_charge_and_parts(small):
    for p in small.feasible_paths:
        m, temp = p.measures, small.case.design.ambient.typical
        # Energy that was not delivered is no saving: the wall energy stands for the whole of what was asked for.
        asked = (p.day.e_load + p.day.e_unserved) / p.day.e_load
        assert m["energy"] == pytest.approx(p.day.e_wall * asked, rel=1e-12)
        assert m["charge_time"] == p.charge.t_full
        assert m["run_time"] == run_time(small.case, p.path, p.hardware, 12.0, temp)
        parts = sum(count * cost for _, _, count, cost, _ in p.sizing.build.parts())
        assert m["cost"] == pytest.approx(parts + p.path.controller_cost + sum(r.cost for r in p.plan.rails))
        areas = sum(count * area for _, _, count, _, area in p.sizing.build.parts())
        assert m["area"] == pytest.approx(areas + sum(r.area for r in p.plan.rails))


def test_every_state_is_solved_and_accounts_for_every_watt(small):
    for p in small.feasible_paths:
        keys = {s.key for s in p.path.states} - ({"pass-through"} if not p.plan.through else set())
        assert {s.key for s in p.states} == keys
        for s in p.states:
            assert s.possible, (p.path.key, s.key)
            scale = np.maximum(s.ledger.total("in"), 1e-3)
            assert np.nanmax(np.abs(s.ledger.unaccounted) / scale) < 1e-9, (p.path.key, s.key)
            assert np.nanmax(s.efficiency) < 1.0
            assert np.nanmin(s.p_loss) > 0.0
            assert (s.source == "") == (not s.solution.state.source)


def test_the_reasons_name_measures_in_which_the_first_two_differ(small):
    first, second = (small.path(r.key).measures for r in small.ranking.order[:2])
    lines = because(small)
    apart = [n for n in first if abs(first[n] - second[n]) > 0.01 * max(first[n], second[n])]
    assert len(lines) == len(apart)
    for line in lines:
        assert line.endswith(("(better).", "(worse)."))
    for r in small.ranking.order:
        assert small.path(r.key).path.title in score_line(r, small)
    assert tipping_words(small)


def test_six_cells_leave_only_paths_that_can_step_up(tall):
    # CP06 (common practice): a buck charger needs its source above the full pack, here 25.2 V from 20 V.
    assert {p.path.key for p in tall.feasible_paths} == {"narrow-buck-boost", "narrow-through"}
    for key in ("direct", "direct-boost", "narrow-buck", "parallel"):
        (reason,) = why_out(tall.path(key))
        assert "25.71 V" in reason
        assert "19 V" in reason
        assert tall.path(key).sizing is None  # ruled out before any part was chosen


def test_the_map_has_only_feasible_paths_on_it(tall):
    assert set(tall.map.paths) == {"narrow-buck-boost", "narrow-through"}
    assert tall.map.winner.max() < 2


@pytest.fixture(scope="module")
def hopeless(twelve) -> Study:
    """Return the study of a product whose 5 V adapter can fill no pack by any of the asked-for paths."""
    return studied(twelve.replace("20 V ±5 %", "5 V ±5 %") + "candidates: [direct, narrow-buck]\n")


def test_a_hopeless_design_has_no_winner_but_reasons(hopeless):
    assert hopeless.winner is None
    assert (hopeless.map, hopeless.reach, hopeless.feasible_paths) == (None, None, ())
    assert "No path can do the job" in verdict_sentence(hopeless)
    assert (because(hopeless), tipping_words(hopeless)) == ((), ())
    assert all(why_out(p) for p in hopeless.paths)


def test_only_the_candidates_asked_for_are_studied(hopeless):
    assert {p.path.key for p in hopeless.paths} == {"direct", "narrow-buck"}


def test_a_cell_that_does_not_exist_is_an_error_for_the_user(twelve):
    with pytest.raises(ChargewrightError):
        studied(twelve.replace("nmc-energy", "nmc-enrgy"))

"""Unfolded numbers: what is printed, evaluated again, gives the number that is shown."""

import re
from collections.abc import Iterator

import numpy as np
import pytest
from printed_formulas import evaluated

from chargewright.base.relation import derive
from chargewright.dossier.record import Dossier
from chargewright.network.stage import StageLosses
from chargewright.physics.conduction import resistance_at, switch_conduction_loss
from chargewright.physics.switching import turn_off_time
from chargewright.report.blocks import Block, Derivation, Document, Evaluation, KeyNumbers, Table, Unfold
from chargewright.report.headline import efficiency_derivation, score_derivation
from chargewright.report.replay import replay
from chargewright.report.unfold import evaluation, inserted, plain, stage_derivation, wire_derivation
from chargewright.studies.states import StateReport
from chargewright.studies.study import PathStudy

WITHOUT_RELATION = {"quiescent"}
"""Losses that are a product of two given numbers and have no relation of their own."""


def value_of(printed: Evaluation) -> tuple[float, float]:
    """Return what the inserted formula comes to, and the number printed behind it."""
    *lines, last = printed.inserted.split("; ")
    formula, _, result = last.rpartition(" = ")
    number = re.match(r"[−\-0-9.]+(?:·10\^\([−\-0-9]+\))?", result)
    assert number, result
    return float(evaluated("; ".join([*lines, formula]), {})), float(evaluated(f"x = {number[0]}", {}))


def every(printed: Evaluation) -> Iterator[Evaluation]:
    """Yield an evaluation and those behind it."""
    yield printed
    for inner in printed.because:
        yield from every(inner)


def derivations(blocks: tuple[Block, ...]) -> Iterator[Derivation]:
    """Yield every derivation in blocks."""
    for block in blocks:
        if isinstance(block, Unfold):
            yield from derivations(block.blocks)
        elif isinstance(block, Table):
            yield from (c.derivation for row in block.rows for c in row if c.derivation)
        elif isinstance(block, KeyNumbers):
            yield from (n.derivation for n in block.items if n.derivation)


def states(dossier: Dossier) -> list[tuple[PathStudy, StateReport]]:
    """Return every state with a steady point, of every path that could be sized."""
    return [(p, r) for p in dossier.study.paths for r in p.states if r.possible]


def test_every_printed_relation_comes_to_the_number_behind_it(document: Document):
    # Inputs are printed to six digits. The steepest dependence is the core loss, with the flux to some 2.5: 1e-4 is
    # ample for that and would still catch any wrong digit.
    found = [d for c in document.chapters for d in derivations(c.blocks)]
    assert len(found) > 50
    for d in found:
        for one in d.evaluations:
            for printed in every(one):
                again, shown = value_of(printed)
                assert again == pytest.approx(shown, rel=1e-4), (d.what, printed.inserted)


def test_every_loss_of_every_state_unfolds_and_adds_up(dossier: Dossier):
    # The solver stops when nothing moves by more than 1e-10, temperatures by 1e-5 K: 1e-5 is the width of the search.
    checked = 0
    for p, r in states(dossier):
        assert p.hardware is not None
        again = replay(r.solution, p.hardware, r.usual)
        for name in StageLosses._fields:
            d = stage_derivation(again, name, name)
            loss = float(getattr(r.solution.losses, name)[r.usual])
            if d is None:
                assert loss == 0.0
                continue
            if name in WITHOUT_RELATION:
                assert d.note
                continue
            assert d.evaluations, (p.path.key, r.key, name)
            assert sum(value_of(e)[1] for e in d.evaluations) == pytest.approx(loss, rel=2e-5)
            checked += 1
        for key in r.solution.wire_loss:
            d = wire_derivation(again, key, key)
            loss = float(r.solution.wire_loss[key][r.usual])
            if d is not None and key != r.solution.state.linear:
                (one,) = d.evaluations
                assert value_of(one)[1] == pytest.approx(loss, rel=2e-5)
                checked += 1
    assert checked > 100


def test_each_line_of_a_loss_table_has_its_derivation(document: Document):
    watts = next(c for c in document.chapters if c.key == "watts")
    folded = [b for b in watts.blocks if isinstance(b, Unfold) and b.title.endswith("lost in the product")]
    assert len(folded) > 5
    for fold in folded:
        (table,) = (b for b in fold.blocks if isinstance(b, Table))
        for row in table.rows:
            (cell,) = (c for c in row if c.derivation is not None)
            d = cell.derivation
            assert d is not None
            assert d.what.startswith(row[0].text)
            assert d.evaluations or d.note


def test_a_relation_shows_formula_numbers_units_and_source():
    step = derive("p", switch_conduction_loss, i_on=3.0, di_pp=1.2, duty=0.42, r_on=0.010).step
    assert step is not None
    shown = evaluation(step)
    assert shown.formula == "p = r_on·duty·(i_on² + di_pp²/12)"
    assert shown.inserted == "p = 0.01·0.42·(3² + 1.2²/12) = 0.038304 W"
    assert dict(shown.inputs) == {"i_on": "3 A", "di_pp": "1.2 A", "duty": "0.42", "r_on": "10 mΩ"}
    assert shown.result == "38.304 mW"
    assert "Kusko" in shown.source


def test_an_input_says_where_it_comes_from():
    hot = derive("r", resistance_at, r_25=0.010, temp_co=0.004, temp=350.0)
    loss = derive("p", switch_conduction_loss, i_on=2.0, di_pp=0.0, duty=1.0, r_on=hot.value)
    assert hot.step is not None
    assert loss.step is not None
    (behind,) = evaluation(loss.step, {(hot.value, "ohm"): hot.step}).because
    assert behind.relation == "resistance_at"


def test_a_small_or_negative_number_keeps_its_place_in_a_formula():
    # Without brackets −2² would be −4, and 1.2·10^(−9)² the square of the exponent's bracket alone.
    text = inserted("p = i²·r", {"i": -2.0, "r": 1.2e-9})
    assert text == "p = (−2)²·(1.2·10^(−9))"
    assert evaluated(text, {}) == pytest.approx(4.8e-9, rel=1e-12)
    time = derive("t", turn_off_time, q_sw=1.1e-9, r_drive=3.2, v_plateau=2.4).step
    assert time is not None
    again, shown = value_of(evaluation(time))
    assert again == pytest.approx(shown, rel=1e-5)


@pytest.mark.parametrize("value", [0.0, 1.0, -3.5, 123456.0, 1e-12, -2.5e9, 0.1])
def test_a_plain_number_reads_back(value: float):
    assert evaluated(f"x = {plain(value)}", {}) == pytest.approx(value, rel=1e-5)


def test_the_score_unfolds_into_what_the_ranking_holds(dossier: Dossier):
    study = dossier.study
    for ranked in study.ranking.order:
        first, *measures = score_derivation(study, ranked).evaluations
        assert value_of(first)[0] == pytest.approx(ranked.total, rel=1e-4)
        assert {m.relation for m in measures} >= {"score on wall energy a day"}


def test_efficiencies_unfold_into_the_ledger(dossier: Dossier):
    for _, r in states(dossier):
        (one,) = efficiency_derivation(r).evaluations
        entries = r.ledger.entries
        taken = sum(np.ravel(e.watts)[r.usual] for e in entries if e.side == "in")
        useful = sum(np.ravel(e.watts)[r.usual] for e in entries if e.side == "out")
        inside = r.solution.wire_loss.get("source", np.zeros(r.usual + 1))[r.usual]
        assert value_of(one)[0] == pytest.approx(useful / (taken - inside), rel=1e-4)

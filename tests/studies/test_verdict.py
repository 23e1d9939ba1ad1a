"""The ranking: what any sensible scoring has to keep to, over measures and weights drawn at random."""

from dataclasses import fields, replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from chargewright.spec.rules import WeightsSpec
from chargewright.studies.verdict import MEASURES, SMALL_IS_GOOD, rank

NAMES = tuple(SMALL_IS_GOOD)
NO_WEIGHT = dict.fromkeys(NAMES, 0.0)
measure = st.floats(1e-3, 1e6)
tables = st.dictionaries(
    st.sampled_from(("direct", "direct-boost", "narrow-buck", "narrow-buck-boost", "parallel")),
    st.fixed_dictionaries(dict.fromkeys(NAMES, measure)),
    min_size=1,
    max_size=5,
)
some_weights = st.fixed_dictionaries(dict.fromkeys(NAMES, st.floats(0.0, 100.0))).filter(
    lambda w: sum(w.values()) > 1e-3
)


def totals(ranking) -> dict[str, float]:
    return {r.key: r.total for r in ranking.order}


def test_every_weight_of_the_design_file_is_a_measure():
    assert set(NAMES) == set(MEASURES) == {f.name for f in fields(WeightsSpec)}


def test_a_ranking_by_hand():
    # score = best/own for what should be small, own/best for what should be large; the total is the weighted mean:
    # A: energy 100/100, run time 2/4 -> (3·1 + 2·0.5)/5 = 0.8; B: 100/125 and 4/4 -> (3·0.8 + 2·1)/5 = 0.88.
    same = {"heat": 1.0, "charge_time": 1.0, "cost": 1.0, "area": 1.0}
    table = {"a": {"energy": 100.0, "run_time": 2.0, **same}, "b": {"energy": 125.0, "run_time": 4.0, **same}}
    found = rank(table, WeightsSpec(**{**NO_WEIGHT, "energy": 3.0, "run_time": 2.0}))
    assert [r.key for r in found.order] == ["b", "a"]
    assert totals(found) == pytest.approx({"a": 0.8, "b": 0.88})
    assert not found.tie
    # The lead of B is w_r·0.5 − w_e·0.2 (over the sum): gone at a weight of energy of 2·0.5/0.2 = 5, or at a weight of
    # run time of 3·0.2/0.5 = 1.2.
    at = {t.weight: t.at for t in found.tipping if t.then}
    assert at == pytest.approx({"energy": 5.0, "run_time": 1.2})


@given(tables, some_weights)
def test_scores_lie_between_nought_and_one_and_the_best_has_one(table, weights):
    found = rank(table, WeightsSpec(**weights), firmness=False)
    assert {r.key for r in found.order} == set(table)
    for r in found.order:
        assert 0.0 <= r.total <= 1.0 + 1e-12
        assert all(0.0 <= s <= 1.0 for s in r.scores.values())
    for name in NAMES:
        assert max(r.scores[name] for r in found.order) == 1.0
    listed = [r.total for r in found.order]
    assert listed == sorted(listed, reverse=True)


@given(tables, some_weights, st.floats(0.01, 100.0))
def test_only_the_ratios_of_weights_count(table, weights, factor):
    one = totals(rank(table, WeightsSpec(**weights), firmness=False))
    other = totals(rank(table, WeightsSpec(**{k: w * factor for k, w in weights.items()}), firmness=False))
    assert other == pytest.approx(one, rel=1e-9)


@given(tables, some_weights, st.sampled_from(NAMES), st.floats(1e-3, 1e3))
def test_the_unit_of_a_measure_does_not_matter(table, weights, name, factor):
    one = totals(rank(table, WeightsSpec(**weights), firmness=False))
    scaled = {k: {**m, name: m[name] * factor} for k, m in table.items()}
    assert totals(rank(scaled, WeightsSpec(**weights), firmness=False)) == pytest.approx(one, rel=1e-9)


@settings(max_examples=50)  # 4000 weightings each
@given(tables, some_weights, st.data())
def test_a_dominated_path_never_wins(table, weights, data):
    # A copy of one path that is worse in every measure can win under no weighting, nor overtake its original.
    key = data.draw(st.sampled_from(sorted(table)))
    worse = {n: v * (1.01 if SMALL_IS_GOOD[n] else 0.99) for n, v in table[key].items()}
    found = rank({**table, "worse": worse}, WeightsSpec(**weights))
    assert found.order[0].key != "worse"
    by_key = {r.key: r for r in found.order}
    assert by_key["worse"].total < by_key[key].total
    assert by_key["worse"].wins == 0.0
    # So no weight can tip the ranking to it either.
    assert "worse" not in {t.then for t in found.tipping}


@settings(max_examples=50)  # 4000 weightings each
@given(tables, some_weights)
def test_a_tipping_weight_put_in_turns_the_order(table, weights):
    found = rank(table, WeightsSpec(**weights))
    assume(len(found.order) > 1 and found.order[0].total - found.order[1].total > 1e-6)
    leader = found.order[0].key
    for t in found.tipping:
        assert t.now == weights[t.weight]
        if not t.then:
            continue
        others = sum(w for n, w in weights.items() if n != t.weight)
        past = max(t.at + (1e-3 if t.at > t.now else -1e-3) * max(t.at, 1e-3), 0.0)
        short = t.now + 0.999 * (t.at - t.now)
        if past == 0.0 or past + others <= 0.0:
            continue  # tips exactly where the weight is gone: nothing lies beyond
        beyond = rank(table, WeightsSpec(**{**weights, t.weight: past}), firmness=False)
        before = rank(table, WeightsSpec(**{**weights, t.weight: short}), firmness=False)
        t_beyond, t_before = totals(beyond), totals(before)
        # The named rival has passed the old leader beyond, and had not before; rounding of scores is 1e-15.
        assert t_beyond[t.then] > t_beyond[leader] - 1e-12
        assert t_before[leader] > t_before[t.then] - 1e-12
        # And before that point nobody else had passed it either.
        assert t_before[leader] == pytest.approx(max(t_before.values()), abs=1e-12)


def test_a_weight_of_nothing_tips_only_towards_who_gains_by_it():
    # Two paths alike but for cost, which does not count: any weight of cost at all decides, and not for the dearer.
    same = dict.fromkeys(NAMES, 1.0)
    weights = WeightsSpec(**{**NO_WEIGHT, "area": 1.0})
    found = rank({"dear": {**same, "cost": 2.0}, "cheap": same}, weights)
    assert found.order[0].key == "dear"  # first of equals
    assert {t.weight: (t.at, t.then) for t in found.tipping if t.then} == {"cost": (0.0, "cheap")}
    found = rank({"cheap": same, "dear": {**same, "cost": 2.0}}, weights)
    assert not [t for t in found.tipping if t.then]


@settings(max_examples=50)  # 4000 weightings each
@given(tables, some_weights)
def test_the_shares_of_weightings_won_add_up(table, weights):
    found = rank(table, WeightsSpec(**weights))
    assert sum(r.wins for r in found.order) == pytest.approx(1.0)
    assert all(0.0 <= r.wins <= 1.0 for r in found.order)
    if len(found.order) == 1:
        assert found.order[0].wins == 1.0
        assert not found.tie


@given(st.fixed_dictionaries(dict.fromkeys(NAMES, measure)), some_weights, st.floats(-0.02, 0.02))
def test_a_tie_is_told_by_half_a_percent_of_the_score(one, weights, apart):
    # Two paths that differ in energy alone: the lead is the share of that weight times the difference of the scores.
    other = {**one, "energy": one["energy"] * (1.0 + apart)}
    found = rank({"a": one, "b": other}, WeightsSpec(**weights), firmness=False)
    share = weights["energy"] / sum(weights.values())
    lead = share * (1.0 - 1.0 / (1.0 + abs(apart)) if apart > 0 else -apart)
    assume(abs(lead - 0.005) > 1e-6)
    assert found.tie == (lead < 0.005)


def test_a_charge_that_never_ends_scores_nothing_and_spoils_nobody():
    same = dict.fromkeys(NAMES, 1.0)
    table = {"a": {**same, "charge_time": float("inf")}, "b": {**same, "charge_time": 7200.0}}
    found = rank(table, WeightsSpec())
    by_key = {r.key: r.scores["charge_time"] for r in found.order}
    assert by_key == {"a": 0.0, "b": 1.0}


def test_nothing_to_rank_is_no_error():
    found = rank({}, WeightsSpec())
    assert (found.order, found.tipping, found.tie) == ((), (), False)


def test_one_weight_alone_ranks_by_that_measure():
    table = {k: {**dict.fromkeys(NAMES, 1.0), "cost": c} for k, c in (("a", 3.0), ("b", 1.0), ("c", 2.0))}
    found = rank(table, replace(WeightsSpec(**NO_WEIGHT), cost=5.0))
    assert [r.key for r in found.order] == ["b", "c", "a"]
    assert totals(found) == pytest.approx({"b": 1.0, "c": 0.5, "a": 1.0 / 3.0})

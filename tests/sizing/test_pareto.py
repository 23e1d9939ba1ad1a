"""Fronts: nothing on them is beaten, and nothing off them is not."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from chargewright.sizing.arrays import joined, taken
from chargewright.sizing.pareto import front, undominated
from chargewright.sizing.ruling import Ruling, least_over, most_over

# Few values, so that ties and equal rows are frequent.
tables = st.integers(0, 40).flatmap(lambda n: arrays(np.float64, (n, 3), elements=st.integers(0, 6).map(float)))


def beaten_by_any(row: np.ndarray, others: np.ndarray) -> bool:
    return any(bool(np.all(o <= row) and np.any(o < row)) for o in others)


@given(tables)
def test_the_front_is_what_no_row_beats(table: np.ndarray):
    kept = front(table)
    for k in range(len(table)):
        if k in kept:
            assert not beaten_by_any(table[k], table)
        else:
            assert beaten_by_any(table[k], table) or any((table[j] == table[k]).all() for j in kept)
    assert len({tuple(r) for r in table[kept]}) == len(kept)


@given(tables)
def test_without_doubt_the_rows_left_are_the_front(table: np.ndarray):
    assert undominated(table, np.zeros(table.shape)).tolist() == front(table).tolist()


@given(tables, st.floats(0.1, 3.0))
def test_doubt_only_adds_rows(table: np.ndarray, doubt: float):
    kept = undominated(table, np.full(table.shape, doubt))
    assert set(front(table).tolist()) <= set(kept.tolist())
    for k in set(range(len(table))) - set(kept.tolist()):
        assert any(np.all(other + doubt <= table[k] - doubt) for other in table)


@given(tables)
def test_rows_that_may_not_beat_others_displace_none(table: np.ndarray):
    assert undominated(table, np.zeros(table.shape), np.zeros(len(table), dtype=bool)).tolist() == list(
        range(len(table))
    )


def test_rulings_know_their_direction_and_their_base():
    most = most_over("ripple", "coil", "A", np.array([[1.0, 2.0], [0.5, 0.2]]), np.array([2.5, 0.25]))
    assert most.value.tolist() == [2.0, 0.5]
    assert most.corner.tolist() == [1, 0]
    assert most.use.tolist() == [0.8, 2.0]
    assert np.allclose(most.margin, [0.2, -1.0])
    least = least_over("duty", "stage", "1", np.array([[0.3, 0.1], [0.0, 0.2]]), 0.05)
    assert least.use.tolist() == [0.5, np.inf]
    assert least.margin.tolist() == [1.0, -1.0]
    warm = most_over("heat", "coil", "K", np.array([[350.0]]), 373.0, base=313.0)
    assert np.allclose(warm.margin, (373.0 - 350.0) / 60.0)


def test_records_of_arrays_are_taken_and_joined_row_by_row():
    ruling = most_over("ripple", "coil", "A", np.array([[1.0], [2.0], [3.0]]), 2.5)
    some = taken(ruling, [2, 0])
    assert isinstance(some, Ruling)
    assert some.value.tolist() == [3.0, 1.0]
    assert (some.rule, some.unit) == ("ripple", "A")
    both = joined([some, ruling])
    assert both.value.tolist() == [3.0, 1.0, 1.0, 2.0, 3.0]

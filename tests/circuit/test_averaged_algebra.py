"""The averaged circuit's linear algebra: what runs plain on whole arrays and what is compiled by element agree."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from chargewright.circuit import _averaged_algebra as algebra

N = 7
RNG = np.random.default_rng(5)
VECTOR, OTHER = RNG.normal(size=(2, N))
SQUARE, WIDE = RNG.normal(size=(N, N)), RNG.normal(size=(N, 3))


@pytest.mark.parametrize(("function", "out", "given"), [
    (algebra.copy, VECTOR, (OTHER,)),
    (algebra.add, VECTOR, (0.3, OTHER)),
    (algebra.add_times, VECTOR, (0.3, SQUARE, OTHER)),
    (algebra.add_times, VECTOR[:3], (0.3, WIDE, OTHER)),
    (algebra.add_sizes, VECTOR[:3], (0.3, WIDE, OTHER)),
    (algebra.add_matrix, SQUARE, (0.3, SQUARE.T)),
    (algebra.add_outer, SQUARE, (0.3, VECTOR, OTHER)),
])  # fmt: skip
def test_each_pair_agrees(function: Callable[..., None], out: np.ndarray, given: tuple[Any, ...]) -> None:
    whole, by_element = out.copy(), out.copy()
    function(whole, *given)
    function.written_out(by_element, *given)  # type: ignore[attr-defined]
    # Rounding of sums of seven.
    assert by_element == pytest.approx(whole, rel=1e-14, abs=1e-14)
    assert not np.array_equal(whole, out)


def test_matrices_go_by_their_columns() -> None:
    out = np.zeros(N)
    algebra.add_times(out, 2.0, SQUARE.T.copy(), VECTOR)
    assert out == pytest.approx(2.0 * SQUARE @ VECTOR)
    outer = np.zeros((N, N))
    algebra.add_outer(outer, 1.0, VECTOR, OTHER)
    assert pytest.approx(np.outer(VECTOR, OTHER)) == outer.T


@pytest.mark.parametrize("shift", [0.0, 1e3])
def test_the_inverse_by_element_needs_no_large_diagonal(shift: float) -> None:
    # The rows of a cyclic shift: without exchanges every pivot would be zero.
    slope = np.roll(np.diag(np.arange(1.0, N + 1.0)), 1, axis=0) + 1e-3 * SQUARE * (shift > 0.0)
    pair = np.zeros((2, N, N))
    swaps = np.zeros(N, np.int64)
    algebra.invert(slope, shift, pair[0], swaps)
    algebra.invert.written_out(slope, shift, pair[1], swaps)  # type: ignore[attr-defined]
    assert pair[1] == pytest.approx(pair[0], rel=1e-12, abs=1e-15)
    assert pair[1] @ (np.eye(N) * shift - slope) == pytest.approx(np.eye(N), abs=1e-12)

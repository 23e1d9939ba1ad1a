"""Compiled twins give the numbers of what they were made from."""

from typing import NamedTuple

import numpy as np
import pytest

from chargewright.base.compiled import compiled, compiled_as, compiled_bare, merged, numba_module, plain

pytestmark = pytest.mark.skipif(numba_module() is None, reason="numba has no wheel for this machine")
HOME = "chargewright.base.compiled"
"""Where these functions say that they live: what is kept on disk names a module that the next process can import."""


class Spring(NamedTuple):
    """A record with a field that shares its name with a function that reads it."""

    force: float
    way: float


def force(spring: Spring) -> float:
    return 2.0 * spring.force


def work(spring: Spring) -> float:
    return force(spring) * spring.way


def test_a_function_may_share_its_name_with_an_attribute_that_it_reads(monkeypatch: pytest.MonkeyPatch):
    # Functions count as the package's own by their module; `co_names` holds attributes too, and following those made
    # `force` compile itself without end.
    for function in (force, work):
        monkeypatch.setattr(function, "__module__", HOME)
    spring = Spring(3.0, 0.5)
    assert plain(work)(spring) == work(spring) == 3.0
    assert compiled(work)(spring) == 3.0


def halves_by_element(x: np.ndarray) -> float:
    found = 0.0
    for k in range(len(x)):
        found += 0.5 * x[k]
    return found


@compiled_as(halves_by_element)
def halves(x: np.ndarray) -> float:
    return float(np.sum(0.5 * x))


@merged
def shifted(x: np.ndarray, by: float) -> float:
    if by == 0.0:
        return halves(x)
    return halves(x) + by


def both(x: np.ndarray) -> float:
    return shifted(x, 0.0) * shifted(x, 2.0)


def test_a_bare_kernel_takes_what_is_written_by_element_and_reads_what_is_merged_as_its_own_lines(
    monkeypatch: pytest.MonkeyPatch,
):
    for function in (halves_by_element, halves, shifted, both):
        monkeypatch.setattr(function, "__module__", HOME)
    x = np.arange(5.0)
    twin = compiled_bare(both)
    assert twin(x) == both(x) == 5.0 * 7.0
    merged_twin = twin.py_func.__globals__["shifted"]
    assert merged_twin.signatures == []
    assert merged_twin.py_func.__globals__["halves"].py_func.__name__ == "halves_by_element"

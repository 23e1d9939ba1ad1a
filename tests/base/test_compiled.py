"""Compiled twins give the numbers of what they were made from."""

from typing import NamedTuple

import pytest

from chargewright.base.compiled import compiled, numba_module, plain

pytestmark = pytest.mark.skipif(numba_module() is None, reason="numba has no wheel for this machine")


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
        monkeypatch.setattr(function, "__module__", "chargewright.tests")
    spring = Spring(3.0, 0.5)
    assert plain(work)(spring) == work(spring) == 3.0
    assert compiled(work)(spring) == 3.0

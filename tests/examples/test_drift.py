"""Drift only: the examples' numbers against those kept in `tests/pinned`, which are our own and prove nothing."""

import importlib.util
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
PINNED: dict[str, Any] = json.loads((ROOT / "tests" / "pinned" / "examples.json").read_text("utf-8"))
MEANT = "if it was meant, run tools/pin_examples.py and say so in CHANGELOG.md under 'Results that move'"


def tool() -> Any:
    spec = importlib.util.spec_from_file_location("pin_examples", ROOT / "tools" / "pin_examples.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def numbers(tree: Any, place: str = "") -> Iterator[tuple[str, float]]:
    for key, value in tree.items():
        if isinstance(value, dict):
            yield from numbers(value, f"{place}{key}.")
        elif not isinstance(value, list):
            yield f"{place}{key}", value


def test_every_example_is_pinned(dossier_of):
    assert set(PINNED) == {p.stem for p in (ROOT / "examples").glob("*.yaml")}


@pytest.mark.parametrize("name", sorted(PINNED))
def test_no_number_of_an_example_has_moved(name, dossier_of):
    # 1e-5: machines and numba differ in the last digits, which iterations to 1e-9 and the steps of a day let grow.
    now = tool().numbers_of(dossier_of(name).study)
    assert now["order"] == PINNED[name]["order"], MEANT
    found = dict(numbers(now))
    moved = {
        place: (was, found.get(place))
        for place, was in numbers(PINNED[name])
        if found.get(place) != pytest.approx(was, rel=1e-5)
    }
    assert not moved, f"moved (before, now): {moved}; {MEANT}"
    assert found.keys() == dict(numbers(PINNED[name])).keys(), MEANT

"""The shipped examples, each studied once for all tests of this folder."""

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

import chargewright
from chargewright.dossier.record import Dossier

FOLDER = Path(__file__).parents[2] / "examples"
NAMES = tuple(sorted(p.stem for p in FOLDER.glob("*.yaml")))


@cache
def _dossier(name: str) -> Dossier:
    return chargewright.study(FOLDER / f"{name}.yaml")


@pytest.fixture(scope="session")
def dossier_of() -> Callable[[str], Dossier]:
    """Return a function that gives an example's dossier, worked out once."""
    return _dossier


@pytest.fixture(params=NAMES)
def dossier(request: pytest.FixtureRequest) -> Dossier:
    """Return the dossier of each example in turn."""
    return _dossier(request.param)


@pytest.fixture(params=NAMES)
def example(request: pytest.FixtureRequest) -> Path:
    """Return the design file of each example in turn."""
    return FOLDER / f"{request.param}.yaml"

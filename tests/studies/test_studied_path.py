"""One path studied alone is the one that the whole study holds."""

from pathlib import Path

import pytest

from chargewright.base.errors import NoSolution
from chargewright.spec.load import load_design
from chargewright.studies.one_path import studied_path

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "tablet.yaml"


def _quiet(_step: str, _share: float) -> None:
    return


def test_a_path_alone_has_the_numbers_that_it_has_among_the_others():
    whole, best = studied_path(load_design(EXAMPLE), EXAMPLE, None, _quiet)
    alone, same = studied_path(load_design(EXAMPLE), EXAMPLE, best.path.key, _quiet)
    assert len(whole.paths) > len(alone.paths) == 1
    assert same.sizing is not None
    assert best.sizing is not None
    assert same.sizing.build == best.sizing.build
    assert best.measures is not None
    # rel: the same lines, compiled or not as the process goes on.
    assert same.measures == pytest.approx(best.measures, rel=1e-9)


def test_a_path_that_the_design_does_not_have_is_named_with_the_nearest():
    with pytest.raises(NoSolution, match="dirct: this design has no such path; did you mean direct"):
        studied_path(load_design(EXAMPLE), EXAMPLE, "dirct", _quiet)

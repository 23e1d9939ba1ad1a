"""Relations: they compute, keep to their ranges, and can say how a number came about."""

from typing import Annotated, Any

import numpy as np
import pytest

from chargewright.base.errors import OutOfRange
from chargewright.base.relation import Relation, derive, given, relation, tracing
from chargewright.base.units import Amps, Duty, Ohms, Volts, Watts


@relation
def drop(i: Amps, r: Ohms) -> Volts:
    """Return the voltage drop of a resistance.

        v = r · i

    i : current [A]
    r : resistance [Ω]
    returns the drop [V].

    Source: G. S. Ohm, Die galvanische Kette,
    mathematisch bearbeitet, 1827.

    Not for superconductors.
    """
    return r * i


@relation
def shared_loss(i: Amps, r: Ohms, duty: Duty = 1.0) -> Watts:
    """Return the mean loss of a resistance that carries a current for a share of the time.

        p = duty · i · drop(i, r)
          = duty · r · i²

    Source: derived here.
    """
    return duty * i * drop(i, r)


def test_a_relation_is_called_like_its_function():
    assert drop(2.0, 3.0) == 6.0
    assert drop(i=2.0, r=3.0) == 6.0
    assert drop.raw(2.0, 3.0) == 6.0
    assert np.array_equal(drop(np.array([1.0, 2.0]), 3.0), [3.0, 6.0])


def test_a_relation_knows_its_formula_units_and_source():
    assert isinstance(drop, Relation)
    assert drop.name == drop.__name__ == "drop"
    assert drop.formula == "v = r · i"
    assert drop.unit == "V"
    assert drop.parameters == {"i": "A", "r": "ohm"}
    assert drop.source == "G. S. Ohm, Die galvanische Kette, mathematisch bearbeitet, 1827."
    assert repr(drop) == "<relation drop: v = r · i>"
    assert drop.__doc__
    assert drop.__doc__.startswith("Return the voltage drop")


def test_a_formula_of_several_lines_comes_whole():
    assert shared_loss.formula.split("; ")[0] == "p = duty · i · drop(i, r)"


def test_an_argument_outside_its_range_is_refused_with_its_name():
    with pytest.raises(OutOfRange, match=r"shared_loss: duty leaves 0 … 1 \(got 40 … 40\)"):
        shared_loss(1.0, 1.0, 40.0)
    with pytest.raises(OutOfRange, match=r"got -0\.1 … 0\.5"):
        shared_loss(1.0, 1.0, duty=np.array([0.5, -0.1]))
    assert shared_loss(1.0, 1.0, 0.0) == 0.0  # the ends belong to the range
    assert shared_loss(1.0, 1.0) == 1.0  # a default is not checked against nothing


def test_nothing_is_recorded_outside_a_trace():
    with tracing() as steps:
        pass
    drop(1.0, 1.0)
    assert steps == []


def test_a_trace_records_every_relation_in_the_order_of_their_results():
    with tracing() as steps:
        shared_loss(2.0, 3.0, duty=0.5)
    assert [(s.relation, s.result) for s in steps] == [("drop", 6.0), ("shared_loss", 6.0)]
    outer = steps[1]
    assert outer.inputs == {"i": (2.0, "A"), "r": (3.0, "ohm"), "duty": (0.5, "1")}
    assert outer.unit == "W"
    assert outer.source == "derived here."


def test_an_inner_trace_leaves_the_outer_one_as_it_was():
    with tracing() as outer:
        drop(1.0, 1.0)
        with tracing() as inner:
            drop(2.0, 1.0)
        drop(3.0, 1.0)
    assert [s.result for s in outer] == [1.0, 3.0]
    assert [s.result for s in inner] == [2.0]


def test_a_trace_ends_with_its_block_even_on_an_error():
    with pytest.raises(OutOfRange), tracing():
        shared_loss(1.0, 1.0, 2.0)
    with tracing() as steps:
        drop(1.0, 1.0)
    assert len(steps) == 1


def test_a_derived_value_can_be_unfolded():
    value = derive("p_sense", shared_loss, 2.0, 3.0, duty=0.5)
    assert (value.name, value.value, value.unit) == ("p_sense", 6.0, "W")
    assert value.step is not None
    assert value.step.relation == "shared_loss"  # the outermost, not the one inside
    assert value.step.inputs["r"] == (3.0, "ohm")


def test_a_given_value_says_so():
    value = given("v_in", 20.0, "V", "from the design file")
    assert value.step is None
    assert value.note == "from the design file"


def test_a_relation_without_formula_or_source_has_none():
    @relation
    def bare(x: Annotated[Any, "1"]) -> Annotated[Any, "1"]:
        return x

    assert (bare.formula, bare.source) == ("", "")

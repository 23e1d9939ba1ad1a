"""The inputs of the rails as one capacitor: sums, tolerance, series resistance, words, the key of a design."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.loops.impedance import bank_admittance
from chargewright.parts.rail_inputs import C_IN, ESR_IN, TOL_IN, rail_inputs
from chargewright.parts.regulator import Regulator, generic_regulator
from chargewright.physics.capacitor import joined_esr
from chargewright.spec.load import parse_design
from chargewright.spec.system import RailSpec

DESIGN = """\
name: Rails
sources: [{name: adapter, kind: fixed, voltage: 20 V, current: 3 A}]
pack: {cell: nmc-energy, series: 2, capacity: 5 Ah}
system:
  rails:
    - {name: core, voltage: 3.3 V, power: 6 W, input_capacitance: 22 uF}
    - {name: light, voltage: 5 V, power: 6 W}
"""


def rail(c: float | None, name: str = "rail") -> Regulator:
    spec = RailSpec(name=name, voltage=3.3, power=5.0, input_capacitance=c)
    return generic_regulator(spec, 20.0, 0.8, 0.3)


def test_a_rail_of_which_nothing_is_known_has_ten_microfarads():
    # Common practice: a ceramic or two of 10 µF effective at a regulator's input; ±20 % is the usual code of a ceramic.
    one = rail_inputs((rail(None),))
    assert (one.c, one.c_low, one.c_high) == pytest.approx((10e-6, 8e-6, 12e-6), rel=1e-12)
    assert rail_inputs((rail(None),) * 5).c == pytest.approx(50e-6, rel=1e-12)


def test_what_the_design_says_goes_before_what_is_assumed():
    rails = parse_design(DESIGN, "rails.design").system.rails
    assert [r.input_capacitance for r in rails] == [pytest.approx(22e-6), None]
    found = rail_inputs(tuple(generic_regulator(r, 20.0, 0.8, 0.3) for r in rails))
    assert found.c == pytest.approx(32e-6, rel=1e-12)
    assert "32 µF" in found.words
    assert "10 µF for light" in found.words
    assert "core" not in found.words


def test_the_words_tell_a_given_value_from_an_assumed_one():
    assert "common practice" in rail_inputs((rail(None),)).words
    assert "common practice" not in rail_inputs((rail(4.7e-6),)).words


@pytest.mark.parametrize("rails", [(), (rail(0.0),)])
def test_no_capacitors_are_none(rails: tuple[Regulator, ...]):
    found = rail_inputs(rails)
    assert (found.c, found.c_low, found.c_high) == (0.0, 0.0, 0.0)
    assert np.isfinite(found.esr)


@given(st.lists(st.floats(1e-6, 1e-4), min_size=1, max_size=6))
def test_all_rails_together_have_the_impedance_of_their_capacitors_side_by_side(each: list[float]):
    # Second road: admittances added, at a tenth of the frequency at which the largest one's resistance counts; rel 1 %
    # is the square of that tenth.
    found = rail_inputs(tuple(rail(c) for c in each))
    s = 0.1j / (ESR_IN * max(each))
    z = 1.0 / sum(bank_admittance(c, ESR_IN, s) for c in each)
    assert 1.0 / bank_admittance(found.c, found.esr, s) == pytest.approx(z, rel=0.01)
    assert found.c == pytest.approx(sum(each), rel=1e-12)
    assert found.c_high - found.c == pytest.approx(TOL_IN * found.c, rel=1e-9)


def test_equal_capacitors_share_their_resistance():
    # Ohm's law: two equal ones side by side halve it, three leave a third.
    assert joined_esr(C_IN, ESR_IN, C_IN, ESR_IN) == pytest.approx(ESR_IN / 2.0, rel=1e-12)
    assert rail_inputs((rail(None),) * 3).esr == pytest.approx(ESR_IN / 3.0, rel=1e-12)


@given(c=st.floats(1e-6, 1e-3), share=st.floats(0.01, 100.0), esr=st.floats(1e-3, 0.1), other=st.floats(1e-3, 0.1))
def test_joined_capacitors_lose_what_both_lose(c: float, share: float, esr: float, other: float):
    # By the definition of loss: the current divides as the capacitances, each part loses r·i². Rounding only.
    i_1 = 1.0 / (1.0 + share)
    lost = esr * i_1**2 + other * (1.0 - i_1) ** 2
    assert joined_esr(c, esr, share * c, other) == pytest.approx(lost, rel=1e-9)

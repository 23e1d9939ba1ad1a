"""Amplifiers: what they do, and that a design does what was asked, ideal and with values that are sold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import OutOfRange
from chargewright.loops.compensator import Inverting, Transconductance, design, most_margin, with_low_zero
from chargewright.physics.series import nearest_preferred

DEGREE = np.pi / 180.0


def at(f: float) -> complex:
    return 2j * np.pi * f


def test_a_transconductance_amplifier_has_its_zero_and_pole_where_the_parts_say():
    # By hand: r_z 10 k, c_z 10 n, c_p 100 p: zero 1.5915 kHz, pole of r_z with both capacitors in series 160.75 kHz;
    # far between them the gain is gm·r_z·c_z/(c_z + c_p).
    a = Transconductance(gm=1e-4, r_z=1e4, c_z=1e-8, c_p=1e-10, r_out=np.inf)
    assert abs(a.gain(at(16e3))) == pytest.approx(1e-4 * 1e4 / 1.01, rel=0.01)
    assert np.angle(a.gain(at(1591.549))) == pytest.approx(-45.0 * DEGREE, abs=1.0 * DEGREE)
    assert np.angle(a.gain(at(160.75e3))) == pytest.approx(-45.0 * DEGREE, abs=1.0 * DEGREE)


def test_an_inverting_amplifier_meets_nodal_analysis():
    # Second road: node equations of the two networks around an ideal amplifier.
    a, s = Inverting(r_1=1e4, r_2=2e4, c_1=1e-9, c_2=5e-11, r_3=300.0, c_3=8e-10), at(3e4)
    y_in = 1.0 / 1e4 + 1.0 / (300.0 + 1.0 / (s * 8e-10))
    y_back = s * 5e-11 + 1.0 / (2e4 + 1.0 / (s * 1e-9))
    assert a.gain(s) == pytest.approx(y_in / y_back, rel=1e-12)


@given(
    size=st.floats(0.1, 100.0),
    lag=st.floats(20.0, 170.0),
    f=st.floats(500.0, 2e5),
    margin=st.floats(45.0, 70.0),
)
def test_a_design_has_the_crossover_and_margin_that_were_asked(size: float, lag: float, f: float, margin: float):
    made = design(size, -lag * DEGREE, f, margin * DEGREE)
    t = size * np.exp(-1j * lag * DEGREE) * made.exact.gain(at(f))
    assert abs(t) == pytest.approx(1.0, rel=1e-3)  # the amplifier's own 100 Mohm
    found = (180.0 + np.degrees(np.angle(t))) % 360.0
    if made.boost > 0.01:
        assert found == pytest.approx(margin, abs=0.2)
    else:
        assert found > margin - 0.2  # nothing has to be added, and nothing is taken away


def test_parts_are_preferred_values_and_the_design_survives_them():
    made = design(0.5, -100.0 * DEGREE, 2e4, 60.0 * DEGREE)
    a = made.built
    assert isinstance(a, Transconductance)
    assert a.r_z == pytest.approx(nearest_preferred(a.r_z, "E96"), rel=1e-9)
    assert a.c_z == pytest.approx(nearest_preferred(a.c_z, "E12"), rel=1e-9)
    t = 0.5 * np.exp(-1j * 100.0 * DEGREE) * a.gain(at(2e4))
    # E12 is 20 % from value to value: up to 10 % of each capacitor, so of the crossover, and about 3 degrees of margin.
    assert abs(t) == pytest.approx(1.0, rel=0.12)
    assert np.degrees(np.angle(t)) == pytest.approx(-120.0, abs=4.0)


@pytest.mark.parametrize("lag", [100.0, 160.0])
def test_a_lower_zero_takes_a_tenth_of_the_low_gain_and_leaves_the_rest(lag: float):
    # By hand: below both zeros an integrator is 1/(s·C), so ten times the capacitor is a tenth; above them r rules.
    made = design(0.5, -lag * DEGREE, 2e4, 60.0 * DEGREE)
    slow = with_low_zero(made)
    for a, b in ((made.exact, slow.exact), (made.built, slow.built)):
        zero = 1.0 / (2.0 * np.pi * (a.r_z * a.c_z if isinstance(a, Transconductance) else a.r_2 * a.c_1))
        low, high = at(zero * 1e-3), at(zero * 1e3)
        # rel 20 %: the pole's capacitor stands beside the zero's and is not made larger.
        assert abs(b.gain(low) / a.gain(low)) == pytest.approx(0.1, rel=0.2)
        assert abs(b.gain(high) / a.gain(high)) == pytest.approx(1.0, rel=1e-2)


def test_the_kind_follows_the_boost():
    assert design(1.0, -60.0 * DEGREE, 1e4, 60.0 * DEGREE).kind == "type 2"
    assert design(1.0, -150.0 * DEGREE, 1e4, 60.0 * DEGREE).kind == "type 3"
    with pytest.raises(OutOfRange, match="lower crossover"):
        design(1.0, -230.0 * DEGREE, 1e4, 60.0 * DEGREE)
    assert most_margin(-230.0 * DEGREE) < 60.0 * DEGREE


def test_a_pi_amplifier_has_no_pole():
    made = design(1.0, -40.0 * DEGREE, 1e4, 60.0 * DEGREE, kind="PI")
    assert isinstance(made.exact, Transconductance)
    assert made.exact.c_p == pytest.approx(0.0, abs=1e-18)
    t = np.exp(-1j * 40.0 * DEGREE) * made.exact.gain(at(1e4))
    assert 180.0 + np.degrees(np.angle(t)) == pytest.approx(60.0, abs=0.2)

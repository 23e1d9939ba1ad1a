"""Budgets, preferred values and cells by second roads: chance itself, the standard's rules, integration."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import OutOfRange
from chargewright.physics.budget import (
    bound_confidence,
    failure_rate_bound,
    interval_confidence,
    root_sum_square,
    runs_for_bound,
    runs_for_interval,
    step_deviation,
    uniform_deviation,
    worst_sum,
)
from chargewright.physics.cell import (
    charge_at_voltage_limit,
    entropic_heat,
    hysteresis_after,
    ohmic_and_rc_voltage,
    taper_charge,
    taper_time,
    taper_time_constant,
    thermistor_resistance,
    thermistor_temperature,
)
from chargewright.physics.series import e_series, nearest_preferred, preferred_at_or_above, preferred_at_or_below
from chargewright.physics.transient import rc_voltage

SERIES = st.sampled_from(["E3", "E6", "E12", "E24", "E48", "E96", "E192"])
SIZES = st.floats(1e-12, 1e9)


def test_deviations_are_those_of_drawn_numbers():
    # Definition, by drawing. rel 1 %: standard error of a deviation from 2e5 draws is 0.1 %.
    rng = np.random.default_rng(3)
    assert uniform_deviation(2.0) == pytest.approx(np.std(rng.uniform(-2.0, 2.0, 200_000)), rel=0.01)
    value = rng.uniform(0.0, 100.0, 200_000)
    assert step_deviation(0.064) == pytest.approx(np.std(np.round(value / 0.064) * 0.064 - value), rel=0.01)


def test_root_sum_square_is_the_deviation_of_a_sum_and_never_above_the_worst_sum():
    # Definition, by drawing; rel as above.
    sigmas = [0.3, 0.4, 1.2]
    drawn = np.random.default_rng(4).normal(0.0, sigmas, (200_000, 3)).sum(axis=1)
    assert root_sum_square(sigmas) == pytest.approx(np.std(drawn), rel=0.01)
    # By hand: 0.3² + 0.4² + 1.2² = 1.3².
    assert root_sum_square(sigmas) == pytest.approx(1.3, rel=1e-12)
    assert worst_sum([-0.3, 0.4, 1.2]) == pytest.approx(1.9, rel=1e-12)


def test_confidence_is_how_often_it_holds_among_drawn_runs():
    # Definition, by drawing 20 000 batches of 93 runs. abs 0.6 %: three times the standard error √(0.05·0.95/20 000).
    batches = np.random.default_rng(5).uniform(size=(20_000, 93))
    bounded = np.mean(batches.max(axis=1) >= 0.95)
    enclosed = np.mean(np.ptp(batches, axis=1) >= 0.95)
    assert bound_confidence(93, 0.95) == pytest.approx(bounded, abs=0.006)
    assert interval_confidence(93, 0.95) == pytest.approx(enclosed, abs=0.006)


@given(coverage=st.floats(0.5, 0.999), confidence=st.floats(0.5, 0.999))
def test_the_number_of_runs_is_enough_and_one_less_is_not(coverage, confidence):
    runs = runs_for_bound(coverage, confidence)
    assert bound_confidence(runs, coverage) >= confidence
    assert runs == 1 or bound_confidence(runs - 1, coverage) < confidence
    runs = runs_for_interval(coverage, confidence)
    assert interval_confidence(runs, coverage) >= confidence > interval_confidence(runs - 1, coverage)


def test_a_share_of_one_is_refused():
    with pytest.raises(OutOfRange, match="confidence is 95: give a share"):
        runs_for_bound(0.95, 95.0)


def test_at_the_bound_no_failure_is_as_unlikely_as_stated():
    assert (1.0 - failure_rate_bound(3000, 0.95)) ** 3000 == pytest.approx(0.05, rel=1e-9)


@pytest.mark.parametrize(("coarse", "fine"), [("E3", "E6"), ("E6", "E12"), ("E12", "E24"), ("E48", "E96")])
def test_each_series_is_every_second_member_of_the_next(coarse, fine):
    # IEC 60063 (from memory): series are thinned out by leaving out every second member.
    assert list(e_series(coarse)) == list(e_series(fine)[::2])


def test_the_short_series_are_those_on_every_drawer():
    # IEC 60063 (from memory).
    assert list(e_series("E6")) == [1.0, 1.5, 2.2, 3.3, 4.7, 6.8]
    assert list(e_series("E12")) == [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2]


@given(value=SIZES, name=SERIES)
def test_preferred_values_enclose_the_wanted_one(value, name):
    below, above = preferred_at_or_below(value, name), preferred_at_or_above(value, name)
    # 1e-9 is the distance at which a wanted value counts as the member itself.
    assert below <= value * (1.0 + 1e-9)
    assert above >= value * (1.0 - 1e-9)
    step = 10.0 ** (1.0 / int(name[1:]))
    # The widest gap is 5 % above a nominal step (E24, 13 to 15).
    assert above / below < 1.1 * step
    assert nearest_preferred(value, name) in (below, above)


@given(value=SIZES, name=SERIES)
def test_a_preferred_value_is_its_own_neighbour(value, name):
    member = nearest_preferred(value, name)
    assert preferred_at_or_below(member, name) == preferred_at_or_above(member, name) == member
    # As it comes out of arithmetic that rounds.
    assert nearest_preferred(member / 3.0 * 3.0, name) == member


def test_preferred_values_come_as_they_are_written():
    wanted = np.array([4699.0, 4.71e-6, 0.099, 14.0])
    assert list(nearest_preferred(wanted, "E24")) == [4700.0, 4.7e-6, 0.1, 13.0]
    assert list(preferred_at_or_below(wanted, "E24")) == [4300.0, 4.7e-6, 0.091, 13.0]
    assert list(preferred_at_or_above(wanted, "E24")) == [4700.0, 5.1e-6, 0.1, 15.0]
    assert isinstance(nearest_preferred(4699.0, "E24"), float)


def test_a_wrong_series_or_value_is_told():
    with pytest.raises(OutOfRange, match="'E25' is not a series of IEC 60063"):
        nearest_preferred(1.0, "E25")
    for value in (0.0, -1.0, np.nan, np.inf):
        with pytest.raises(OutOfRange, match="preferred values run from"):
            nearest_preferred(value, "E24")


def test_a_pulse_moves_the_cell_by_a_resistance_and_an_rc_pair():
    # Second road: the pair's voltage as the charging of a capacitor. Rounding only.
    pair = rc_voltage(0.0, 2.5 * 0.015, 10.0, 30.0)
    assert ohmic_and_rc_voltage(2.5, 0.025, 0.015, 30.0, 10.0) == pytest.approx(2.5 * 0.025 + pair, rel=1e-12)
    assert ohmic_and_rc_voltage(-2.5, 0.025, 0.015, 30.0, 0.0) == pytest.approx(-0.0625, rel=1e-12)


def test_a_rest_voltage_turns_to_its_branch_with_the_charge():
    # Second road: the model's own equation, d(place)/dq = (1 - place)/q_turn, in 20000 midpoint steps: 1e-6.
    place, q_turn, step = -1.0, 360.0, 0.05
    for _ in range(20000):
        half = place + 0.5 * step * (1.0 - place) / q_turn
        place += step * (1.0 - half) / q_turn
    assert hysteresis_after(-1.0, 1000.0, q_turn) == pytest.approx(place, abs=1e-6)
    # By hand: after q_turn, 1 - 2·exp(-1); a cell on its branch stays there.
    assert hysteresis_after(-1.0, q_turn, q_turn) == pytest.approx(0.2642411, abs=1e-7)
    assert hysteresis_after(1.0, 50.0, q_turn) == 1.0


def test_a_straight_line_cell_stepped_through_time_ends_where_the_closed_forms_say():
    # Second road: charge a cell of 3.5 V + 0.14 V/Ah, 50 mΩ, at 5 A to 4.2 V and hold to 0.25 A, in 0.1 s steps.
    # rel 1e-3: first-order steps against time constants of 1286 s.
    slope, r, step = 0.14 / 3600.0, 0.050, 0.1
    q = t = t_limit = q_limit = 0.0
    current = 5.0
    while current > 0.25:
        current = min(5.0, (4.2 - 3.5 - slope * q) / r)
        if current == 5.0:
            t_limit, q_limit = t, q
        q, t = q + current * step, t + step
    tau = taper_time_constant(r, slope)
    assert charge_at_voltage_limit(4.2, 3.5, 5.0, r, slope) == pytest.approx(q_limit, rel=1e-3)
    assert taper_time(tau, 5.0, 0.25) == pytest.approx(t - t_limit, rel=1e-3)
    assert taper_charge(tau, 5.0, 0.25) == pytest.approx(q - q_limit, rel=1e-3)


@given(temp=st.floats(233.15, 398.15), beta=st.floats(2500.0, 5000.0))
def test_the_thermistor_reads_back_the_temperature_it_had(temp, beta):
    assert thermistor_temperature(10e3, beta, thermistor_resistance(10e3, beta, temp)) == pytest.approx(temp, rel=1e-9)


def test_beta_is_the_slope_of_log_resistance_over_inverse_temperature():
    # Definition of beta, between 25 and 85 °C; the resistance at 25 °C is the rated one.
    ratio = np.log(10e3 / thermistor_resistance(10e3, 3435.0, 358.15))
    assert ratio / (1.0 / 298.15 - 1.0 / 358.15) == pytest.approx(3435.0, rel=1e-9)


def test_reversible_heat_turns_its_sign_with_the_current():
    # By hand: 2 A into the cell at 300 K with −0.2 mV/K takes up 0.12 W, out of the cell sets it free.
    assert entropic_heat(2.0, 300.0, -0.2e-3) == pytest.approx(-0.12, rel=1e-12)
    assert entropic_heat(-2.0, 300.0, -0.2e-3) == pytest.approx(0.12, rel=1e-12)

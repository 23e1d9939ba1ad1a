"""The fit of a pulse test finds what was put in, says how sure it is, and makes a cell that charges as it should."""

from pathlib import Path

import numpy as np
import pytest

from chargewright.base.errors import LogError, OutOfRange
from chargewright.parts.pack import load_cell
from chargewright.parts.pulse_fit import PulseFit, fit_pulses, pair_response, write_cell_table
from chargewright.parts.pulse_log import PulseLog, pulse_log, read_pulse_log

CAPACITY = 3.0 * 3600.0
R_0, R_1, TAU_1, R_2, TAU_2 = 0.030, 0.015, 12.0, 0.010, 240.0


def rest_voltage(soc: np.ndarray) -> np.ndarray:
    return 3.2 + 0.9 * soc


def simulated_log(*, pairs: int, noise: float, seed: int) -> PulseLog:
    """Return six windows: rest, 30 s of 3 A out, 60 s rest, 30 s of 2 A in, rest; then a move of 10 %."""
    t, i = [0.0], [0.0]

    def hold(current: float, seconds: float) -> None:
        start = t[-1]
        t.append(start)
        i.append(current)
        n = max(int(seconds), 2)
        t.extend(start + np.linspace(seconds / n, seconds, n))
        i.extend([current] * n)

    for _ in range(6):
        for current, seconds in ((0.0, 1800.0), (-3.0, 30.0), (0.0, 60.0), (2.0, 30.0), (0.0, 1200.0), (-1.0, 1080.0)):
            hold(current, seconds)
    time, current = np.array(t), np.array(i)
    moved = np.concatenate([[0.0], np.cumsum(0.5 * (current[1:] + current[:-1]) * np.diff(time))])
    v = rest_voltage(0.9 + moved / CAPACITY) + R_0 * current + R_1 * pair_response(time, current, TAU_1)
    if pairs == 2:
        v = v + R_2 * pair_response(time, current, TAU_2)
    v = v + noise * np.random.default_rng(seed).standard_normal(len(v))
    return pulse_log(time, current, v)


def fitted(pairs: int, noise: float, seed: int = 5) -> PulseFit:
    return fit_pulses(simulated_log(pairs=pairs, noise=noise, seed=seed), capacity=CAPACITY, soc_start=0.9, pairs=pairs)


def test_a_pair_answers_as_the_closed_form():
    # Second road: 1 − exp(−t/τ) under a step; and i·(t − τ·(1 − exp(−t/τ)))/h on a ramp. Exact, so rounding only.
    t = np.array([0.0, 0.0, 3.0, 10.0, 40.0])
    np.testing.assert_allclose(
        pair_response(t, np.array([0.0, 1.0, 1.0, 1.0, 1.0]), 12.0), 1.0 - np.exp(-t / 12.0), atol=1e-14
    )
    ramp = pair_response(np.array([0.0, 5.0]), np.array([0.0, 1.0]), 12.0)
    assert ramp[1] == pytest.approx((5.0 - 12.0 * (1.0 - np.exp(-5.0 / 12.0))) / 5.0, rel=1e-12)


def test_what_was_put_in_comes_out():
    # No noise: the model is exact, the search ends within 1e-5.
    fit = fitted(pairs=1, noise=0.0)
    assert len(fit.levels) == 6
    for level in fit.levels:
        (r, tau) = level.pairs[0]
        assert level.r0.value == pytest.approx(R_0, rel=1e-5)
        assert r.value == pytest.approx(R_1, rel=1e-5)
        assert tau.value == pytest.approx(TAU_1, rel=1e-5)
        assert level.slope == pytest.approx(0.9 / CAPACITY, rel=1e-4)
        # One time constant of the slowest move is long gone after the rest.
        assert level.v_rest == pytest.approx(rest_voltage(level.soc_rest), abs=1e-6)
    assert fit.held_out_rms < 1e-6


@pytest.mark.parametrize(("pairs", "noise", "seeds"), [(1, 2e-3, 3), (2, 1e-4, 1)])
def test_the_uncertainty_covers_the_truth_and_is_not_idle(pairs: int, noise: float, seeds: int):
    # By statistics: 95 % of many fits lie within two standard uncertainties; of 18 windows not more than 5 may stray
    # further (1 in 1000 for a binomial of 5 %), and the median must be near 0.67 of one. Two pairs need less noise:
    # with 2 mV a 240 s pair cannot be told from 30 s pulses, and its uncertainty is no longer that of a straight line.
    truth = [(R_1, TAU_1), (R_2, TAU_2)]
    far: list[float] = []
    for seed in range(seeds):
        for level in fitted(pairs=pairs, noise=noise, seed=seed).levels:
            far.append(abs(level.r0.value - R_0) / level.r0.u)
            far += [
                abs(f.value - true) / f.u
                for pair, given in zip(level.pairs, truth, strict=False)
                for f, true in zip(pair, given, strict=True)
            ]
    assert sum(z > 2.0 for z in far) <= 5 * len(far) / 18
    assert np.median(far) == pytest.approx(0.67, abs=0.25)


def test_residual_and_held_out_error_are_the_noise():
    # 2 mV of white noise: what is left of the fit, and of windows that it never saw, is that noise (5 %: sample size).
    fit = fitted(pairs=1, noise=2e-3)
    assert fit.residual_rms == pytest.approx(2e-3, rel=0.05)
    # The foretold voltage starts from one noisy sample, so it is up to 3 sigma off as a whole.
    assert 1.9e-3 < fit.held_out_rms < 7e-3
    assert len(fit.held_out) > 0


def test_a_fit_becomes_a_cell(tmp_path: Path):
    write_cell_table(fitted(pairs=2, noise=0.0), tmp_path / "mine.csv", like="nmc-energy", v_min=3.2, v_max=4.1)
    cell = load_cell("mine.csv", tmp_path)
    assert cell.charge_span == pytest.approx(CAPACITY)
    assert (cell.v_min, cell.v_max) == (3.2, 4.1)
    np.testing.assert_allclose(cell.r0_charge, R_0, rtol=1e-3)
    assert len(cell.pairs) == 2
    np.testing.assert_allclose(cell.pairs[1].tau, TAU_2, rtol=1e-2)


def test_a_log_is_read_with_its_sign(tmp_path: Path):
    log = simulated_log(pairs=1, noise=0.0, seed=5)
    text = "Test Time / s,Voltage / V,Current / A\n" + "\n".join(
        f"{t!r},{v!r},{-i!r}" for t, i, v in zip(log.t.tolist(), log.i.tolist(), log.v.tolist(), strict=True)
    )
    (tmp_path / "log.csv").write_text(text)
    read = read_pulse_log(tmp_path / "log.csv", positive="discharge")
    np.testing.assert_array_equal(read.i, log.i)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "has no column"),
        (
            "Test Time / s,Current / mA,Voltage / V\n",
            "has no column 'Current / A'; it has: Test Time / s, Current / mA",
        ),
        ("Test Time / s,Current / A,Voltage / V\n0,1,x\n", ":2\n    does not hold a number"),
        ("Test Time / s,Current / A,Voltage / V\n0,1\n", ":2\n    does not hold a number"),
        ("Test Time / s,Current / A,Voltage / V\n0,1,3\n", "too few"),
        ("Test Time / s,Current / A,Voltage / V\n" + "0,1,nan\n" * 12, "no number for the voltage"),
        ("Test Time / s,Current / A,Voltage / V\n" + "".join(f"{-k},1,3\n" for k in range(12)), "runs backwards"),
    ],
)
def test_a_bad_log_is_told_what_is_wrong(tmp_path: Path, text: str, says: str):
    (tmp_path / "log.csv").write_text(text)
    with pytest.raises(LogError) as told:
        read_pulse_log(tmp_path / "log.csv")
    assert says in str(told.value)


def test_a_log_that_cannot_be_fitted_is_told_why():
    log = simulated_log(pairs=1, noise=0.0, seed=5)
    with pytest.raises(LogError, match="holds no pulse of up to 1 s"):
        fit_pulses(log, capacity=CAPACITY, soc_start=0.9, pulse_longest=1.0)
    with pytest.raises(LogError, match="check capacity, soc_start and the sign"):
        fit_pulses(log, capacity=0.1 * CAPACITY, soc_start=0.9)
    with pytest.raises(OutOfRange, match="one or two RC pairs"):
        fit_pulses(log, capacity=CAPACITY, soc_start=0.9, pairs=3)
    with pytest.raises(LogError, match="give one of each a row"):
        pulse_log([0.0, 1.0], [0.0], [3.0])


def test_rest_voltages_that_do_not_rise_make_no_cell(tmp_path: Path):
    with pytest.raises(OutOfRange, match="do not rise after"):
        write_cell_table(fitted(1, 0.0), tmp_path / "mine.csv", like="lfp", v_min=3.7, v_max=4.1)

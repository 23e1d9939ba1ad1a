"""Margins of random loops against python-control (an open library, BSD): 0.1 dB and 0.1 degree, every crossing."""

import numpy as np
import pytest

from chargewright.loops.margins import frequencies, margins

control = pytest.importorskip("control", reason="python-control is not installed: `python3 go.py test` installs it")

LOOPS = 1000


def random_loops(seed: int) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return numerators and denominators in rad/s: an integrator, real poles, resonances, zeros on either side."""
    rng = np.random.default_rng(seed)
    loops = []
    while len(loops) < LOOPS:
        num, den = np.array([10.0 ** rng.uniform(3.0, 6.0)]), np.array([1.0, 0.0])
        for _ in range(rng.integers(1, 4)):
            den = np.polymul(den, [1.0 / 10.0 ** rng.uniform(2.5, 6.0), 1.0])
        for _ in range(rng.integers(0, 3)):
            side = -1.0 if rng.uniform() < 0.2 else 1.0
            num = np.polymul(num, [side / 10.0 ** rng.uniform(3.0, 6.5), 1.0])
        for _ in range(rng.integers(0, 2)):
            w, q = 10.0 ** rng.uniform(3.5, 5.5), 10.0 ** rng.uniform(-0.3, 1.0)
            den = np.polymul(den, [1.0 / w**2, 1.0 / (q * w), 1.0])
        # As many zeros as poles, or more, is no loop: its gain would never fall. Such a draw is made again.
        if len(num) < len(den):
            loops.append((num, den))
    return loops


@pytest.fixture(scope="module")
def both():
    loops = random_loops(7)
    width = max(max(len(n), len(d)) for n, d in loops)
    num = np.array([np.pad(n, (width - len(n), 0)) for n, _ in loops])[:, :, None]
    den = np.array([np.pad(d, (width - len(d), 0)) for _, d in loops])[:, :, None]

    def polynomial(c: np.ndarray, s: np.ndarray) -> np.ndarray:
        value = c[:, 0] + 0.0 * s
        for k in range(1, width):
            value = value * s + c[:, k]
        return value

    def gain(f: np.ndarray, which: object) -> np.ndarray:
        s = 2j * np.pi * f
        return polynomial(num[which], s) / polynomial(den[which], s)

    ours = margins(gain, len(loops), frequencies(1e-1, 1e8, 60))
    theirs = [control.stability_margins(control.tf(n, d), returnall=True) for n, d in loops]
    poles = [np.roots(np.polyadd(n, d)) for n, d in loops]
    return ours, theirs, poles


def test_phase_margins_agree(both):
    ours, theirs, _ = both
    compared = 0
    for k, (_, phases, _, _, at, _) in enumerate(theirs):
        inside = (at > 1.0) & (at < 5e8)
        assert np.sum(inside) == ours.crossings[k]
        nearest = int(np.argmin(np.abs(np.log(at / (2.0 * np.pi * ours.f_cross[k])))))
        # theirs is told between −180 and 180 degrees, ours unwrapped and to either side of zero phase.
        told = abs(phases[nearest])
        assert (
            abs((abs(np.degrees(ours.phase[k])) - told + 180.0) % 360.0 - 180.0) < 0.1
            or abs(abs((np.degrees(ours.phase[k]) + 180.0) % 360.0 - 180.0) - told) < 0.1
        )
        assert at[nearest] == pytest.approx(2.0 * np.pi * ours.f_cross[k], rel=1e-4)
        compared += 1
    # An integrator and more poles than zeros: the gain of every loop falls through 1, so none is without a margin.
    assert compared == LOOPS


def test_gain_margins_agree(both):
    ours, theirs, _ = both
    limited = [0, 0]
    for k, (gains, *_) in enumerate(theirs):
        up, down = gains[gains > 1.0], gains[(gains < 1.0) & (gains > 0.0)]
        if len(up):
            assert 20.0 * abs(np.log10(ours.gain[k] / np.min(up))) < 0.1
            limited[0] += 1
        else:
            assert np.isinf(ours.gain[k])
        if len(down):
            assert 20.0 * abs(np.log10(ours.gain_down[k] / np.max(down))) < 0.1
            limited[1] += 1
        else:
            assert ours.gain_down[k] == 0.0
    # The others have no limit on that side, and both say so: the phase reaches half a turn only on the other side of
    # unity gain, or never.
    assert limited == [372, 482]


def test_the_modulus_margin_agrees(both):
    # A few chords from the best sample: within 1 % of the exact minimum, or of 0.002. 1 is reached at infinity.
    ours, theirs, _ = both
    for k, (_, _, distances, *_) in enumerate(theirs):
        least = np.min(distances) if len(distances) else 1.0
        assert min(ours.modulus[k], 1.0) == pytest.approx(min(least, 1.0), rel=0.01, abs=0.002)


def test_stability_is_that_of_the_closed_loop_poles(both):
    # Second road, no formula in common: roots of numerator plus denominator.
    ours, _, poles = both
    for k, roots in enumerate(poles):
        margin = np.max(roots.real / np.abs(roots))
        if abs(margin) > 1e-6:  # nearer to the axis the roots themselves are rounding
            assert ours.stable[k] == (margin < 0.0)
    assert 0.1 < np.mean(ours.stable) < 0.95

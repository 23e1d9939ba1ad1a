"""The search for an amplifier: the highest crossover at which a loop keeps the rules at every point of its envelope."""

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import OutOfRange
from chargewright.loops.compensator import Designed, Kind, design, most_margin, with_low_zero
from chargewright.loops.loop import Loop, LoopGain, Plant, PlantSweep, inner
from chargewright.loops.margins import Margins, margins
from chargewright.loops.samples import Samples

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Bools = npt.NDArray[np.bool_]
PHASE_MARGIN = np.radians(45.0)
"""Least phase margin [rad] at any corner (common practice)."""
GAIN_MARGIN = 10.0 ** (6.0 / 20.0)
"""Least gain margin [1] at any corner: 6 dB (common practice)."""
AIM = np.radians(60.0)
"""Phase margin [rad] that an amplifier is designed for, so that tolerances leave the least one (common practice)."""
LOWER = 0.7
"""Each try over the one before [1]."""
TRIES = 14
_LEAST_AIM = np.radians(50.0)
_CLEARLY = 0.97
"""Score by samples from which a try is looked at closely [1]."""


def score(m: Margins) -> Floats:
    """Return how well each point keeps the rules [1]: 1 just does, below 0 is unstable."""
    with np.errstate(divide="ignore"):
        up = np.log(m.gain) / np.log(GAIN_MARGIN)
        down = np.where(m.gain_down > 0.0, -np.log(np.maximum(m.gain_down, 1e-300)) / np.log(GAIN_MARGIN), np.inf)
    least = np.minimum(np.minimum(m.phase / PHASE_MARGIN, up), down)
    return np.asarray(np.where(m.stable, least, -1.0))


class Try:
    """One amplifier: first judged by the samples of a sweep, then, if it seems good, by the gain itself."""

    def __init__(self, search: "Search", made: Designed, f_target: float) -> None:
        self.made, self.f_target, self._search = made, f_target, search
        self.loop = replace(search.bare, amplifier=made.built)
        if inner(self.loop):
            self.swept = np.broadcast_to(search.sweep.gain(self.loop), search.swept.shape)
            log_t = np.log(self.swept)
        else:
            amplified = made.built.gain(2j * np.pi * search.f)
            self.swept = search.swept * amplified
            log_t = search.log_swept + np.log(amplified)
        self._margins: Margins | None = None
        self.score = float(np.min(score(search.judged(Samples(search.f, self.swept, log_t=log_t)))))

    @property
    def margins(self) -> Margins:
        """Margins at every point, crossings found on the gain itself."""
        if self._margins is None:
            gain = LoopGain(self._search.plant, self.loop)
            self._margins = self._search.judged(Samples(self._search.f, self.swept, exact=gain))
        return self._margins

    @property
    def worst(self) -> int:
        """The point with the least score."""
        return int(np.argmin(score(self.margins)))

    @property
    def exact(self) -> float:
        """Least score over all points, by the gain itself."""
        return float(np.min(score(self.margins)))

    @property
    def passes(self) -> bool:
        """Whether every point keeps the rules."""
        return self.exact >= 1.0

    @property
    def good(self) -> bool:
        """The same, asked of the gain itself only where the samples promise it."""
        return self.score >= _CLEARLY and self.passes


class Search:
    """A loop without its amplifier over an envelope.

    n     : points of the plant
    f     : frequencies of the sweep [Hz]
    poles : right-half-plane poles of the plant at each point
    sweep : of the plant at `f`; several loops share it
    sound : where an inner loop is stable; elsewhere no outer one is
    """

    def __init__(
        self, bare: Loop, plant: Plant, n: int, f: Floats, poles: Any, sweep: PlantSweep, sound: Bools | bool = True
    ) -> None:
        self.bare, self.plant, self.f, self.sweep = bare, plant, f, sweep
        self._gain = LoopGain(plant, bare)
        self.swept: Complexes = np.broadcast_to(sweep.gain(bare), (n, len(f)))
        self.log_swept: Complexes = np.log(self.swept)
        self._poles, self._sound, self._n = poles, sound, n

    def judged(self, gain: Samples) -> Margins:
        """Return the margins of a loop gain of this plant."""
        found = margins(gain, self._n, self.f, unstable_poles=self._poles)
        if inner(self.bare):
            # At half the switching frequency, where the sweep ends, a sampled gain is real: no crossing shows there.
            end = gain(self.f)[:, -1].real
            most = np.where(end < 0.0, -1.0 / np.minimum(end, -1e-300), np.inf)
            found = replace(found, gain=np.minimum(found.gain, most), stable=found.stable & (end > -1.0))
        return found if self._sound is True else replace(found, stable=found.stable & self._sound)

    def best(self, f_first: float, gm: float, kind: Kind | None = None, *, alone: bool = False) -> Try:
        """Return the highest crossover that keeps the rules, from `f_first` [Hz] down; else the best of the tries.

        alone : whether only the stage holds the bus: an amplifier that is stable everywhere but has too little margin
        somewhere is then tried with a lower zero too

        Raises OutOfRange if no amplifier gives the phase at any of them.
        """
        tried, why, f_target = [], "", f_first
        for _ in range(TRIES):
            there = np.ravel(self._gain(np.array([f_target])))
            # Above its resonances a plant lags by up to three quarters of a turn: beyond a quarter's lead it is lag.
            lag = np.where(np.angle(there) > 0.5 * np.pi, np.angle(there) - 2.0 * np.pi, np.angle(there))
            most, least = float(np.max(np.abs(there))), float(np.min(lag))
            try:
                aim = min(AIM, max(most_margin(least), _LEAST_AIM))
                made = design(most, least, f_target, aim, gm=gm, kind=kind)
            except OutOfRange as error:
                why = str(error)
            else:
                tried.append(Try(self, made, f_target))
                if alone and tried[-1].score > 0.0 and not tried[-1].good:
                    tried.append(Try(self, with_low_zero(made), f_target))
                if tried[-1].good:
                    return tried[-1]
            f_target *= LOWER
        if not tried:
            raise OutOfRange(why)
        return max(tried, key=lambda one: one.score)

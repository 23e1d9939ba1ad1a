"""A loop gain known at the frequencies of a sweep: between them it is told by its own formula, or by straight lines.

A search for an amplifier tries many over the same plant: the plant is swept once, and each try costs a product.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.loops.margins import Gain

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]


class Samples:
    """A loop gain as `loops.margins` takes it, from samples.

    f     : frequencies [Hz], rising, (f,)
    t     : loop gain at them, (n, f)
    log_t : its logarithm, by any number of turns; needed without `exact`
    exact : the same gain as a function, asked between the samples; None draws straight lines of the logarithm of its
            size and of its phase over the logarithm of frequency, good to a few per cent at a dozen samples a decade
    """

    def __init__(self, f: Floats, t: Complexes, *, log_t: Complexes | None = None, exact: Gain | None = None) -> None:
        self._f, self._t, self._exact = f, t, exact
        self._log_f, self._log_t = np.log(f), np.log(t) if log_t is None and exact is None else log_t

    def __call__(self, f: Any, which: Any = slice(None)) -> Any:
        """Return the gain of the chosen points; f : the frequencies of the sweep, or one for each point, (m, 1)."""
        if f is self._f:
            return self._t[which]
        if self._exact is not None:
            return self._exact(f, which)
        assert self._log_t is not None, "made above"
        x = np.log(np.ravel(f))
        k = np.clip(np.searchsorted(self._log_f, x, side="right") - 1, 0, len(self._f) - 2)
        rows = np.arange(len(self._t))[which]
        low, high = self._log_t[rows, k], self._log_t[rows, k + 1]
        step = high - low
        turned = step.imag - 2.0 * np.pi * np.rint(step.imag / (2.0 * np.pi))
        share = (x - self._log_f[k]) / (self._log_f[k + 1] - self._log_f[k])
        return np.exp(low + share * (step.real + 1j * turned))[:, None]

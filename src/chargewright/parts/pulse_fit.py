"""R0 and RC pairs of a cell, fitted to the log of a pulse test, with their standard uncertainties.

In a window (see `parts.pulse_log`) the voltage is taken as

    v = v_rest + k·q + r0·i + Σ u,   tau·du/dt = r·i − u

with q the charge since the rest. All but the time constants enter linearly, so only those are searched for; the rest
follows by least squares (variable projection: G. Golub, V. Pereyra, SIAM J. Numer. Anal. 10 (1973) 413). Between two
samples the current is a ramp, so a pulse needs samples at both its edges.

The uncertainties are those of least squares, widened for residuals that hang together (first-order autocorrelation):
without that a model that is a little wrong would look far too sure of itself.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from chargewright.base.errors import LogError, OutOfRange
from chargewright.base.files import save_text_atomically
from chargewright.base.units import show
from chargewright.parts.cell import Array, frozen
from chargewright.parts.pulse_log import PulseLog, Window, windows

_GRID = 14
"""Time constants tried for each pair before the search."""
_STARTS = 4
"""Searches from the best of them: there are local minima."""
_BLOCK = 400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A fitted number and its standard uncertainty, in SI."""

    value: float
    u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelFit:
    """What one window says."""

    soc_rest: float
    v_rest: float
    """Voltage at the end of the rest before the pulses: taken as the rest voltage."""
    soc: float
    """Where the resistances belong: in the middle of the charge that the pulses moved."""
    r0: Fitted
    pairs: tuple[tuple[Fitted, Fitted], ...]
    """Resistance and time constant of each pair, quickest first."""
    slope: float
    """Slope of the rest voltage over charge [V/C]."""
    residual_rms: float
    """Of the fit itself [V]."""
    pulses: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PulseFit:
    """A fitted cell. Make it with `fit_pulses`."""

    levels: tuple[LevelFit, ...]
    """In order of state of charge."""
    capacity: float
    held_out_rms: float
    """Of windows left out, foretold from their neighbours [V]; nan where there are too few windows."""
    held_out: tuple[float, ...]
    """States of charge of those windows."""

    @property
    def residual_rms(self) -> float:
        """Over all windows of the fit [V]."""
        return float(np.sqrt(np.mean([level.residual_rms**2 for level in self.levels])))


def fit_pulses(
    log: PulseLog,
    *,
    capacity: float,
    soc_start: float,
    pairs: int = 1,
    pulse_longest: float = 600.0,
    rest_least: float = 300.0,
    hold_out: int = 3,
) -> PulseFit:
    """Return R0 and `pairs` RC pairs at every state of charge at which a log has pulses after a rest.

    capacity      : charge between state of charge 0 and 1 [C]
    soc_start     : state of charge at the first row
    pairs         : 1 or 2
    pulse_longest : current that flows longer moves the cell to another state of charge [s]
    rest_least    : rest after which the cell counts as at rest [s]
    hold_out      : every so many windows one is left out of a second fit and foretold by it; 0 for none
    Raises LogError, OutOfRange.
    """
    if pairs not in (1, 2):
        raise OutOfRange(f"a pulse test is fitted with one or two RC pairs (got {pairs})")
    found = windows(log, pulse_longest=pulse_longest, rest_least=rest_least)
    if not found:
        raise LogError(
            f"the log holds no pulse of up to {show(pulse_longest, 's')} after a rest of {show(rest_least, 's')}; "
            "check the sign and scale of the current, or give pulse_longest and rest_least"
        )
    soc = soc_start + _charge(log.t, log.i) / capacity
    if soc.min() < -0.05 or soc.max() > 1.1:
        low, high = show(float(soc.min()), "1"), show(float(soc.max()), "1")
        raise LogError(
            f"the charge in the log takes the cell from {show(soc_start, '1')} to between {low} and {high}; "
            "check capacity, soc_start and the sign of the current"
        )
    levels = sorted((_fit(log, soc, window, pairs) for window in found), key=lambda level: level.soc)
    order = sorted(range(len(found)), key=lambda k: soc[found[k].first])
    inner = order[1:-1]
    left_out = inner[hold_out - 2 :: hold_out] if hold_out > 1 else []
    rms = float("nan")
    if left_out:
        kept = sorted(
            (_fit(log, soc, found[k], pairs) for k in order if k not in left_out), key=lambda level: level.soc
        )
        errors = np.concatenate([_foretold_error(log, soc, found[k], kept) for k in left_out])
        rms = float(np.sqrt(np.mean(errors**2)))
    return PulseFit(
        levels=tuple(levels),
        capacity=capacity,
        held_out_rms=rms,
        held_out=tuple(float(soc[found[k].first]) for k in left_out),
    )


def pair_response(t: Array, i: Array, tau: float) -> Array:
    """Return u/r of an RC pair at rest before the first sample; exact for currents that are ramps between samples."""
    step = np.diff(t)
    x = step / tau
    decay = np.exp(-x)
    lag = np.where(x > 1e-6, 1.0 - (1.0 - decay) / np.maximum(x, 1e-12), 0.5 * x)
    added = i[:-1] * (1.0 - decay) + np.diff(i) * lag
    # u at a sample is the sum of all that was added, each decayed since: taken in blocks in which exp() stays in range.
    age = (t[1:] - t[0]) / tau
    block = (age / _BLOCK).astype(int)
    u = np.zeros(len(t))
    last, last_age = 0.0, 0.0
    for start in np.flatnonzero(np.diff(block, prepend=-1)).tolist():
        here = slice(start, int(np.searchsorted(block, block[start], side="right")))
        base = age[start]
        grown = np.exp(age[here] - base)
        u[1:][here] = (last * np.exp(last_age - base) + np.cumsum(added[here] * grown)) / grown
        last, last_age = float(u[1:][here][-1]), float(age[here][-1])
    return u


def write_cell_table(
    fit: PulseFit,
    path: Path,
    *,
    like: str,
    v_min: float,
    v_max: float,
    ocv: tuple[Array, Array] | None = None,
    title: str = "Cell of a pulse test",
) -> None:
    """Write a fit as a cell table for `pack.cell`.

    v_min, v_max : rest voltages at state of charge 0 and 1 [V]: what these states mean
    ocv          : states of charge and rest voltages of a slow curve; else those of the rests in the log
    Beyond the outermost windows resistances are held; the table says so. Raises OutOfRange.
    """
    rest = {level.soc_rest: level.v_rest for level in fit.levels}
    soc_ocv, v_ocv = ocv if ocv is not None else (np.array(list(rest)), np.array(list(rest.values())))
    inside = (soc_ocv > 1e-3) & (soc_ocv < 1.0 - 1e-3)
    grid = np.concatenate([[0.0], soc_ocv[inside], [1.0]])
    volts = np.concatenate([[v_min], v_ocv[inside], [v_max]])
    order = np.argsort(grid)
    grid, volts = grid[order], volts[order]
    if np.any(np.diff(volts) <= 0.0):
        at = show(float(grid[int(np.argmax(np.diff(volts) <= 0.0))]), "1")
        raise OutOfRange(f"the rest voltages of the pulse test do not rise after {at}; look at the log there")
    at_level = np.array([level.soc for level in fit.levels])
    columns = {"r0 [ohm]": np.interp(grid, at_level, [level.r0.value for level in fit.levels])}
    for k in range(len(fit.levels[0].pairs)):
        columns[f"r{k + 1} [ohm]"] = np.interp(grid, at_level, [level.pairs[k][0].value for level in fit.levels])
        columns[f"tau{k + 1} [s]"] = np.interp(grid, at_level, [level.pairs[k][1].value for level in fit.levels])
    span = f"{show(float(at_level.min()), '1', 3)} to {show(float(at_level.max()), '1', 3)}"
    lines = [
        f"# Fitted to a pulse test with windows from {span} of charge; resistances are held beyond these.",
        f"title: {title}",
        f"source: pulse test, {len(fit.levels)} windows, residual {show(fit.residual_rms, 'V', 3)} rms",
        f"like: {like}",
        f"capacity: {fit.capacity / 3600.0:.9g} Ah",
        f"v_min: {v_min:.9g} V",
        f"v_max: {v_max:.9g} V",
        ", ".join(["soc [1]", "ocv [V]", *columns]),
        *(", ".join(f"{x:.9g}" for x in row) for row in zip(grid, volts, *columns.values(), strict=True)),
    ]
    save_text_atomically(path, "\n".join(lines) + "\n")


def _charge(t: Array, i: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum(0.5 * (i[1:] + i[:-1]) * np.diff(t))])


def _fit(log: PulseLog, soc: Array, window: Window, pairs: int) -> LevelFit:
    from scipy.optimize import least_squares  # heavy

    t, i, v = (x[window.first : window.last + 1] for x in (log.t, log.i, log.v))
    t = t - t[0]
    q = _charge(t, i)
    shortest, longest = float(np.median(np.diff(t))) + 0.2, float(t[-1])
    tried = np.geomspace(max(shortest, 1e-3 * longest), 0.7 * longest, _GRID)
    answers = {float(tau): pair_response(t, i, tau) for tau in tried}
    starts = [(a,) for a in answers] if pairs == 1 else [(a, b) for a in answers for b in answers if b > 2.5 * a]
    misfit = {taus: _misfit(i, q, v, [answers[tau] for tau in taus])[1] for taus in starts}
    # The best start for each quickest time constant, so that the searches set out from different valleys.
    per_first = [min((taus for taus in starts if taus[0] == a), key=misfit.__getitem__) for a in {s[0] for s in starts}]
    bounds = (np.log(0.3 * shortest), np.log(1.5 * longest))

    def residual(log_tau: Array) -> Array:
        return _misfit(i, q, v, [pair_response(t, i, tau) for tau in np.exp(log_tau)])[2]

    ends = [
        least_squares(
            residual, np.clip(np.log(taus), bounds[0] + 1e-6, bounds[1] - 1e-6), bounds=bounds, xtol=1e-10, ftol=1e-12,
            gtol=None,
        )
        for taus in sorted(per_first, key=misfit.__getitem__)[: _STARTS if pairs > 1 else 1]
    ]  # fmt: skip
    log_tau = np.sort(min(ends, key=lambda end: float(end.cost)).x)
    taus = np.exp(log_tau)
    responses = [pair_response(t, i, tau) for tau in taus]
    linear, _, left = _misfit(i, q, v, responses)
    # Jacobian of the whole model: the linear part, then the logarithms of the time constants.
    bent = [
        linear[3 + k] * (pair_response(t, i, tau * 1.001) - pair_response(t, i, tau / 1.001)) / (2.0 * np.log(1.001))
        for k, tau in enumerate(taus)
    ]
    jacobian = np.column_stack([_design(i, q, responses), *bent])
    u = _uncertainties(jacobian, left)
    n = len(taus)
    moved = np.concatenate([soc[a : b + 1] for a, b in window.pulses])
    return LevelFit(
        soc_rest=float(soc[window.first]),
        v_rest=float(log.v[window.first]),
        soc=float(0.5 * (moved.min() + moved.max())),
        r0=Fitted(value=float(linear[2]), u=float(u[2])),
        pairs=tuple(
            (
                Fitted(value=float(linear[3 + k]), u=float(u[3 + k])),
                Fitted(value=float(taus[k]), u=float(taus[k] * u[3 + n + k])),
            )
            for k in range(n)
        ),
        slope=float(linear[1]),
        residual_rms=float(np.sqrt(np.mean(left**2))),
        pulses=len(window.pulses),
    )


def _design(i: Array, q: Array, responses: list[Array]) -> Array:
    return np.column_stack([np.ones(len(i)), q, i, *responses])


def _misfit(i: Array, q: Array, v: Array, responses: list[Array]) -> tuple[Array, float, Array]:
    """Return the linear parameters (rest voltage, slope, R0, resistances), sum of squares, residuals."""
    a = _design(i, q, responses)
    # Columns of one size, so that coulombs and volts weigh alike; a column of zeros stays one.
    scale = np.maximum(np.abs(a).max(axis=0), 1e-300)
    found = np.linalg.lstsq(a / scale, v, rcond=1e-12)[0] / scale
    if np.any(found[2:] <= 0.0):
        from scipy.optimize import lsq_linear  # heavy

        low = np.concatenate([[-np.inf, -np.inf], np.full(a.shape[1] - 2, 1e-9)])
        found = lsq_linear(a / scale, v, bounds=(low, np.full(a.shape[1], np.inf))).x / scale
    left = v - a @ found
    return found, float(left @ left), left


def _uncertainties(jacobian: Array, left: Array) -> Array:
    n, p = jacobian.shape
    scale = np.maximum(np.abs(jacobian).max(axis=0), 1e-300)
    inverse = np.linalg.pinv((jacobian / scale).T @ (jacobian / scale))
    centred = left - left.mean()
    power = float(centred @ centred)
    together = float(np.clip((centred[1:] @ centred[:-1]) / power, 0.0, 0.99)) if power > 0.0 else 0.0
    variance = float(left @ left) / max(n - p, 1) * (1.0 + together) / (1.0 - together)
    return frozen(np.sqrt(np.diag(inverse) * variance) / scale)


def _foretold_error(log: PulseLog, soc: Array, window: Window, kept: list[LevelFit]) -> Array:
    """Return the error of the voltage change over a window, with resistances from its neighbours."""
    t, i, v = (x[window.first : window.last + 1] for x in (log.t, log.i, log.v))
    moved = np.concatenate([soc[a : b + 1] for a, b in window.pulses])
    here, at = 0.5 * (moved.min() + moved.max()), [level.soc for level in kept]
    q = _charge(t, i)

    def between(values: list[float]) -> float:
        return float(np.interp(here, at, values))

    told = v[0] + between([level.slope for level in kept]) * q + between([level.r0.value for level in kept]) * i
    for k in range(len(kept[0].pairs)):
        tau = between([level.pairs[k][1].value for level in kept])
        told = told + between([level.pairs[k][0].value for level in kept]) * pair_response(t, i, tau)
    return frozen(v - told)

"""Energy balance and coil ripple of an averaged run.

Powers are those of the mean states in each part of the period: the share that ripple has in a loss is not in them.
"""

from dataclasses import dataclass

import numpy as np

from chargewright.base.errors import OutOfRange
from chargewright.circuit._assembly import Floats, inductance
from chargewright.circuit.averaged import AveragedRun, AveragedSamples, averaged_samples, states_at
from chargewright.circuit.elements import Capacitor, Coil, Element, i_of, v_of
from chargewright.circuit.measures import Energies, balance, energy_in

POINTS, WEIGHTS = (a.copy() for a in np.polynomial.legendre.leggauss(5))


@dataclass(frozen=True, slots=True, kw_only=True)
class Ripple:
    """The coil's current over the period that an instant is the middle of [A]."""

    t: Floats
    mean: Floats
    least: Floats
    greatest: Floats

    @property
    def peak_to_peak(self) -> Floats:
        """Greatest less least [A]."""
        return self.greatest - self.least


def averaged_energies(run: AveragedRun, begin: float | None = None, end: float | None = None) -> Energies:
    """Return where the energy went between two instants [s], by element, as mean power; all of the run by default.

    The losses are those of mean currents in each part of the period, without what ripple adds. What a coil that stops
    in each period takes up counts as the parts of the period say, not by its mean current alone. Raises OutOfRange
    where pulses were left out: the coil's energy at the ends of each burst is lost to means, some hundredths of all.
    """
    first = float(run.t[0]) if begin is None else begin
    last = run.t_end if end is None else end
    if not run.t[0] <= first < last <= run.t_end:
        raise OutOfRange(f"{first} s to {last} s is not within the run, which has {run.t[0]} s to {run.t_end} s")
    within = (np.append(run.t[1:], run.t_end) > first) & (run.t < last)
    book = run.frames.book()
    if np.any(book.held[book.number[run.tape.key[within]] - 1]):
        raise OutOfRange(
            f"between {first} s and {last} s the modulator left pulses out: bursts begin and end within a period, and"
            " their energy needs the switched circuit"
        )
    inside = run.t[(run.t > first) & (run.t < last)]
    edges = np.concatenate([[first], inside, [last]])
    half = 0.5 * np.diff(edges)
    weight = (half[:, None] * WEIGHTS).ravel()
    points = averaged_samples(run, (edges[:-1, None] + half[:, None] * (1.0 + POINTS)).ravel())
    ends = states_at(run, np.array([first, last]))
    states = run.frames.layout.states
    coil = run.frames.coil

    def power(e: Element) -> float:
        return float(weight @ points.product(v_of(e.name), i_of(e.name))) / (last - first)

    def taken(e: Coil | Capacitor) -> float:
        place = states[e.name]
        found = energy_in(e, float(ends[1, place])) - energy_in(e, float(ends[0, place]))
        if e is coil:
            # What the parts of the period say beyond the mean current: ripple's energy while it changes.
            v, i = v_of(e.name), i_of(e.name)
            found += float(weight @ (points.product(v, i) - points.of(v) * points.x[:, place]))
        return found / (last - first)

    return balance(run.circuit, power, taken)


def ripple_of(run: AveragedRun, t: Floats, coil: str | None = None) -> Ripple:
    """Return mean, least and greatest current of the stage's coil in the periods around instants [s].

    From the shares of the period and the coil's slope in each, with the inductance of the mean current: a coil that
    bends within its ripple swings further. Only the coil that the driven switches feed has a ripple here.
    """
    stage = run.frames.coil
    if stage is None or coil not in (None, stage.name):
        known = f"that is {stage.name}" if stage else "this circuit has none, or more than one"
        raise OutOfRange(f"ripple is known of the coil that the driven switches feed; {known}")
    at = averaged_samples(run, np.atleast_1d(np.asarray(t, dtype=float)))
    size = np.array([inductance(run.frames.layout, int(k), stage) for k in run.tape.key[at.step]])
    return _swing(run, at, stage, size)


def _swing(run: AveragedRun, at: AveragedSamples, coil: Coil, size: Floats) -> Ripple:
    mean = at.x[:, run.frames.layout.states[coil.name]]
    stopped = (at.share > 0.0) & (at.current == 0.0)
    slope = np.where(stopped, 0.0, at.in_parts(v_of(coil.name)) / size[:, None])
    rise = slope * at.share * run.circuit.period
    ends = np.cumsum(rise, axis=1)
    begins = ends - rise
    start = mean - np.sum(at.share * 0.5 * (begins + ends), axis=1)
    low, high = np.minimum(begins, ends).min(axis=1), np.maximum(begins, ends).max(axis=1)
    return Ripple(t=at.t, mean=mean, least=start + low, greatest=start + high)

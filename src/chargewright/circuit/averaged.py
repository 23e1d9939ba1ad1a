"""The averaged circuit in time: the same record as the switched one, without its ripple, for milliseconds to seconds.

State-space averaging (R. D. Middlebrook, S. Ćuk, "A general unified approach to modelling switching-converter power
stages", IEEE Power Electronics Specialists Conference 1976; R. W. Erickson, D. Maksimović, Fundamentals of Power
Electronics, ch. 7; both from memory): the exact matrices of the switched circuit's modes, weighted by their shares of
the period. Discontinuous conduction and dead times: see `_averaged_shares`.

What it does not know: ripple, and all that follows from it (rms losses of ripple, a comparator that sees ripple, limit
cycles at parts of the switching frequency). Good up to about a tenth of the switching frequency. These need the
switched circuit: a filter that rings near the switching frequency, capacitors that empty within one period, a coil
whose current stops in more than one stretch of a period (one leg of four switches on diodes while the other switches).
Trips and skipped pulses go by mean values: a trip on what has ripple comes later, by the time in which the mean rises
by half of the ripple, and where pulses are left out the source's mean current is off by some hundredths.
"""

import sys
from dataclasses import dataclass, field

import numpy as np

from chargewright.base.compiled import compiled_bare, is_kept, numba_module
from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.circuit import _averaged_book as places
from chargewright.circuit import _averaged_kernel as kernel
from chargewright.circuit import _clock_kernel as clock
from chargewright.circuit._assembly import Floats
from chargewright.circuit._averaged_book import SAMPLES, Breaks, Tape, desk_for, parts_for
from chargewright.circuit._averaged_layout import Frames, frames_of
from chargewright.circuit._averaged_shares import duty_of, shares
from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import Lowest, Quantity
from chargewright.circuit.run import Engine, Moment, engine_of

TOLERANCE = 2e-6
"""Error of a step over the largest value that the state has had, where nothing else is asked for."""
CHUNK = 4_000
"""Steps that one call of the loop may write."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AveragedRun:
    """What happened: where each step began, in which frame, with which mean state."""

    circuit: Circuit
    frames: Frames
    t: Floats
    """Instant at which each step begins [s]."""
    tape: Tape
    end: Moment
    t_end: float

    def selected(self, name: str) -> list[tuple[float, str]]:
        """Return from which instant [s] on which input of a lowest-wins selection is in force.

        The inputs go by their node, or, where the selection stands at a limit, as `low limit` or `high limit`.
        """
        e = self.circuit.element(name)
        if not isinstance(e, Lowest):
            raise OutOfRange(f"{name} is no lowest-wins selection")
        ways, layout = len(e.inputs), self.frames.layout
        found: list[tuple[float, str]] = []
        for t, key in zip(self.t, self.tape.key, strict=True):
            digit = layout.digit(int(key), e)
            word = e.inputs[digit] if digit < ways else "low limit" if digit < 2 * ways else "high limit"
            if not found or found[-1][1] != word:
                found.append((float(t), word))
        return found

    def duty(self, t: Floats, leg: int = 0) -> Floats:
        """Return the modulator's pulse over the period, its dead time included, at instants [s]."""
        if self.circuit.modulator is None:
            raise OutOfRange("the circuit has no modulator; its gates tell its duty")
        book, at = self.frames.book(), averaged_samples(self, t)
        frame = book.number[self.tape.key[at.step]] - 1
        raw = [0.0 if book.held[f] else duty_of(book, f, x @ book.u[f], leg)
               for f, x in zip(frame, at.x, strict=True)]  # fmt: skip
        return np.asarray(np.clip(np.array(raw), 0.0, 1.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class AveragedSamples:
    """Mean states at instants, and what they are made of: the modes of one period with their shares."""

    run: AveragedRun
    t: Floats
    step: np.ndarray
    x: Floats
    mode: np.ndarray
    """Modes of each instant's period (k, parts); their shares and the coil's current in each stand beside."""
    share: Floats
    current: Floats
    _met: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = field(default_factory=list, repr=False)
    """The modes that are met, and which of them each part is."""

    def of(self, quantity: Quantity) -> Floats:
        """Return a quantity at every instant, as its mean over the period."""
        return np.asarray(np.sum(self.share * self.in_parts(quantity), axis=1))

    def product(self, p: Quantity, q: Quantity) -> Floats:
        """Return a product such as a power at every instant, as its mean over the period without ripple."""
        return np.asarray(np.sum(self.share * self.in_parts(p) * self.in_parts(q), axis=1))

    def in_parts(self, quantity: Quantity) -> Floats:
        """Return a quantity in each part of the period (k, parts)."""
        frames = self.run.frames
        if not self._met:
            known = np.flatnonzero(np.bincount(self.mode.ravel()))
            self._met.append((known, np.searchsorted(known, self.mode), np.arange(len(self.t))[:, None]))
        known, number, here = self._met[0]
        rows = np.array([frames.modes[int(m)].row(quantity) for m in known])
        place = frames.book().coil
        by_mode = self.x @ rows.T
        swing = self.current - self.x[:, place, None]
        return np.asarray(by_mode[here, number] + swing * rows[number, place])


def run_averaged(
    circuit: Circuit,
    *,
    t_end: float,
    start: Moment | None = None,
    compiled: bool | None = None,
    frames: Frames | None = None,
    tolerance: float = TOLERANCE,
) -> AveragedRun:
    """Run the averaged circuit until the instant `t_end` [s], from its start or from a moment of either kind of run.

    compiled : whether the loop is compiled; None where that is at hand already
    frames : those of an earlier run of a circuit that differs in where coils and capacitors start, and in nothing else
    tolerance : error of a step over the largest value that a state has had
    Raises OutOfRange for a circuit or an end without meaning, NoSolution where it runs away or has no single state.
    """
    engine = engine_of(circuit, compiled=False)
    frames = frames_of(engine.layout) if frames is None else frames
    moment = engine.beginning() if start is None else start
    begin = float(moment.ints[clock.CYCLE] * circuit.period + moment.floats[clock.TAU])
    if not begin < t_end < np.inf:
        raise OutOfRange(f"a run ends after it begins: {t_end} s was asked for, and it begins at {begin} s")
    key = frames.slow(int(moment.ints[clock.KEY]))
    fast = _at_hand() if compiled is None else compiled
    return _advance(engine, frames, moment.x.copy(), key, int(moment.ints[clock.BREAK]), begin, t_end, fast,
                    tolerance)  # fmt: skip


def _at_hand() -> bool:
    """Return whether the compiled loop costs nothing to fetch; the plain form takes some tenths of a second a run."""
    return "numba" in sys.modules and is_kept(kernel.advance)


def _advance(
    engine: Engine,
    frames: Frames,
    x: Floats,
    key: int,
    break_at: int,
    begin: float,
    t_end: float,
    fast: bool,
    tolerance: float,
) -> AveragedRun:
    circuit, drive = engine.circuit, engine.drive
    if "ramp" in engine.layout.states:
        x[engine.layout.states["ramp"]] = 0.0
    breaks = Breaks(drive.break_t, drive.break_place, drive.break_value, drive.break_slope)
    loop = compiled_bare(kernel.advance) if fast and numba_module() is not None else kernel.advance
    ints, floats = np.zeros(places.WRITTEN + 1, np.int64), np.zeros(places.ERROR + 1)
    ints[places.KEY], ints[places.BREAK] = key, break_at
    floats[places.TIME], floats[places.STEP], floats[places.ERROR] = begin, 0.01 * circuit.period, tolerance
    most = np.maximum(np.abs(x), kernel.FLOOR)
    tape = _tape(len(x), len(parts_for(len(frames.patterns)).share))
    pieces: list[list[np.ndarray]] = []
    if key not in frames.keys:
        frames.add(key, x)
    while True:
        ints[places.WRITTEN] = 0
        book = frames.book()
        why = loop(book, breaks, x, most, ints, floats, t_end, tape, desk_for(book, len(frames.patterns)))
        pieces.append([a[: ints[places.WRITTEN]].copy() for a in tape])
        if why == kernel.DONE:
            break
        if why == kernel.NEED_FRAME:
            frames.add(int(ints[places.KEY]), x)
        elif why != kernel.FULL:
            raise _trouble(why, frames, ints, floats)
    whole = Tape(*(np.concatenate([p[j] for p in pieces]) for j in range(len(tape))))
    return AveragedRun(circuit=frames.layout.circuit, frames=frames, t=whole.t, tape=whole, t_end=t_end,
                       end=moment_at(circuit, x, ints, t_end))  # fmt: skip


def averaged_samples(run: AveragedRun, t: Floats) -> AveragedSamples:
    """Return the mean state at instants of the run [s], rising or not; instants outside it take its ends."""
    t = np.asarray(t, dtype=float)
    return _resolved(run, t, step_at(run, t), states_at(run, t))


def averaged_steps(run: AveragedRun) -> AveragedSamples:
    """Return the mean state at the samples that every step has kept: much sooner had than any other instants."""
    tape, count = run.tape, SAMPLES
    t = (run.t[:, None] + tape.h[:, None] * (np.arange(count) / count)).ravel()
    inside = t < np.repeat(np.append(run.t[1:], run.t_end), count)
    inside[::count] = True

    def kept(of: np.ndarray) -> np.ndarray:
        return of.reshape(len(inside), -1)[inside]

    t = t[inside]
    return AveragedSamples(run=run, t=t, step=np.repeat(np.arange(len(run.t)), count)[inside], x=states_at(run, t),
                           mode=kept(tape.mode), share=kept(tape.share), current=kept(tape.current))  # fmt: skip


def step_at(run: AveragedRun, t: Floats) -> np.ndarray:
    """Return the number of the step that each instant is in."""
    return np.clip(np.searchsorted(run.t, t, side="right") - 1, 0, len(run.t) - 1)


def states_at(run: AveragedRun, t: Floats) -> Floats:
    """Return the mean states (k, n) at instants [s]."""
    step, tape = step_at(run, t), run.tape
    ends = np.append(run.t[1:], run.t_end)
    share = (np.clip(t, run.t[step], ends[step]) - run.t[step]) / tape.h[step]
    s, left = share[:, None], 1.0 - share[:, None]
    return np.asarray(left * tape.x[step] + s * (tape.end[step] + left * (tape.bow[step] + s * tape.twist[step])))


def _resolved(run: AveragedRun, t: Floats, step: np.ndarray, x: Floats) -> AveragedSamples:
    book = run.frames.book()
    parts = parts_for(len(run.frames.patterns))
    room = len(parts.share)
    mode, share, current = np.zeros((len(t), room), np.int64), np.zeros((len(t), room)), np.zeros((len(t), room))
    frame = book.number[run.tape.key[step]] - 1
    for k, f in enumerate(frame):
        count = shares(book, f, x[k] @ book.u[f], parts)
        mode[k, :count], share[k, :count] = parts.mode[:count], parts.share[:count]
        current[k, :count] = parts.current[:count]
    return AveragedSamples(run=run, t=t, step=step, x=x, mode=mode, share=share, current=current)


def _tape(n: int, parts: int) -> Tape:
    t, h = np.zeros((2, CHUNK))
    kept = (CHUNK, SAMPLES, parts)
    x, end, bow, twist = np.zeros((4, CHUNK, n))
    mode, share, current = np.zeros(kept, np.int64), np.zeros(kept), np.zeros(kept)
    return Tape(t, h, np.zeros(CHUNK, np.int64), x, end, bow, twist, mode, share, current)


def moment_at(circuit: Circuit, x: Floats, ints: np.ndarray, t: float) -> Moment:
    """Return a moment to run on from: a mean state, the loop's whole numbers, an instant [s]."""
    found = np.zeros(clock.PENDING + clock.LEGS, np.int64)
    floats = np.zeros(clock.PENDING_TAU + clock.LEGS)
    cycle = int(np.floor(t / circuit.period * (1.0 + 1e-12)))
    found[clock.CYCLE], floats[clock.TAU] = cycle, max(t - cycle * circuit.period, 0.0)
    found[clock.KEY], found[clock.BREAK] = ints[places.KEY], ints[places.BREAK]
    found[clock.PENDING :] = -1
    return Moment(x=x.copy(), ints=found, floats=floats)


def _trouble(why: int, frames: Frames, ints: np.ndarray, floats: Floats) -> NoSolution:
    t = floats[places.TIME]
    number = frames.book().number[ints[places.KEY]] - 1
    names = sorted({w.what for w in frames.watch[number]}) if number >= 0 else []
    if why == kernel.BROKEN:
        return NoSolution(f"at {t:.6e} s a current or voltage grew without bound; look for an unstable loop or load")
    if why == kernel.STUCK:
        return NoSolution(
            f"at {t:.6e} s the averaged circuit would need steps without end: something in it turns faster than can be"
            f" followed; among {', '.join(names) or 'its states'}. Look for a loop or a load that is unstable, or for a"
            " coil whose current stops in more than one stretch of a period: that needs the switched circuit."
        )
    return NoSolution(
        f"at {t:.6e} s the averaged circuit chatters: no frame of it holds; among {', '.join(names) or 'its gates'}."
        " Look for a comparator without hysteresis or a limit at a limit."
    )

"""Frequency response measured on the switched circuit: a small sine put in, its answer correlated over whole periods.

The sine is the exact one of a coil and a capacitor without loss. It has a whole number of cycles in a whole number of
switching periods, so that everything repeats; the repeating state is found by Newton, and what correlates with the sine
is integrated from the exact flow between the events. Nothing is averaged, sampled or assumed of the modulator.
"""

import math
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.circuit._assembly import Floats
from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import (
    GROUND,
    Amplifier,
    Capacitor,
    Coil,
    Drain,
    Element,
    Follower,
    Quantity,
    Source,
    Wave,
    v_node,
)
from chargewright.circuit.measures import window
from chargewright.circuit.run import Engine, Moment, Run, engine_of
from chargewright.circuit.steady import steady_state

CONTROL = "control"
SINE = "injection"
"""Node of the sine, and of the control voltage with the sine on it."""
MOST_PERIODS = 400
"""Switching periods in which the sine repeats, at most."""
MOST_STEPS = 12
CLOSED = 1e-9
"""How far the end of the repeating stretch may be from its start, in A and V over 1 + their size."""
NUDGE = 1e-6
C_SINE = 1e-6
"""Capacitance of the oscillator [F]; only its product with the inductance counts, nothing loads it."""

Complexes = npt.NDArray[np.complex128]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Answers to a sine at each frequency."""

    f: Floats
    """Frequencies measured at [Hz]: the nearest to those asked for that repeat."""
    of: tuple[Quantity, ...]
    gain: Complexes
    """Each quantity per unit of what was injected into, (quantities, frequencies)."""


def response(
    circuit: Circuit,
    *,
    at: npt.ArrayLike,
    of: tuple[Quantity, ...],
    into: str = CONTROL,
    size: float = 1e-4,
    compiled: bool | None = None,
) -> Measured:
    """Return how quantities of a circuit answer to a small sine, at its periodic steady state.

    at   : frequencies [Hz], below the switching frequency and above it over `MOST_PERIODS`
    of   : what is measured
    into : "control", where the control voltage meets the modulator; or the name of a source or drain
    size : of the sine [V, or A into a drain]; results are those of the linear circuit up to its square

    Into the control, answers are per volt of what the modulator then sees, its loops' own part included: a loop that is
    closed does not change the answer of the stage, and minus the answer of the control voltage is the loop gain (see
    `loop_gain`). Into a source or drain they are per volt or ampere of the sine, with the loops at work.

    Raises OutOfRange for a frequency or a place that cannot be had, NoSolution where no period closes.
    """
    steady = steady_state(circuit, compiled=compiled)
    found, asked = [], np.atleast_1d(np.asarray(at, dtype=float))
    ratios = [_ratio(float(f), circuit.period) for f in asked]
    for ratio in ratios:
        stirred = _with_sine(circuit, into, float(ratio) / circuit.period, size)
        run = _repeating(engine_of(stirred, compiled=compiled), steady, ratio)
        seen = v_node(f"{SINE}_{CONTROL}" if into == CONTROL else SINE)
        drive, *answers = _phasors(run, (seen, *of), float(ratio) / circuit.period)
        found.append([a / drive for a in answers])
    f = np.array([float(r) / circuit.period for r in ratios])
    return Measured(f=f, of=of, gain=np.array(found, dtype=complex).reshape(len(f), len(of)).T)


def loop_gain(circuit: Circuit, *, at: npt.ArrayLike, size: float = 1e-4, compiled: bool | None = None) -> Measured:
    """Return the loop gain of a closed loop, broken where the control voltage meets the modulator.

    at : frequencies [Hz]; size : of the sine [V]

    Source: R. D. Middlebrook, Measurement of loop gain in feedback systems, International Journal of Electronics 38(4),
    1975 (from memory): the loop stays closed, the gain is minus what comes back over what goes in. Nothing loads the
    control voltage, so that one injection is enough.
    """
    if circuit.modulator is None:
        raise OutOfRange("the circuit has no modulator, so it has no loop")
    came_back = response(circuit, at=at, of=(v_node(circuit.modulator.control),), size=size, compiled=compiled)
    return replace(came_back, gain=-came_back.gain)


def _ratio(f: float, period: float) -> Fraction:
    """Return the frequency as a share of the switching frequency with a small denominator."""
    share = f * period
    if not 1.0 / MOST_PERIODS <= share < 1.0:
        raise OutOfRange(
            f"{f:.4g} Hz cannot be measured: between {1.0 / (MOST_PERIODS * period):.4g} Hz and the switching"
            f" frequency of {1.0 / period:.4g} Hz a sine repeats within {MOST_PERIODS} periods"
        )
    # A quarter of a per cent is near enough, and few periods to a repetition are quick.
    found = Fraction(share).limit_denominator(MOST_PERIODS)
    for most in (8, 16, 32, 64, 128):
        tried = Fraction(share).limit_denominator(most)
        if tried > 0 and abs(float(tried) / share - 1.0) < 2.5e-3:
            found = tried
            break
    return found if found < 1 else Fraction(MOST_PERIODS - 1, MOST_PERIODS)


def _with_sine(circuit: Circuit, into: str, f: float, size: float) -> Circuit:
    """Return the circuit with an oscillator, and its sine added where it is to be."""
    sine: tuple[Element, ...] = (
        Capacitor(name=f"c_{SINE}", a=SINE, b=GROUND, c=C_SINE, start=size),
        Coil(name=f"l_{SINE}", a=SINE, b=GROUND, l=1.0 / ((2.0 * math.pi * f) ** 2 * C_SINE)),
    )
    names = frozenset(e.name for e in sine)
    if into == CONTROL:
        m = circuit.modulator
        if m is None:
            raise OutOfRange("the circuit has no modulator, so nothing can be injected into its control voltage")
        node = f"{SINE}_{CONTROL}"
        total = Follower(name=node, a=node, terms=((1.0, v_node(m.control)), (1.0, v_node(SINE))))
        return replace(
            circuit,
            elements=(*circuit.elements, *sine, total),
            modulator=replace(m, control=node),
            signals=circuit.signals | names | {node},
        )
    place = circuit.element(into)
    if not isinstance(place, Source | Drain):
        raise OutOfRange(f"{into} is neither a source nor a drain: inject into one of these, or into the control")
    level = place.v if isinstance(place, Source) else place.i
    if isinstance(level, Wave):
        raise OutOfRange(f"{into} changes in time, so that nothing repeats: give it a constant value")
    stirred: Element
    if isinstance(place, Source):
        stirred = Follower(name=into, a=place.a, b=place.b, terms=((1.0, v_node(SINE)),), offset=level)
    else:
        stirred = Amplifier(name=into, a=place.b, b=place.a, gm=1.0, reference=level, terms=((-1.0, v_node(SINE)),))
    elements = tuple(stirred if e.name == into else e for e in circuit.elements)
    return replace(circuit, elements=(*elements, *sine), signals=circuit.signals | names)


def _repeating(engine: Engine, steady: Run, ratio: Fraction) -> Run:
    """Return the stretch of whole periods that ends where it began, with the sine at work."""
    periods = ratio.denominator
    moment = _begun(engine, steady)
    places = [p for name, p in steady.tables.layout.states.items() if _moves(steady.circuit, name)]
    names = {p: name for name, p in steady.tables.layout.states.items()}
    free = [engine.layout.states[names[p]] for p in places]
    # The map over a period without the sine gives the slope of that over all of them; Newton needs no better one.
    over_all = np.linalg.matrix_power(_slope(engine, moment, free), periods)
    best = np.inf
    for _ in range(MOST_STEPS):
        run = engine.advance(moment, periods)
        gap = run.end.x[free] - moment.x[free]
        wrong = float(np.max(np.abs(gap) / (1.0 + np.abs(moment.x[free])))) if free else 0.0
        if wrong < CLOSED:
            return run
        best = min(best, wrong)
        step, *_ = np.linalg.lstsq(np.eye(len(free)) - over_all, gap, rcond=1e-12)
        moment.x[free] += step
    raise NoSolution(
        f"with a sine of {float(ratio) / engine.circuit.period:.4g} Hz nothing repeats within {periods} periods: the"
        f" nearest misses by {best:.1e} of its size. Take a smaller sine, or look for a limit cycle."
    )


def _moves(circuit: Circuit, name: str) -> bool:
    """Return whether a state is free to repeat: a pack's own charge is held, as in the steady state."""
    kinds = [e for e in circuit.elements if e.name == name]
    return any(isinstance(e, Coil) or (isinstance(e, Capacitor) and not e.cell) for e in kinds)


def _begun(engine: Engine, steady: Run) -> Moment:
    """Return the steady state as the injected circuit's moment: states by name, the oscillator at its start."""
    moment = engine.beginning()
    for name, place in steady.tables.layout.states.items():
        moment.x[engine.layout.states[name]] = steady.end.x[place]
    ints = steady.end.ints.copy()
    ints[0] = 0
    return Moment(x=moment.x, ints=ints, floats=steady.end.floats.copy())


def _slope(engine: Engine, moment: Moment, free: list[int]) -> Floats:
    still = moment.x.copy()
    for name in (f"c_{SINE}", f"l_{SINE}"):
        still[engine.layout.states[name]] = 0.0

    def after(x: Floats) -> Floats:
        return engine.advance(Moment(x=x, ints=moment.ints, floats=moment.floats), 1).end.x[free]

    base = after(still)
    columns = []
    for place in free:
        nudge = NUDGE * (1.0 + abs(float(still[place])))
        moved = still.copy()
        moved[place] += nudge
        columns.append((after(moved) - base) / nudge)
    return np.array(columns).T.reshape(len(free), len(free))


def _phasors(run: Run, of: tuple[Quantity, ...], f: float) -> list[complex]:
    """Return the mean of each quantity times exp(−j·ω·t) over the run."""
    w = window(run)
    t = run.t[w.segment] + w.after
    turning = w.weight * np.exp(-2j * np.pi * f * t) / w.duration
    return [complex(turning @ w.of(q)) for q in of]

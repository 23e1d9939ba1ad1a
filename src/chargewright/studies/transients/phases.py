"""Phases one after the other: what a controller opens, closes or starts, each from where the one before it ended.

Coils and capacitors, those of the amplifiers too, go over by name. One function runs a circuit, so that the engine can
be chosen: the switched circuit, every edge exact, or the averaged one.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from math import ceil

import numpy as np
import numpy.typing as npt

from chargewright.base.compiled import is_kept, numba_module
from chargewright.circuit._averaged_kernel import advance
from chargewright.circuit._averaged_layout import Frames
from chargewright.circuit._layout import Layout, level_of
from chargewright.circuit.averaged import averaged_steps, run_averaged, states_at
from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import (
    Amplifier,
    Capacitor,
    Coil,
    Element,
    Quantity,
    Source,
    Wave,
    i_of,
    v_node,
    v_of,
)
from chargewright.circuit.flow import evenly
from chargewright.circuit.run import engine_of
from chargewright.studies.transients.product import bus_node, pack_node
from chargewright.studies.transients.record import Engine, Floats, Waves

Whole = npt.NDArray[np.int64]
_TOLERANCE = 1e-4
"""Error of a step of the averaged circuit over the largest value of a state: what is judged moves by less
than a thousandth."""
_POINTS = 5
"""Points on each stretch between two events: mean and extremes of a period come from these."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trigger:
    """What ends a phase early: a recorded quantity that passes a level, and the time that is then still taken."""

    of: str
    level: float
    rising: bool
    delay: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Phase:
    """One stretch with one circuit. Values in time count from the event."""

    words: str
    """What is done at its beginning; "" where nothing is worth a word."""
    circuit: Circuit
    duration: float
    upto: float | None = None
    """Instant after the event at which it ends instead [s], however long the phases before it took."""
    until: Trigger | None = None
    preset: Mapping[str, float] = field(default_factory=dict)
    """Coils and capacitors that start otherwise than the phase before left them."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Played:
    """One phase as it ran."""

    waves: Waves
    state: Callable[[int], dict[str, float]]
    """Coils and capacitors after so many periods."""
    frames: Frames | None = None
    """What an averaged circuit was found to be made of."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Story:
    """All phases of a script as they ran: waveforms with the event at 0, and when each phase began."""

    waves: Waves
    begins: tuple[float, ...]
    words: tuple[str, ...]


def tell(phases: tuple[Phase, ...], loops: tuple[str, ...], engine: Engine, *, shown: float = 50e-6) -> Story:
    """Run phases; the event is the beginning of the second, and `shown` [s] before it are kept."""
    state: dict[str, float] = {}
    pieces: list[Waves] = []
    begins: list[float] = []
    known: dict[int, Frames] = {}
    now = -_length(phases[0].circuit, phases[0].duration) * phases[0].circuit.period
    for phase in phases:
        # What one phase presets holds for what only a later one has again, such as the cable of a source that comes.
        state |= phase.preset
        circuit = _started(phase.circuit, state, now)
        cycles = _length(circuit, phase.duration if phase.upto is None else phase.upto - now)
        played = play(circuit, cycles, loops, engine, known.get(id(phase.circuit)))
        if played.frames is not None and not _in_time(phase.circuit):
            known[id(phase.circuit)] = played.frames
        done = cycles if phase.until is None else _ends(circuit, played.waves, phase.until)
        begins.append(now)
        pieces.append(_shifted(_taken(played.waves, np.arange(cycles) < done), now))
        now += done * circuit.period
        state |= played.state(done)
    waves = _joined(pieces)
    return Story(waves=_taken(waves, waves.t >= -shown), begins=tuple(begins), words=tuple(p.words for p in phases))


def _length(circuit: Circuit, duration: float) -> int:
    """Return a duration in whole periods, one at least."""
    return max(ceil(duration / circuit.period - 1e-9), 1)


def _in_time(circuit: Circuit) -> bool:
    """Return whether something in a circuit moves with time by itself, so that it is another one later on."""
    return any(isinstance(level_of(e), Wave) for e in circuit.elements)


def play(circuit: Circuit, cycles: int, loops: tuple[str, ...], engine: Engine, frames: Frames | None = None) -> Played:
    """Run one circuit for a number of periods and return its waveforms from t = 0 on.

    frames : of the same circuit averaged, started elsewhere
    """
    if engine == "averaged":
        return _averaged(circuit, cycles, loops, frames)
    return _switched(circuit, cycles, loops)


def _switched(circuit: Circuit, cycles: int, loops: tuple[str, ...]) -> Played:
    engine = engine_of(circuit, compiled=numba_module() is not None)
    run = engine.advance(engine.beginning(), cycles)
    points = evenly(run, _POINTS)
    segments = len(points.t) // _POINTS
    cycle = run.cycle
    starts = np.searchsorted(cycle, np.arange(cycles))

    def per_cycle(values: Floats) -> tuple[Floats, Floats, Floats]:
        table = values.reshape(segments, _POINTS)
        # Boole's rule over five points: exact for a polynomial of fifth degree, and a stretch is short.
        area = run.length * (table @ np.array([7.0, 32.0, 12.0, 32.0, 7.0])) / 90.0
        mean = np.add.reduceat(area, starts) / circuit.period
        return mean, np.minimum.reduceat(table.min(axis=1), starts), np.maximum.reduceat(table.max(axis=1), starts)

    mean, low, high = {}, {}, {}
    for name, quantity in probes(circuit).items():
        values = points.of(quantity) if quantity is not None else np.zeros(len(points.t))
        mean[name], low[name], high[name] = per_cycle(values)
    duty = np.zeros(cycles)
    if circuit.modulator is not None:
        ramp = circuit.modulator.slope * circuit.period
        duty = per_cycle(points.of(v_node(circuit.modulator.control)))[0] / ramp
    mean["duty"] = low["duty"] = high["duty"] = duty
    ruling = _ruling(circuit, loops, lambda node: per_cycle(points.of(v_node(node)))[0], cycles)
    t: Floats = np.asarray((np.arange(cycles) + 0.5) * circuit.period, dtype=float)
    places = _places(circuit, run.tables.layout)

    def state(done: int) -> dict[str, float]:
        x = run.end.x if done >= cycles else run.x[starts[done]]
        return {name: float(x[k]) for name, k in places.items()}

    return Played(waves=Waves(t=t, mean=mean, low=low, high=high, ruling=ruling), state=state)


def _averaged(circuit: Circuit, cycles: int, loops: tuple[str, ...], frames: Frames | None) -> Played:
    run = run_averaged(
        circuit, t_end=cycles * circuit.period, compiled=averaged_is_kept(), frames=frames, tolerance=_TOLERANCE
    )
    t: Floats = np.asarray((np.arange(cycles) + 0.5) * circuit.period, dtype=float)
    points = averaged_steps(run)
    at = points.t

    def of(quantity: Quantity | None) -> Floats:
        return np.zeros(cycles) if quantity is None else np.interp(t, at, points.of(quantity))

    mean = {name: of(quantity) for name, quantity in probes(circuit).items()}
    low, high = dict(mean), dict(mean)
    mean["duty"] = low["duty"] = high["duty"] = np.zeros(cycles)
    if circuit.modulator is not None:
        ramp = circuit.modulator.slope * circuit.period
        mean["duty"] = low["duty"] = high["duty"] = of(v_node(circuit.modulator.control)) / ramp
        # Half of the volt-seconds on the coil push its current up: half of the ripple lies above the mean.
        swing = np.sum(points.share * np.abs(points.in_parts(v_of("coil"))), axis=1)
        half = 0.25 * circuit.period * np.interp(t, at, swing) / _inductance(circuit)
        low["i_coil"], high["i_coil"] = mean["i_coil"] - half, mean["i_coil"] + half
    ruling = _ruling(circuit, loops, lambda node: of(v_node(node)), cycles)
    places = _places(circuit, run.frames.layout)

    def state(done: int) -> dict[str, float]:
        x = states_at(run, np.array([done * circuit.period]))[0]
        return {name: float(x[k]) for name, k in places.items()}

    waves = Waves(t=t, mean=mean, low=low, high=high, ruling=ruling)
    return Played(waves=waves, state=state, frames=run.frames)


@cache
def averaged_is_kept() -> bool:
    """Return whether the averaged circuit's loop is compiled already, which makes it some tenfold faster."""
    return is_kept(advance)


def _places(circuit: Circuit, layout: Layout) -> dict[str, int]:
    """Return where coils and capacitors stand among the states."""
    return {e.name: layout.states[e.name] for e in circuit.elements if isinstance(e, Coil | Capacitor)}


def _inductance(circuit: Circuit) -> float:
    coil = circuit.element("coil")
    assert isinstance(coil, Coil)
    return coil.l


def _ruling(circuit: Circuit, loops: tuple[str, ...], of: Callable[[str], Floats], cycles: int) -> Whole:
    """Return which loop is lowest in each period, as its place in `loops`; −1 while the stage is not driven."""
    names = {e.name for e in circuit.elements}
    here = [k for k, key in enumerate(loops) if f"gm_{key.replace('-', '_')}" in names]
    if circuit.modulator is None or not here:
        return np.full(cycles, -1)
    outputs = np.array([of(f"loop_{loops[k].replace('-', '_')}") for k in here])
    found: Whole = np.array(here)[np.argmin(outputs, axis=0)]
    return found


def probes(circuit: Circuit) -> dict[str, Quantity | None]:
    """Return where each recorded quantity is found in a circuit; None for a current whose way is open."""
    names = {e.name for e in circuit.elements}

    def current(name: str) -> Quantity | None:
        return i_of(name) if name in names else None

    return {
        "v_bus": v_node(bus_node(circuit.elements)),
        "v_input": v_node("in"),
        "v_pack": v_node(pack_node(circuit.elements)),
        "i_pack": current("r_pack"),
        "i_source": current("r_sense_source"),
        "i_coil": current("coil"),
        "i_load": current("load"),
    }


def _started(circuit: Circuit, state: Mapping[str, float], now: float) -> Circuit:
    """Return a circuit that goes on from a state at an instant after the event [s]."""
    return replace(circuit, elements=tuple(_at(e, state, now) for e in circuit.elements))


def _at(e: Element, state: Mapping[str, float], now: float) -> Element:
    if isinstance(e, Coil | Capacitor):
        return replace(e, start=state[e.name]) if e.name in state else e
    if isinstance(e, Source) and isinstance(e.v, Wave):
        return replace(e, v=_later(e.v, now))
    if isinstance(e, Amplifier) and isinstance(e.reference, Wave):
        return replace(e, reference=_later(e.reference, now))
    return e


def _later(wave: Wave, now: float) -> Wave:
    """Return what is left of a value in time."""
    t, v = (np.array(column) for column in zip(*wave.points, strict=True))
    left = [(float(at - now), float(value)) for at, value in wave.points if at > now]
    return Wave(points=((0.0, float(np.interp(now, t, v))), *left))


def _ends(circuit: Circuit, w: Waves, until: Trigger) -> int:
    """Return after how many periods a trigger and the delay behind it end a phase; all of them if nothing triggers."""
    values = w.mean[until.of]
    passed = np.flatnonzero(values > until.level if until.rising else values < until.level)
    if not len(passed):
        return len(values)
    return min(int(passed[0]) + 1 + max(ceil(until.delay / circuit.period - 1e-9), 0), len(values))


def _taken(w: Waves, which: npt.NDArray[np.bool_]) -> Waves:
    def part(of: dict[str, Floats]) -> dict[str, Floats]:
        return {name: values[which] for name, values in of.items()}

    return Waves(t=w.t[which], mean=part(w.mean), low=part(w.low), high=part(w.high), ruling=w.ruling[which])


def _shifted(w: Waves, by: float) -> Waves:
    return replace(w, t=w.t + by)


def _joined(pieces: list[Waves]) -> Waves:
    def all_of(which: str) -> dict[str, Floats]:
        return {name: np.concatenate([getattr(p, which)[name] for p in pieces]) for name in pieces[0].mean}

    return Waves(
        t=np.concatenate([p.t for p in pieces]), mean=all_of("mean"), low=all_of("low"), high=all_of("high"),
        ruling=np.concatenate([p.ruling for p in pieces]),
    )  # fmt: skip

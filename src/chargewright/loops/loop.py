"""The loops of a charger: what is sensed, through which filter and amplifier, and the loop gain that comes of it."""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from chargewright.loops.chosen import taken
from chargewright.loops.compensator import Amplifier, Transconductance
from chargewright.loops.current_mode import Modulator, VoltageMode, inner_gain, with_inner_open, with_modulator
from chargewright.loops.impedance import Port
from chargewright.loops.inner_loop import Inner
from chargewright.loops.response import Response, response
from chargewright.loops.stage import Linear, Operating, StagePoints, linear, operating

Sensed = Literal["output-current", "output-voltage", "stage-voltage", "input-current", "input-voltage", "coil-current"]
"""Charge current; charge voltage behind the sense resistor; voltage at the stage's own output (a bus); source current;
voltage at the stage's input (held up, so that more duty is less of it); coil current."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """Stage, ports and modulator at n operating points; array fields have the shape (n, 1)."""

    points: StagePoints
    input: Port
    output: Port
    modulator: Modulator


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """How one quantity is regulated."""

    sensed: Sensed
    scale: Any
    """Sensed volts per ampere or per volt, up to the error amplifier."""
    amplifier: Amplifier | None
    """None leaves it out: the gain of everything else."""
    t_sense: Any = 0.0
    """Time constant of the sense filter [s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """A plant made linear, by the duty, at its operating points."""

    plant: Plant
    by_duty: Linear
    at: Operating


class LoopGain:
    """The loop gain of n points as a function of frequency, as `loops.margins` takes it."""

    def __init__(self, plant: Plant, loop: Loop) -> None:
        at = operating(plant.points)
        self._model = Model(plant=plant, by_duty=linear(plant.points, at), at=at)
        self.loop = loop

    @property
    def duty(self) -> Any:
        """Duty at each point [1]."""
        return self._model.at.duty

    @property
    def discontinuous(self) -> Any:
        """Where the coil current returns to zero each period."""
        return self._model.at.discontinuous

    def __call__(self, f: Any, which: Any = slice(None)) -> Any:
        """Return the loop gain of the chosen points; f : frequencies [Hz], (f,) or (m, 1)."""
        s = 2j * np.pi * np.asarray(f)
        m = taken(self._model, which)
        return loop_gain(m.plant, self.loop, s, m.by_duty, m.at)


def loop_gain(plant: Plant, loop: Loop, s: Any, by_duty: Linear, at: Operating) -> Any:
    """Return the loop gain: sensed quantity over control voltage, through filter and amplifier.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 9.1 (from
    memory).
    """
    return PlantSweep(Model(plant=plant, by_duty=by_duty, at=at), s).gain(loop)


class PlantSweep:
    """What a plant answers to its control at given frequencies, for as many loops around it as are asked for."""

    def __init__(self, model: Model, s: Any) -> None:
        plant = model.plant
        m = with_modulator(model.by_duty, plant.modulator, plant.points, model.at, s)
        self._z_a = plant.input.branch.impedance(s) if plant.input.branch is not None else None
        self._z_b = plant.output.branch.impedance(s) if plant.output.branch is not None else None
        z_in, z_out = plant.input.impedance(s, self._z_a), plant.output.impedance(s, self._z_b)
        self._found, self._s, self._model = response(m, s, z_in, z_out), s, model

    @classmethod
    def of(cls, plant: Plant, f: Any) -> "PlantSweep":
        """Return the sweep of a plant; f : frequencies [Hz]."""
        at = operating(plant.points)
        model = Model(plant=plant, by_duty=linear(plant.points, at), at=at)
        return cls(model, 2j * np.pi * np.asarray(f))

    def gain(self, loop: Loop) -> Any:
        """Return the loop gain of one loop."""
        if loop.amplifier is None:
            return self._bare(loop)
        m = self._model
        if isinstance(loop.amplifier, Transconductance) and isinstance(m.plant.modulator, VoltageMode) and inner(loop):
            own = Inner.of(loop.amplifier, loop.scale)
            return inner_gain(m.plant.modulator, own, m.plant.points, m.at, self._s, self._found)
        return self._bare(loop) * loop.amplifier.gain(self._s)

    def _bare(self, loop: Loop) -> Any:
        t = loop.scale * sensed(self._found, loop.sensed, self._model.plant.output, self._z_a, self._z_b)
        return t / (1.0 + self._s * loop.t_sense) if np.any(loop.t_sense) else t


def inner(loop: Loop) -> bool:
    """Return whether a loop is the inner one of average current mode, whose gain is no plain product."""
    return loop.sensed == "coil-current" and not np.any(loop.t_sense)


def sensed(r: Response, what: Sensed, output: Port, z_a: Any, z_b: Any) -> Any:
    """Return the regulated quantity of a response, the sources behind both branches standing still."""
    if what == "coil-current":
        return r.i_coil
    if what == "stage-voltage":
        return r.v_out
    if what == "output-current":
        return r.v_out / z_b
    if what == "output-voltage":
        return r.v_out * (1.0 - output.r_sense / z_b) if z_b is not None and np.any(output.r_sense) else r.v_out
    if what == "input-current":
        return -r.v_in / z_a
    return -r.v_in


def responses(plant: Plant, f: Any, drive: Literal["control", "source", "output"] = "control") -> Response:
    """Return the plant's answer at all its points to control voltage, open-port source voltage or output current."""
    s = 2j * np.pi * np.asarray(f)
    at = operating(plant.points)
    m = with_modulator(linear(plant.points, at), plant.modulator, plant.points, at, s)
    return response(m, s, plant.input.impedance(s), plant.output.impedance(s), drive)


def injected_inner_gain(plant: Plant, loop: Loop, f: Any) -> Any:
    """Return what an injection between an inner amplifier and its comparator measures as the gain of its loop.

    Not what `LoopGain` judges: what the comparator samples of the edges before goes on in it while the frequency itself
    is taken out, so that it is no measure of how far the amplifier's gain may rise. Both reach −1 together.
    """
    s = 2j * np.pi * np.asarray(f)
    at, mod = operating(plant.points), plant.modulator
    assert isinstance(mod, VoltageMode), "around the modulator's own plant"
    assert isinstance(loop.amplifier, Transconductance), "as an inner amplifier is"
    own = Inner.of(loop.amplifier, loop.scale)
    m = with_inner_open(linear(plant.points, at), mod, own, plant.points, at, s)
    return own.gain(s) * response(m, s, plant.input.impedance(s), plant.output.impedance(s)).i_coil


def points_of(plant: Plant, which: Any) -> Plant:
    """Return a plant with only the chosen points."""
    chosen: Plant = taken(plant, which)
    return chosen

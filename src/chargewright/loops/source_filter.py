"""Source, cable and input capacitors against the stage: does the filter upset the loops, and what damper would help.

A regulated stage takes constant power, so it shows its source a negative resistance; a filter whose own impedance comes
near that rings or oscillates. Three impedances of the stage are compared with the filter's: with the duty standing
still (Z_D), with the regulated quantity held perfectly (Z_N), and with the loop as it is (Z_in).

Source: R. D. Middlebrook, Input filter considerations in design and application of switching regulators, IEEE Industry
Applications Society annual meeting, 1976; R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed.,
Kluwer 2001, ch. 10 (from memory).
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from chargewright.loops.current_mode import with_modulator
from chargewright.loops.impedance import Port
from chargewright.loops.loop import Loop, Plant, sensed
from chargewright.loops.response import response
from chargewright.loops.stage import linear, operating
from chargewright.physics.resonance import characteristic_impedance, damper_capacitance_ratio, damper_resistance
from chargewright.physics.series import nearest_preferred, preferred_at_or_above

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
ENOUGH = 0.5
"""Greatest filter impedance over the stage's that counts as well below: 6 dB (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Interaction:
    """Filter against stage; arrays (n, f) unless said otherwise."""

    f: Floats
    z_filter: Complexes
    z_open: Complexes
    """Z_D: duty standing still."""
    z_held: Complexes
    """Z_N: regulated quantity held."""
    z_closed: Complexes
    """Z_in of the loop as it is."""

    @property
    def ratio(self) -> Floats:
        """Filter's impedance over the least of the three, at its worst frequency [1], (n,)."""
        return np.asarray(np.max(self._ratios(), axis=1))

    @property
    def f_worst(self) -> Floats:
        """Where that is [Hz], (n,)."""
        return np.asarray(self.f[np.argmax(self._ratios(), axis=1)], dtype=float)

    @property
    def distance(self) -> Floats:
        """Least distance of Z_filter/Z_in from −1 [1], (n,): at 0 the two oscillate."""
        return np.asarray(np.min(np.abs(1.0 + self.z_filter / self.z_closed), axis=1))

    def _ratios(self) -> Floats:
        least = np.minimum(np.minimum(np.abs(self.z_open), np.abs(self.z_held)), np.abs(self.z_closed))
        return np.asarray(np.abs(self.z_filter) / least)


def interaction(plant: Plant, loop: Loop, f: Floats) -> Interaction:
    """Return the filter of the plant's input port against its stage, for a loop that regulates the output side."""
    s = 2j * np.pi * f
    at = operating(plant.points)
    m = with_modulator(linear(plant.points, at), plant.modulator, plant.points, at, s)
    z_b = plant.output.branch.impedance(s) if plant.output.branch is not None else None
    z_out = plant.output.impedance(s, z_b)
    line, control = (response(m, s, 0.0, z_out, drive) for drive in ("source", "control"))
    y_line, y_control = (sensed(r, loop.sensed, plant.output, None, z_b) for r in (line, control))
    amplifier = 1.0 if loop.amplifier is None else loop.amplifier.gain(s)
    k = loop.scale * amplifier / (1.0 + s * loop.t_sense)
    closed = line.i_in - control.i_in * k * y_line / (1.0 + k * y_control)
    held = line.i_in - control.i_in * y_line / y_control
    z_filter = plant.input.impedance(s)
    parts = np.broadcast_arrays(z_filter, 1.0 / line.i_in, 1.0 / held, 1.0 / closed)
    return Interaction(f=f, z_filter=parts[0], z_open=parts[1], z_held=parts[2], z_closed=parts[3])


@dataclass(frozen=True, slots=True, kw_only=True)
class Damper:
    """A capacitor with a resistor in series, beside the input capacitors."""

    c: float
    r: float
    z_peak: float
    """Greatest filter impedance that it aims at [Ω]."""


def damper(inductance: float, c: float, z_stage: float) -> Damper:
    """Return the damper that keeps the filter well below the stage.

    inductance : of cable and filter [H]
    c          : input capacitors [F]
    z_stage    : least impedance of the stage [Ω]

    Source: R. W. Erickson, Optimal single resistor damping of input filters, APEC 1999 (see `physics.resonance`).
    """
    z_peak = ENOUGH * z_stage
    r_0 = float(characteristic_impedance(inductance, c))
    n = float(damper_capacitance_ratio(r_0, z_peak))
    c_damp = float(preferred_at_or_above(n * c, "E6"))
    return Damper(c=c_damp, r=float(nearest_preferred(damper_resistance(r_0, c_damp / c), "E12")), z_peak=z_peak)


def damped(port: Port, by: Damper) -> Port:
    """Return an input port with a damper."""
    return replace(port, c_damp=by.c, r_damp=by.r)

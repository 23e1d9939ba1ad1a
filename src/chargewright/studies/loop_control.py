"""What is taken of the controller when loops are judged: how it makes the duty, its delays, its amplifiers.

None is chosen yet when a study is made, so it is a general one; what a real controller does differently goes into
`ControllerModel`.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from chargewright.loops.compensator import Transconductance
from chargewright.loops.current_mode import AverageCurrent, Modulator, PeakCurrent, VoltageMode
from chargewright.loops.stage import StagePoints, operating

Control = Literal["voltage", "peak-current", "average-current"]
Duty = Literal["ramp", "sampled"]
"""How voltage and average current mode come by their duty: a comparator meets a ramp, which has no delay but its own;
or one sample a period is taken and computed with, which counts as late by `pwm_share`."""
_WORDS: dict[Control, str] = {
    "voltage": "voltage mode with a ramp that follows the voltage which the moved legs swing (the input of a buck, the "
    "output of a boost)",
    "peak-current": "peak current mode with an added ramp of {ramp:.0%} of the steepest fall of the sensed current, "
    "its sampling counted as it is",
    "average-current": "average current mode, an inner amplifier for the coil current inside each loop, and a ramp "
    "that follows the voltage which the moved legs swing",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerModel:
    """What is taken of the controller."""

    control: Control = "voltage"
    gm: float = 1e-4
    """Transconductance of the amplifiers [A/V]."""
    t_comparator: float = 50e-9
    """Comparator and driver [s]."""
    duty: Duty = "sampled"
    """The careful one of the two while no controller is chosen: an analogue one is a ramp."""
    pwm_share: float = 0.5
    """From sample to edge over the period [1], for a sampled duty only: 0.5 on average, more where computing takes
    time; a ramp that is met at its own instant (natural sampling) has none, as the switched circuit shows."""
    t_sense: float = 1e-7
    """Time constant of the sense filters [s]."""
    ramp_share: float = 0.05
    """Ramp over the voltage that it follows [1]."""
    ramp_over_fall: float = 0.82
    """Added ramp of peak current mode over the steepest fall of the sensed current [1]: at half, no duty of a
    buck or boost oscillates; at 0.82, none rings with a quality factor above 1."""
    v_sense: float = 1.0
    """What the current sense of the current modes gives at the saturation current of the coil [V]."""

    def modulator(self, f_sw: float) -> Modulator:
        """Return the modulator of voltage mode at a switching frequency [Hz]."""
        late, sampled = self._late(f_sw), self.duty == "sampled"
        return VoltageMode(v_ramp=self.ramp_share, by_input=True, t_delay=late, sampled=sampled)

    def peak_modulator(self, points: StagePoints, i_sat: float) -> PeakCurrent:
        """Return the modulator of peak current mode; one ramp serves all points. i_sat : of the coil [A]."""
        r_sense = self.v_sense / i_sat
        fall = float(np.max(operating(points).v_fall / points.inductance))
        return PeakCurrent(r_sense=r_sense, ramp=self.ramp_over_fall * r_sense * fall, t_delay=self.t_comparator)

    def average_modulator(self, inner: Transconductance, f_sw: float, i_sat: float) -> AverageCurrent:
        """Return the modulator of average current mode with its inner amplifier."""
        c_both = inner.c_z * inner.c_p / (inner.c_z + inner.c_p)
        return AverageCurrent(
            r_sense=self.v_sense / i_sat,
            gain=inner.gm * inner.r_z * inner.c_z / (inner.c_z + inner.c_p),
            f_zero=1.0 / (2.0 * np.pi * inner.r_z * inner.c_z),
            f_pole=1.0 / (2.0 * np.pi * inner.r_z * c_both),
            v_ramp=self.ramp_share,
            by_input=True,
            t_delay=self._late(f_sw),
            sampled=self.duty == "sampled",
        )

    @property
    def words(self) -> str:
        """Return in a sentence what is assumed."""
        made = _WORDS[self.control].format(ramp=self.ramp_over_fall)
        late = f"a delay of {1e9 * self.t_comparator:.0f} ns"
        if self.control != "peak-current" and self.duty == "sampled":
            late += (
                f" and {self.pwm_share:g} of a period, as of a duty that is sampled once in it: the careful choice, an "
                "analogue ramp and comparator have no such delay"
            )
        elif self.control != "peak-current":
            late += " and none of the analogue ramp that its comparator meets"
        return (
            f"A general controller is assumed: {made}; {late}, an amplifier of {1e6 * self.gm:.0f} uS for each loop, "
            "one volt of sensed signal at full scale."
        )

    def _late(self, f_sw: float) -> float:
        return self.t_comparator + (self.pwm_share / f_sw if self.duty == "sampled" else 0.0)

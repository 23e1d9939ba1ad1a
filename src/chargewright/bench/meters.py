"""How well the bench measures: what a meter adds to a band, and what four meters make of an efficiency.

The accuracies are those of ordinary bench instruments in their calibration interval (common practice); the plan's
set-up states them, so that a better or worse bench can say so.
"""

from dataclasses import dataclass

import numpy as np

from chargewright.base.units import Toleranced, show
from chargewright.physics.budget import root_sum_square, uniform_deviation


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """Half-width of a meter's error: a share of the reading and a floor in the unit it reads."""

    name: str
    share: float
    floor: float

    def error(self, value: float) -> float:
        """Return the half-width of the error at a reading."""
        return self.share * abs(value) + self.floor

    def says(self, unit: str) -> str:
        """Return the error in words: "0.05 % of reading and 2 mV"."""
        floor = show(self.floor, "dK" if unit == "K" else unit, 3)
        return f"{show(self.share, '1')} of reading and {floor}" if self.share > 0.0 else floor

    def widened(self, band: Toleranced) -> Toleranced:
        """Return a band with the meter's error at either end: what a sound board may read."""
        return Toleranced(band.typ, band.low - self.error(band.low), band.high + self.error(band.high))


VOLTS = Meter(name="voltmeter", share=5e-4, floor=2e-3)
MILLIVOLTS = Meter(name="voltmeter, lowest range", share=5e-4, floor=2e-5)
AMPS = Meter(name="shunt with voltmeter", share=2e-3, floor=2e-3)
MILLIAMPS = Meter(name="current meter, lowest range", share=2e-3, floor=5e-6)
KELVINS = Meter(name="thermocouple", share=0.0, floor=3.0)
"""Type K, class 2: 2.5 K (IEC 60584-1, from memory), and its fixing."""
HERTZ = Meter(name="oscilloscope", share=1e-3, floor=1.0)
SECONDS = Meter(name="logger", share=1e-3, floor=10.0)

NO_METER = Meter(name="", share=0.0, floor=0.0)
"""For what is read without error, or has its error in the band already."""

COVERAGE = 2.0
"""Coverage factor for about 95 % (JCGM 100:2008, 6.2 and annex G; from memory)."""


def efficiency_error(v_in: float, i_in: float, v_out: float, i_out: float) -> float:
    """Return the expanded uncertainty of an efficiency over the efficiency [1], from four meters.

    Each reading may be anywhere within its meter's error (uniform law); product and quotient add relative deviations as
    the root of the sum of squares (JCGM 100:2008, 5.1.6; from memory). Voltages in V, currents in A, all above zero.
    """
    shares = [VOLTS.error(v_in) / v_in, AMPS.error(i_in) / i_in, VOLTS.error(v_out) / v_out, AMPS.error(i_out) / i_out]
    return COVERAGE * root_sum_square(np.array([float(uniform_deviation(s)) for s in shares]))

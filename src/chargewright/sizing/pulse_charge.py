"""The charge that a capacitor beside a switched leg takes and gives back in each pulse."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Amps, Coulombs, Duty, Hertz


@relation
def pulse_charge(i_mid: Amps, di_pp: Amps, duty: Duty, f: Hertz) -> Coulombs:
    """Return the charge that swings in a capacitor beside a leg whose current is a pulsed ramp.

    For `duty` of the period the leg carries a ramp around `i_mid`; its mean, duty·i_mid, comes steadily from
    elsewhere, the rest from the capacitor. It gives in the pause what it takes in the pulse, and a little more where
    the ramp starts or ends below the mean:

        di = max(di_pp, 1e-12)
        below = max(di/2 − |i_mid|·(1 − duty), 0)
        q = (|i_mid|·duty·(1 − duty) + duty·below²/(2·di))/f

    i_mid : mean of the ramp while it flows [A]
    di_pp : peak-to-peak change along the ramp, not negative [A]
    duty  : share of the period with current [1], 0 … 1
    f     : pulses per second [Hz]
    returns the charge between the extremes [C]; over the capacitance it is the peak-to-peak ripple. All arguments
    broadcast.

    Holds for a ramp that rises, falls, or rises and falls, so for both sides of a buck and a boost; with duty 1 it is
    the triangle's di_pp/(8·f). Raises OutOfRange if `duty` leaves 0 … 1.

    Source: derived here by charge balance: the part of a ramp of slope di_pp/(duty/f) that lies below the mean is a
    triangle of height `below`. R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer
    2001, ch. 2.5 has the case of duty 1.
    """
    di = np.maximum(di_pp, 1e-12)
    below = np.maximum(di / 2.0 - np.abs(i_mid) * (1.0 - duty), 0.0)
    return (np.abs(i_mid) * duty * (1.0 - duty) + duty * below**2 / (2.0 * di)) / f

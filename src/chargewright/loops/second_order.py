# ruff: noqa: E741 - l is inductance, as the trade has it
"""Second-order converters in words of the books: resonance, quality, zeros and gains of the ideal stages.

`loops.stage` computes with resistances, any source and any load; these are its limits, and what a designer checks by
hand.
"""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Duty, Farads, Henries, Hertz, Ohms, Ratio, Volts


@relation
def stage_resonance(w: Duty, l: Henries, c: Farads) -> Hertz:
    """Return the resonance of coil and output capacitor as the switches transform it.

        f = w/(2·π·√(l·c))

    w : share of the period in which the coil feeds the output: 1 for a buck, 1 − duty for boost and buck-boost [1]
    l : inductance [H]
    c : output capacitance [F]
    returns the frequency [Hz]; all arguments broadcast.

    Holds in continuous conduction with little loss. Raises OutOfRange if `w` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 8.2.2 (from
    memory).
    """
    return w / (2.0 * np.pi * np.sqrt(l * c))


@relation
def stage_quality(w: Duty, r_load: Ohms, l: Henries, c: Farads) -> Ratio:
    """Return the quality factor of a stage whose only damping is its load.

        q = w·r_load·√(c/l)

    w      : share of the period in which the coil feeds the output [1]
    r_load : load as a resistance [Ω]
    l      : inductance [H]
    c      : output capacitance [F]
    returns the quality factor [1]; all arguments broadcast.

    Holds in continuous conduction without other losses. Raises OutOfRange if `w` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 8.2.2 (from
    memory).
    """
    return w * r_load * np.sqrt(c / l)


@relation
def boost_right_zero(w: Duty, r_load: Ohms, l: Henries) -> Hertz:
    """Return the right-half-plane zero of a boost: a longer pulse at first takes current from the output.

        f = w²·r_load/(2·π·l)

    w      : 1 − duty [1]
    r_load : load as a resistance, at the output [Ω]
    l      : inductance [H]
    returns the frequency [Hz]; all arguments broadcast.

    Holds in continuous conduction without losses. Raises OutOfRange if `w` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 8.2.2, table
    (from memory).
    """
    return w**2 * r_load / (2.0 * np.pi * l)


@relation
def buck_boost_right_zero(duty: Duty, r_load: Ohms, l: Henries) -> Hertz:
    """Return the right-half-plane zero of a buck-boost.

        f = (1 − duty)²·r_load/(2·π·duty·l)

    duty   : share of the period in which the coil is charged [1]
    r_load : load as a resistance [Ω]
    l      : inductance [H]
    returns the frequency [Hz]; all arguments broadcast.

    Holds in continuous conduction without losses. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 8.2.1 (from
    memory).
    """
    return (1.0 - duty) ** 2 * r_load / (2.0 * np.pi * duty * l)


@relation
def buck_boost_control_gain(v_out: Volts, duty: Duty) -> Volts:
    """Return how many volts of output a buck-boost gives per unit of duty, at low frequency.

        g = |v_out|/(duty·(1 − duty))

    v_out : output voltage [V]
    duty  : share of the period in which the coil is charged [1]
    returns the size of the gain [V]; all arguments broadcast.

    Holds in continuous conduction without losses. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 8.2.1 (from
    memory).
    """
    return np.abs(v_out) / (duty * (1.0 - duty))


@relation
def closed_loop_quality(margin: Ratio) -> Ratio:
    """Return the quality factor of the closed loop that a phase margin leads to.

        q = √(cos(margin))/sin(margin)

    margin : phase margin in radians [1]
    returns the quality factor; above one half the step response overshoots [1].

    Holds for a loop with an integrator and one more pole.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 9.4.2 (from
    memory).
    """
    return np.sqrt(np.cos(margin)) / np.sin(margin)

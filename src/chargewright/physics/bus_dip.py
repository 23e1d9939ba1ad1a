# ruff: noqa: E741 - l is inductance, as the trade has it
"""A load step on a bus: what its capacitor holds, and how deep it dips while a lead's current rises."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Amps, Farads, Henries, Ohms, Seconds, Volts, Watts


@relation
def held_voltage(v_start: Volts, p: Watts, t: Seconds, c: Farads) -> Volts:
    """Return the voltage of a capacitor that alone carries a load of constant power.

        v = √(v_start² − 2·p·t/c)

    v_start : voltage when everything else stops [V]
    p       : power of the load, less what still comes in [W]
    t       : time since then [s]
    c       : capacitance at these voltages [F]
    returns the voltage, nan once the capacitor is empty [V]; all arguments broadcast.

    Holds for a capacitance that does not change, losses and series resistance ignored.

    Source: derived here: the energy c·v²/2 falls by p·t (see `transient.hold_up_time`).
    """
    left = v_start**2 - 2.0 * p * t / c
    return np.sqrt(np.where(left >= 0.0, left, np.nan))


@relation
def takeover_dip(i_step: Amps, r: Ohms, l: Henries, c: Farads) -> Volts:
    """Return how far a bus dips when a step of current is drawn from it that a lead of some inductance has to bring.

    The lowest point of the ringing, which lies below where the resistance alone leads:

        zeta = r/2·√(c/l)
        v = i_step·r + i_step·√(l/c)·exp(−zeta·arccos(−min(zeta, 1))/√(max(1 − zeta², 1e-12)))

    i_step : step of the current [A]
    r      : resistance of lead and source [Ω]
    l      : inductance of the lead [H]
    c      : capacitance of the bus [F]
    returns the dip [V]; all arguments broadcast.

    Holds for a load of constant current and a capacitance that does not change; nearly so for constant power while the
    dip is small against the bus. Without ringing (zeta of 1 and more) the resistive drop is all, which it tends to.

    Source: derived here: with w² = 1 − zeta² and the angle x = w·t/√(l·c), the bus stands i_step·r +
    i_step·√(l/c)·exp(−zeta·x/w)·(sin(x)·(1 − 2·zeta²)/w − 2·zeta·cos(x)) below its start; lowest where its slope is
    zero, at cos(x) = −zeta. See R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer
    2001, ch. 8.1 (second-order response; from memory).
    """
    zeta = r / 2.0 * np.sqrt(c / l)
    w = np.sqrt(np.maximum(1.0 - zeta**2, 1e-12))
    return i_step * r + i_step * np.sqrt(l / c) * np.exp(-zeta * np.arccos(-np.minimum(zeta, 1.0)) / w)

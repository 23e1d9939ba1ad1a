# ruff: noqa: E741 - l is inductance, as the trade has it
"""Resonance: an inductance with a capacitance, their damping, and the damper that flattens a filter."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Farads, Henries, Hertz, Ohms, Ratio


@relation
def lc_resonance(l: Henries, c: Farads) -> Hertz:
    """Return the resonance of an inductance with a capacitance.

        f = 1/(2·π·√(l·c))

    l : inductance [H]
    c : capacitance [F]
    returns the frequency [Hz]; all arguments broadcast.

    Holds without damping.

    Source: W. Thomson, On transient electric currents, Philosophical Magazine 5, 1853. R. W. Erickson, D. Maksimovic,
    Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 8.1 (from memory).
    """
    return 1.0 / (2.0 * np.pi * np.sqrt(l * c))


@relation
def characteristic_impedance(l: Henries, c: Farads) -> Ohms:
    """Return the impedance at which inductance and capacitance meet.

        r = √(l/c)

    l : inductance [H]
    c : capacitance [F]
    returns the impedance [Ω]; all arguments broadcast.

    Holds for lumped elements.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 8.1
    (characteristic impedance of a resonant circuit; from memory).
    """
    return np.sqrt(l / c)


@relation
def series_damping_ratio(r: Ohms, l: Henries, c: Farads) -> Ratio:
    """Return the damping ratio of resistance, inductance and capacitance in series.

        zeta = r/2·√(c/l)

    r : resistance [Ω]
    l : inductance [H]
    c : capacitance [F]
    returns the damping ratio; below 1 the circuit rings [1]; all arguments broadcast.

    Holds for lumped elements that do not change with voltage or current.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 8.1 (Q =
    1/(2·zeta) of a second-order circuit; from memory).
    """
    return r / 2.0 * np.sqrt(c / l)


@relation
def ring_frequency(r: Ohms, l: Henries, c: Farads) -> Hertz:
    """Return the frequency at which a series circuit rings.

        zeta = r/2·√(c/l)
        f = √(max(1 − zeta², 0))/(2·π·√(l·c))

    r : resistance [Ω]
    l : inductance [H]
    c : capacitance [F]
    returns the frequency, 0 where the circuit does not ring [Hz]; all arguments broadcast.

    Holds for lumped elements that do not change with voltage or current.

    Source: derived here: imaginary part of the roots of l·c·s² + r·c·s + 1 = 0.
    """
    zeta = r / 2.0 * np.sqrt(c / l)
    return np.sqrt(np.maximum(1.0 - zeta**2, 0.0)) / (2.0 * np.pi * np.sqrt(l * c))


@relation
def damper_capacitance_ratio(r_0: Ohms, z_peak: Ohms) -> Ratio:
    """Return how large a blocking capacitor a parallel R-C damper needs, over the filter's own capacitance.

        n = (r_0/z_peak)²·(1 + √(1 + 4·(z_peak/r_0)²))

    r_0    : characteristic impedance of the filter [Ω]
    z_peak : peak output impedance that is wanted [Ω]
    returns the ratio of damper to filter capacitance [1]; all arguments broadcast.

    Holds with the resistor of `damper_resistance` and an otherwise lossless filter.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 10.4.1; R. W.
    Erickson, Optimal single resistor damping of input filters, APEC 1999 (from memory).
    """
    return (r_0 / z_peak) ** 2 * (1.0 + np.sqrt(1.0 + 4.0 * (z_peak / r_0) ** 2))


@relation
def damper_resistance(r_0: Ohms, n: Ratio) -> Ohms:
    """Return the resistor with which a parallel R-C damper flattens a filter's output impedance most.

        r = r_0·√((2 + n)·(4 + 3·n)/(2·n²·(4 + n)))

    r_0 : characteristic impedance of the filter [Ω]
    n   : ratio of damper to filter capacitance [1]
    returns the resistance [Ω]; all arguments broadcast.

    Holds for an otherwise lossless filter.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 10.4.1; R. W.
    Erickson, Optimal single resistor damping of input filters, APEC 1999 (from memory).
    """
    return r_0 * np.sqrt((2.0 + n) * (4.0 + 3.0 * n) / (2.0 * n**2 * (4.0 + n)))

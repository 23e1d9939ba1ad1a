"""Shaping a loop by hand formulas: where a lead's zero and pole go, and the k factor."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Hertz, Ratio


@relation
def lead_zero(f_c: Hertz, lead: Ratio) -> Hertz:
    """Return the zero of a lead that gives most phase at a frequency.

        f = f_c·√((1 − sin(lead))/(1 + sin(lead)))

    f_c  : frequency of the greatest lead [Hz]
    lead : phase gained there, in radians [1]
    returns the frequency of the zero [Hz]; all arguments broadcast.

    Holds for a lead of less than a quarter turn.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 9.5.1 (from
    memory).
    """
    return f_c * np.sqrt((1.0 - np.sin(lead)) / (1.0 + np.sin(lead)))


@relation
def lead_pole(f_c: Hertz, lead: Ratio) -> Hertz:
    """Return the pole of a lead that gives most phase at a frequency.

        f = f_c·√((1 + sin(lead))/(1 − sin(lead)))

    f_c  : frequency of the greatest lead [Hz]
    lead : phase gained there, in radians [1]
    returns the frequency of the pole [Hz]; all arguments broadcast.

    Holds for a lead of less than a quarter turn.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 9.5.1 (from
    memory).
    """
    return f_c * np.sqrt((1.0 + np.sin(lead)) / (1.0 - np.sin(lead)))


@relation
def lead_gain(f_c: Hertz, f_0: Hertz, f_zero: Hertz, f_pole: Hertz, gain: Ratio) -> Ratio:
    """Return the low-frequency gain with which a lead puts the crossover of a second-order loop at a frequency.

        g = (f_c/f_0)²·√(f_zero/f_pole)/gain

    f_c    : wanted crossover, the middle of the lead [Hz]
    f_0    : resonance of the loop [Hz]
    f_zero : zero of the lead [Hz]
    f_pole : pole of the lead [Hz]
    gain   : low-frequency gain of the loop without the lead [1]
    returns the gain [1]; all arguments broadcast.

    Holds by asymptotes, well above the resonance.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 9.5.4 (from
    memory).
    """
    return (f_c / f_0) ** 2 * np.sqrt(f_zero / f_pole) / gain


@relation
def k_factor_one_lead(boost: Ratio) -> Ratio:
    """Return how far zero and pole of a type 2 amplifier lie from crossover for a wanted boost of phase.

        k = tan(boost/2 + π/4)

    boost : phase gained over an integrator, in radians, below a quarter turn [1]
    returns pole over crossover, and crossover over zero [1].

    Holds for one zero and one pole beside the integrator.

    Source: H. D. Venable, The k factor: a new mathematical tool for stability analysis and synthesis, Powercon 10, 1983
    (from memory).
    """
    return np.tan(boost / 2.0 + np.pi / 4.0)


@relation
def k_factor_two_leads(boost: Ratio) -> Ratio:
    """Return the k factor of a type 3 amplifier: its zeros lie at f/√k, its poles at f·√k.

        k = tan(boost/4 + π/4)²

    boost : phase gained over an integrator, in radians, below half a turn [1]
    returns pole over zero [1].

    Holds for two equal zeros and two equal poles beside the integrator.

    Source: H. D. Venable, The k factor: a new mathematical tool for stability analysis and synthesis, Powercon 10, 1983
    (from memory).
    """
    return np.tan(boost / 4.0 + np.pi / 4.0) ** 2

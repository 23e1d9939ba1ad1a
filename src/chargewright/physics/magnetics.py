# ruff: noqa: E741 - l is inductance, as the trade has it
"""Magnetics: inductance under current, flux, core loss of a triangular flux, winding loss."""

import math

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Amps, CubicMetres, Henries, Hertz, Ohms, Ratio, Seconds, SquareMetres, Teslas, Watts


@relation
def saturating_inductance(l_0: Henries, i: Amps, i_sat: Amps, sat_exponent: Ratio) -> Henries:
    """Return the inductance that is left under a current.

    A smooth fall that leaves 70 % at `i_sat`; the exponent makes it soft (2, powder) or hard (6 and more, ferrite):

        l = l_0/(1 + (3/7)·(|i|/i_sat)^sat_exponent)

    l_0          : inductance without current [H]
    i            : current [A]
    i_sat        : current at which 70 % is left [A]
    sat_exponent : sharpness of the fall [1]
    returns the inductance [H]; all arguments broadcast.

    Holds as an interpolation of the curve in a data sheet, up to some 1.5 times `i_sat`; fit the exponent to a second
    point of that curve.

    Source: derived here: the plainest rational curve with a flat start, set to 70 % at `i_sat`, the drop at which
    saturation current is commonly stated (common practice, 20 to 35 %).
    """
    return l_0 / (1.0 + (3.0 / 7.0) * (np.abs(i) / i_sat) ** sat_exponent)


@relation
def flux_swing(l: Henries, di_pp: Amps, turns_area: SquareMetres) -> Teslas:
    """Return the peak-to-peak flux density of a core.

        db = l·di_pp/turns_area

    l          : inductance at the current of interest [H]
    di_pp      : peak-to-peak current [A]
    turns_area : number of turns times cross-section of the core [m²]
    returns the peak-to-peak flux density [T]; all arguments broadcast.

    Holds for a core of one cross-section.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 13.1
    (Faraday's law and flux linkage N·A·B = L·I; from memory).
    """
    return l * di_pp / turns_area


@relation
def igse_coefficient(k_core: Ratio, alpha: Ratio, beta: Ratio) -> Ratio:
    """Return the coefficient of the improved generalised Steinmetz equation, by its closed approximation.

        k_i = k_core/(2^(beta + 1)·π^(alpha − 1)·(0.2761 + 1.7061/(alpha + 1.354)))

    k_core : Steinmetz coefficient, loss density over f^alpha·b^beta with b the peak of a sine, all in SI [1]
    alpha  : Steinmetz exponent of frequency [1]
    beta   : Steinmetz exponent of flux density [1]
    returns the coefficient, in SI as `k_core` [1]; all arguments broadcast.

    Holds for alpha from 0.5 to 3, where it is within 0.2 % of the integral (`igse_coefficient_exact`).

    Source: K. Venkatachalam, C. R. Sullivan, T. Abdallah, H. Tacca, Accurate prediction of ferrite core loss with
    nonsinusoidal waveforms using only Steinmetz parameters, IEEE Workshop on Computers in Power Electronics 2002, doi
    10.1109/CIPE.2002.1196712 (from memory).
    """
    return k_core / (2.0 ** (beta + 1.0) * np.pi ** (alpha - 1.0) * (0.2761 + 1.7061 / (alpha + 1.354)))


def igse_coefficient_exact(k_core: float, alpha: float, beta: float) -> float:
    """Return the coefficient of `igse_coefficient` from its defining integral, which a gamma function solves.

    The integral of |cos θ|^alpha over 0 … 2π is 2·√π·Γ((alpha + 1)/2)/Γ(alpha/2 + 1). Single numbers only.
    """
    integral = 2.0 * math.sqrt(math.pi) * math.gamma((alpha + 1.0) / 2.0) / math.gamma(alpha / 2.0 + 1.0)
    return k_core / (math.pow(2.0 * math.pi, alpha - 1.0) * math.pow(2.0, beta - alpha) * integral)


@relation
def triangle_core_loss(
    k_i: Ratio,
    alpha: Ratio,
    beta: Ratio,
    db: Teslas,
    t_rise: Seconds,
    t_fall: Seconds,
    f_rep: Hertz,
    volume: CubicMetres,
) -> Watts:
    """Return the core loss of a flux that rises and falls on straight lines, and may rest in between.

        t_r = max(t_rise, 1e-12)
        t_f = max(t_fall, 1e-12)
        p = volume·k_i·db^beta·f_rep·(t_r^(1 − alpha) + t_f^(1 − alpha))

    k_i    : coefficient from `igse_coefficient`, in SI [1]
    alpha  : Steinmetz exponent of frequency [1]
    beta   : Steinmetz exponent of flux density [1]
    db     : peak-to-peak flux density [T], not negative
    t_rise : time of the rise [s]
    t_fall : time of the fall [s]
    f_rep  : how often rise and fall repeat [Hz]
    volume : core volume [m³]
    returns the mean loss [W]; all arguments broadcast.

    Holds within the frequency and flux range of the Steinmetz fit; relaxation during the rest (discontinuous
    conduction) and dc bias add to it. Times below 1 ps, which no core sees, count as 1 ps so that a vanishing slope
    with a vanishing flux gives 0.

    Source: K. Venkatachalam, C. R. Sullivan, T. Abdallah, H. Tacca, Accurate prediction of ferrite core loss with
    nonsinusoidal waveforms using only Steinmetz parameters, IEEE Workshop on Computers in Power Electronics 2002
    (piecewise linear flux), doi 10.1109/CIPE.2002.1196712 (from memory).
    """
    slopes = np.maximum(t_rise, 1e-12) ** (1.0 - alpha) + np.maximum(t_fall, 1e-12) ** (1.0 - alpha)
    return volume * k_i * db**beta * f_rep * slopes


@relation
def winding_ac_loss(di_pp: Amps, r_ac: Ohms) -> Watts:
    """Return the loss of the ripple current in a winding.

        p = r_ac·di_pp²/12

    di_pp : peak-to-peak ripple [A]
    r_ac  : resistance at the switching frequency [Ω]
    returns the mean loss [W]; all arguments broadcast.

    Holds for a triangle; the resistance at the fundamental is used for the small harmonics too. The loss of the mean
    current in the dc resistance comes on top.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, appendix A (rms of
    a triangle), times resistance (from memory).
    """
    return r_ac * di_pp**2 / 12.0


@relation
def skin_limited_resistance(r_dc: Ohms, ratio_ref: Ratio, f: Hertz, f_ref: Hertz) -> Ohms:
    """Return a winding's ac resistance, scaled from one known frequency with the skin depth.

        r_ac = r_dc·max(1, ratio_ref·√(f/f_ref))

    r_dc      : dc resistance [Ω]
    ratio_ref : ac over dc resistance at `f_ref` [1]
    f         : frequency of interest [Hz]
    f_ref     : frequency at which the ratio is known [Hz]
    returns the ac resistance [Ω]; all arguments broadcast.

    Holds where conductors are thicker than the skin depth; below, the true ratio falls faster, towards 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 13.4 (skin
    depth falls as the root of frequency; P. L. Dowell, Proc. IEE 113, 1966, gives the full form; from memory).
    """
    return r_dc * np.maximum(1.0, ratio_ref * np.sqrt(f / f_ref))

"""Cells in closed form: voltage under a pulse, the end of a charge, the thermistor beside the cell, entropic heat."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import (
    AbsoluteKelvins,
    Amps,
    Coulombs,
    KelvinDifference,
    Kelvins,
    Ohms,
    Ratio,
    Seconds,
    Volts,
    VoltsPerCoulomb,
    VoltsPerKelvin,
    Watts,
)


@relation
def ohmic_and_rc_voltage(i: Amps, r_0: Ohms, r_1: Ohms, tau: Seconds, t: Seconds) -> Volts:
    """Return how far a constant current has moved a cell's voltage from rest.

        v = i·(r_0 + r_1·(1 − exp(−t/tau)))

    i   : current into the cell since t = 0, at rest before [A]
    r_0 : resistance that acts at once [Ω]
    r_1 : resistance of the slow part [Ω]
    tau : time constant of the slow part [s]
    t   : time since the current began [s]
    returns the voltage above rest [V]; all arguments broadcast.

    Holds while the open-circuit voltage has hardly moved; one slow part only.

    Source: derived here: a resistance and one R-C pair in series. See G. L. Plett, Battery Management Systems, vol.
    1, Artech House 2015, ch. 2 (equivalent-circuit cell models).
    """
    return i * (r_0 + r_1 * (1.0 - np.exp(-t / tau)))


@relation
def hysteresis_after(place: Ratio, q: Coulombs, q_turn: Coulombs) -> Ratio:
    """Return where a rest voltage is between its branches after a charge has flowed into the cell.

        place_after = 1 + (place − 1)·exp(−q/q_turn)

    place  : before: −1 on the branch after a discharge, 1 on the branch after a charge [1]
    q      : charge into the cell, not below zero [C]
    q_turn : charge in which all but 37 % of the way is gone [C]
    returns the place between the branches after it [1]; all arguments broadcast.

    Holds for one direction of current. A discharge is the same with the signs of both places turned. Branches that
    depend on what happened before the last turn are not described.

    Source: G. L. Plett, Extended Kalman filtering for battery management systems of LiPB-based HEV battery packs, part
    2, J. Power Sources 134 (2004), the one-state hysteresis model (from memory).
    """
    return 1.0 + (place - 1.0) * np.exp(-q / q_turn)


@relation
def charge_at_voltage_limit(v_max: Volts, v_empty: Volts, i: Amps, r: Ohms, ocv_slope: VoltsPerCoulomb) -> Coulombs:
    """Return the charge in a straight-line cell when a constant current meets the voltage limit.

        q = (v_max − i·r − v_empty)/ocv_slope

    v_max     : charge voltage [V]
    v_empty   : open-circuit voltage when empty [V]
    i         : charge current [A]
    r         : resistance [Ω]
    ocv_slope : rise of the open-circuit voltage over charge [V/C]
    returns the charge above empty [C]; all arguments broadcast.

    Holds for an open-circuit voltage that rises on a straight line, and one resistance.

    Source: derived here: v_empty + ocv_slope·q + i·r = v_max, solved for q.
    """
    return (v_max - i * r - v_empty) / ocv_slope


@relation
def taper_time_constant(r: Ohms, ocv_slope: VoltsPerCoulomb) -> Seconds:
    """Return the time constant with which the current of a straight-line cell falls at constant voltage.

        tau = r/ocv_slope

    r         : resistance [Ω]
    ocv_slope : rise of the open-circuit voltage over charge [V/C]
    returns the time constant [s]; all arguments broadcast.

    Holds for an open-circuit voltage that rises on a straight line, and one resistance.

    Source: derived here: the cell is a capacitance 1/ocv_slope behind a resistance.
    """
    return r / ocv_slope


@relation
def taper_time(tau: Seconds, i_start: Amps, i_end: Amps) -> Seconds:
    """Return how long a taper lasts.

        t = tau·ln(i_start/i_end)

    tau     : time constant of the taper [s]
    i_start : current at its begin [A]
    i_end   : current at which the charge ends [A]
    returns the time [s]; all arguments broadcast.

    Holds for a current that falls exponentially.

    Source: derived here: i_start·exp(−t/tau) = i_end, solved for t.
    """
    return tau * np.log(i_start / i_end)


@relation
def taper_charge(tau: Seconds, i_start: Amps, i_end: Amps) -> Coulombs:
    """Return the charge that a taper brings.

        q = tau·(i_start − i_end)

    tau     : time constant of the taper [s]
    i_start : current at its begin [A]
    i_end   : current at which the charge ends [A]
    returns the charge [C]; all arguments broadcast.

    Holds for a current that falls exponentially.

    Source: derived here: integral of i_start·exp(−t/tau) until i_end.
    """
    return tau * (i_start - i_end)


@relation
def thermistor_resistance(r_25: Ohms, beta: KelvinDifference, temp: AbsoluteKelvins) -> Ohms:
    """Return the resistance of a negative-coefficient thermistor.

        r = r_25·exp(beta·(1/temp − 1/298.15))

    r_25 : resistance at 25 °C [Ω]
    beta : beta value [K]
    temp : temperature of the thermistor [K]
    returns the resistance [Ω]; all arguments broadcast.

    Holds within the two temperatures for which beta is stated, and some 1 K beyond. Raises OutOfRange if `temp` is
    below 100 K, which is where a value in °C would be.

    Source: IEC 60539-1, Directly heated negative temperature coefficient thermistors (beta relation; from memory).
    """
    return r_25 * np.exp(beta * (1.0 / temp - 1.0 / 298.15))


@relation
def thermistor_temperature(r_25: Ohms, beta: KelvinDifference, r: Ohms) -> Kelvins:
    """Return the temperature of a negative-coefficient thermistor from its resistance.

        temp = 1/(1/298.15 + ln(r/r_25)/beta)

    r_25 : resistance at 25 °C [Ω]
    beta : beta value [K]
    r    : resistance measured [Ω]
    returns the temperature [K]; all arguments broadcast.

    Holds as `thermistor_resistance` does, of which it is the inverse.

    Source: IEC 60539-1, Directly heated negative temperature coefficient thermistors (beta relation; from memory).
    """
    return 1.0 / (1.0 / 298.15 + np.log(r / r_25) / beta)


@relation
def entropic_heat(i: Amps, temp: AbsoluteKelvins, entropic_co: VoltsPerKelvin) -> Watts:
    """Return the reversible heat of a cell.

        p = i·temp·entropic_co

    i           : current into the cell [A]
    temp        : temperature of the cell [K]
    entropic_co : change of the open-circuit voltage with temperature [V/K]
    returns the heat set free, negative where the cell cools [W]; all arguments broadcast.

    Holds beside the heat of the resistances, which is always positive. Raises OutOfRange if `temp` is below 100 K.

    Source: D. Bernardi, E. Pawlikowski, J. Newman, A general energy balance for battery systems, Journal of the
    Electrochemical Society 132(1), 1985 (there with the current out of the cell positive; from memory).
    """
    return i * temp * entropic_co

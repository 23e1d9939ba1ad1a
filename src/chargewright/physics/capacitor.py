"""Capacitors: capacitance under bias, voltage ripple, life against temperature."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import AbsoluteKelvins, Amps, Duty, Farads, Hertz, Ohms, Ratio, Seconds, Volts


@relation
def biased_capacitance(c_0: Farads, v: Volts, v_half: Volts, bias_exponent: Ratio) -> Farads:
    """Return the capacitance that a ceramic capacitor has left under a direct voltage.

        c = c_0/(1 + (|v|/v_half)^bias_exponent)

    c_0           : capacitance without bias [F]
    v             : direct voltage across it [V]
    v_half        : voltage at which half is left [V]
    bias_exponent : sharpness of the fall [1]; near 2 for class-2 ceramics
    returns the small-signal capacitance [F]; all arguments broadcast.

    Holds as an interpolation of the curve in a data sheet: take both parameters from two points of it. Temperature,
    ageing and tolerance come on top.

    Source: derived here: the plainest rational curve with a flat start and one half at `v_half`; that 30 to 60 % is
    left at the rated voltage is common practice.
    """
    return c_0 / (1.0 + (np.abs(v) / v_half) ** bias_exponent)


@relation
def triangle_voltage_ripple(di_pp: Amps, c: Farads, f: Hertz) -> Volts:
    """Return the peak-to-peak voltage of a capacitor that carries a triangle of current around zero.

        dv = di_pp/(8·c·f)

    di_pp : peak-to-peak current [A]
    c     : capacitance at the bias of interest [F]
    f     : frequency [Hz]
    returns the peak-to-peak voltage of the capacitance alone [V]; all arguments broadcast.

    Holds for a triangle of any rise and fall: half of the period carries the charge di_pp/(8·f).

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 2.5 (from
    memory).
    """
    return di_pp / (8.0 * c * f)


@relation
def switched_voltage_ripple(i: Amps, duty: Duty, c: Farads, f: Hertz) -> Volts:
    """Return the peak-to-peak voltage of a capacitor beside a leg that takes a pulsed current.

    For `duty` of the period the leg takes `i`; the mean of it, duty·i, comes steadily from elsewhere:

        dv = |i|·duty·(1 − duty)/(c·f)

    i    : current of the leg while it conducts [A]
    duty : share of the period with current [1], 0 … 1
    c    : capacitance at the bias of interest [F]
    f    : switching frequency [Hz]
    returns the peak-to-peak voltage of the capacitance alone [V]; all arguments broadcast.

    Holds for a buck's input (duty D) and a boost's output (duty 1 − D), inductor ripple ignored. Raises OutOfRange
    if `duty` leaves 0 … 1.

    Source: derived here by charge balance: the capacitor gives (1 − duty)·|i| for the time duty/f.
    """
    return np.abs(i) * duty * (1.0 - duty) / (c * f)


@relation
def esr_ripple(di_pp: Amps, esr: Ohms) -> Volts:
    """Return the peak-to-peak voltage across a capacitor's series resistance.

        dv = di_pp·esr

    di_pp : peak-to-peak current of the capacitor [A]
    esr   : equivalent series resistance at the frequency of interest [Ω]
    returns the peak-to-peak voltage [V]; all arguments broadcast.

    Holds always; added to the ripple of the capacitance it is an upper bound, as the peaks fall at different times.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 2.5 (Ohm's law
    on the equivalent series resistance; from memory).
    """
    return di_pp * esr


@relation
def joined_esr(c_1: Farads, esr_1: Ohms, c_2: Farads, esr_2: Ohms) -> Ohms:
    """Return the series resistance of two capacitors in parallel, taken as one of c_1 + c_2.

        esr = (c_1²·esr_1 + c_2²·esr_2)/(c_1 + c_2)²

    c_1   : first capacitance [F]
    esr_1 : its series resistance [Ω]
    c_2   : second capacitance [F]
    esr_2 : its series resistance [Ω]
    returns the resistance that loses the same as both [Ω]; all arguments broadcast.

    Holds where the current divides as the capacitances do, below 1/(2·π·c·esr) of each; a little above it the size of
    the impedance is still within a few percent.

    Source: derived here: each takes c/(c_1 + c_2) of the current, and the losses add.
    """
    return (c_1**2 * esr_1 + c_2**2 * esr_2) / (c_1 + c_2) ** 2


@relation
def life_at(life_rated: Seconds, temp_rated: AbsoluteKelvins, temp: AbsoluteKelvins) -> Seconds:
    """Return the life of an electrolytic capacitor: it doubles for every 10 K below the rated temperature.

        life = life_rated·2^((temp_rated − temp)/10)

    life_rated : life stated at `temp_rated` with rated ripple current [s]
    temp_rated : temperature for which it is stated [K]
    temp       : temperature of the capacitor's core [K]
    returns the expected life [s]; all arguments broadcast.

    Holds for wet aluminium capacitors from about 40 °C to the rated temperature; 15 to 20 years is a usual ceiling.
    Raises OutOfRange if a temperature is below 100 K, which is where a value in °C would be.

    Source: H. Wang, F. Blaabjerg, Reliability of capacitors for dc-link applications in power electronic converters,
    IEEE Transactions on Industry Applications 50(5), 2014 (life models; the 10 K rule is common practice; from
    memory).
    """
    return life_rated * 2.0 ** ((temp_rated - temp) / 10.0)

# ruff: noqa: E741 - l is inductance, as the trade has it
"""Waveforms: ripple of an inductor current, its discontinuous form, and root-mean-square values."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Amps, Duty, Henries, Hertz, Ratio, Volts


@relation
def two_slope_ripple(v_rise: Volts, v_fall: Volts, l: Henries, f_sw: Hertz) -> Amps:
    """Return the peak-to-peak current of an inductor whose rise and fall fill the period.

    Equal volt-seconds up and down fix both times:

        di_pp = (1/f_sw)/(l/v_rise + l/v_fall)

    v_rise : voltage across the inductor while its current rises [V]
    v_fall : voltage across it while its current falls, as a positive number [V]
    l      : inductance [H]
    f_sw   : switching frequency [Hz]
    returns the peak-to-peak current [A]; all arguments broadcast.

    Holds in continuous conduction with two slopes per period: a buck has v_rise = Vin − Vo and v_fall = Vo, a boost
    v_rise = Vin and v_fall = Vo − Vin. Zero where one of the voltages is zero.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 2.2 (inductor
    volt-second balance), solved for the ripple (from memory).
    """
    return v_rise * v_fall / ((v_rise + v_fall) * l * f_sw)


@relation
def dcm_peak_current(i_mean: Amps, di_ccm: Amps) -> Amps:
    """Return the peak of an inductor current that starts and ends each period at zero.

        i_peak = √(2·|i_mean|·di_ccm)

    i_mean : mean inductor current [A]
    di_ccm : ripple that the same voltages, inductance and frequency give in continuous conduction [A]
    returns the peak current [A]; all arguments broadcast.

    Holds in discontinuous conduction, |i_mean| ≤ di_ccm/2; meets the continuous ripple at the boundary.

    Source: derived here: a triangle of peak i over the share s of the period has the mean i·s/2, and its slopes are
    those of continuous conduction, i = di_ccm·s. See R. W. Erickson, D. Maksimovic, Fundamentals of Power
    Electronics, 2nd ed., Kluwer 2001, ch. 5.2.
    """
    return np.sqrt(2.0 * np.abs(i_mean) * di_ccm)


@relation
def dcm_conduction_share(i_mean: Amps, di_ccm: Amps) -> Ratio:
    """Return the share of the period in which a discontinuous inductor current flows.

        share = √(2·|i_mean|/di_ccm)

    i_mean : mean inductor current [A]
    di_ccm : ripple that the same voltages, inductance and frequency give in continuous conduction [A], not 0
    returns rise plus fall over the period [1]; all arguments broadcast.

    Holds in discontinuous conduction, |i_mean| ≤ di_ccm/2; there it is at most 1.

    Source: derived here: a triangle of peak i over the share s of the period has the mean i·s/2, and its slopes are
    those of continuous conduction, i = di_ccm·s. See R. W. Erickson, D. Maksimovic, Fundamentals of Power
    Electronics, 2nd ed., Kluwer 2001, ch. 5.2.
    """
    return np.sqrt(2.0 * np.abs(i_mean) / di_ccm)


@relation
def pulsed_rms(i_mid: Amps, di_pp: Amps, duty: Duty) -> Amps:
    """Return the root-mean-square value of a current that is a ramp for part of the period and zero otherwise.

        i_rms = √(duty·(i_mid² + di_pp²/12))

    i_mid : mean of the ramp while it flows [A]
    di_pp : peak-to-peak change along the ramp [A]
    duty  : share of the period with current [1], 0 … 1
    returns the rms current [A]; all arguments broadcast.

    Holds for any straight ramp. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, appendix A
    (pulsating waveform with linear ripple; from memory).
    """
    return np.sqrt(duty * (i_mid**2 + di_pp**2 / 12.0))


@relation
def pulsed_ac_rms(i_mid: Amps, di_pp: Amps, duty: Duty) -> Amps:
    """Return the rms of what is left of a pulsed ramp without its mean: the capacitor current of a switched leg.

        i_rms = √(duty·((1 − duty)·i_mid² + di_pp²/12))

    i_mid : mean of the ramp while it flows [A]
    di_pp : peak-to-peak change along the ramp [A]
    duty  : share of the period with current [1], 0 … 1
    returns the rms current [A]; all arguments broadcast.

    Holds where the capacitor takes all the alternating current, and what feeds or loads it only the mean: a buck's
    input (duty D), a boost's output (duty 1 − D). Raises OutOfRange if `duty` leaves 0 … 1.

    Source: derived here: mean square duty·(i_mid² + di_pp²/12) of the pulse less the square of its mean duty·i_mid;
    the former is R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, appendix A.
    """
    return np.sqrt(duty * ((1.0 - duty) * i_mid**2 + di_pp**2 / 12.0))


@relation
def triangle_rms(di_pp: Amps) -> Amps:
    """Return the rms of a triangle around zero.

        i_rms = di_pp/√(12)

    di_pp : peak-to-peak value [A]
    returns the rms current [A].

    Holds for any ratio of rise to fall.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, appendix A
    (triangular waveform, no dc component; there with the peak; from memory).
    """
    return di_pp / np.sqrt(12.0)


@relation
def triangular_pulse_rms(i_peak: Amps, duty: Duty) -> Amps:
    """Return the rms of a current that ramps between zero and a peak, and is zero for the rest of the period.

        i_rms = |i_peak|·√(duty/3)

    i_peak : peak of the pulse [A]
    duty   : share of the period with current [1], 0 … 1
    returns the rms current [A]; all arguments broadcast.

    Holds for one ramp or for a rise followed by a fall. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, appendix A
    (triangular pulses; from memory).
    """
    return np.abs(i_peak) * np.sqrt(duty / 3.0)


@relation
def offset_ripple_rms(i: Amps, di_half: Amps) -> Amps:
    """Return the rms of a direct current with linear ripple.

        i_rms = √(i² + di_half²/3)

    i       : mean current [A]
    di_half : half of the peak-to-peak ripple [A]
    returns the rms current [A]; all arguments broadcast.

    Holds for straight slopes that fill the period.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, appendix A (dc
    plus linear ripple; from memory).
    """
    return np.sqrt(i**2 + di_half**2 / 3.0)

"""Conduction: what a resistance loses to the current through it, and how resistance moves with temperature."""

from chargewright.base.relation import relation
from chargewright.base.units import AbsoluteKelvins, Amps, Duty, Ohms, PerKelvin, SquareAmps, Watts


@relation
def ramp_mean_square(i_mid: Amps, di_pp: Amps) -> SquareAmps:
    """Return the mean square of a current that is a straight ramp, or a row of them.

    The ramp runs evenly through `di_pp` around `i_mid`, up or down:

        i_ms = i_mid² + di_pp²/12

    i_mid : mean of the ramp [A]
    di_pp : peak-to-peak change along the ramp [A]
    returns the mean square over the ramp [A²]; all arguments broadcast.

    Holds for any straight ramp, through zero included.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, appendix A (rms of
    dc plus linear ripple; there with half of the peak-to-peak value; from memory).
    """
    return i_mid**2 + di_pp**2 / 12.0


@relation
def switch_conduction_loss(i_on: Amps, di_pp: Amps, duty: Duty, r_on: Ohms) -> Watts:
    """Return the mean conduction loss of a switch that carries a ramp.

    The switch conducts for `duty` of each period. While on, its current is a straight ramp around `i_on`;
    otherwise it is zero:

        p = r_on·duty·(i_on² + di_pp²/12)

    i_on  : mean current during the on-time [A]
    di_pp : peak-to-peak ripple during the on-time [A]
    duty  : on-time over period [1], 0 … 1
    r_on  : resistance at the junction temperature of interest [Ω]
    returns the loss averaged over the period [W]; all arguments broadcast.

    Holds in continuous conduction, reversed current included. In discontinuous conduction `duty` is the share of the
    period with current, `i_on` half of the peak and `di_pp` the peak. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: A. Kusko, M. T. Thompson, Power Quality in Electrical Systems, McGraw-Hill 2007, ch. 4, fig. 4.9 (rms of a
    dc waveform with ripple), times duty for the off-time (from memory).
    """
    return r_on * duty * (i_on**2 + di_pp**2 / 12.0)


@relation
def resistive_loss(i_rms: Amps, r: Ohms) -> Watts:
    """Return the mean loss of a resistance.

        p = i_rms²·r

    i_rms : root-mean-square current [A]
    r     : resistance [Ω]
    returns the loss [W]; all arguments broadcast.

    Holds for any waveform, as long as the resistance is the same at all frequencies that carry current.

    Source: J. P. Joule, On the heat evolved by metallic conductors of electricity, Philosophical Magazine 19, 1841.
    """
    return i_rms**2 * r


@relation
def resistance_at(r_25: Ohms, temp_co: PerKelvin, temp: AbsoluteKelvins) -> Ohms:
    """Return a resistance at a temperature, from its value at 25 °C and a straight slope.

        r = r_25·(1 + temp_co·(temp − 298.15))

    r_25    : resistance at 25 °C [Ω]
    temp_co : slope over the resistance at 25 °C [1/K]; about 0.004 for copper and for silicon switches
    temp    : temperature of the conductor or junction [K]
    returns the resistance [Ω]; all arguments broadcast.

    Holds where the curve is near a straight line: copper from -50 to 200 °C, switches within some 10 % from 25 to
    125 °C. Raises OutOfRange if `temp` is below 100 K, which is where a value in °C would be.

    Source: definition of the temperature coefficient of resistance (IEC 60028:1925, International standard of
    resistance for copper), here referred to 25 °C as data sheets of switches do (common practice; from memory).
    """
    return r_25 * (1.0 + temp_co * (temp - 298.15))

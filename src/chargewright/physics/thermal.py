"""Heat: temperature from loss, the loop of loss and resistance, and the current at which it runs away."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import (
    AbsoluteKelvins,
    Amps,
    KelvinDifference,
    Kelvins,
    KelvinsPerWatt,
    Ohms,
    PerKelvin,
    Seconds,
    Watts,
)


@relation
def temperature_rise(p: Watts, r_th: KelvinsPerWatt) -> KelvinDifference:
    """Return how far a steady loss heats a part above its reference.

        rise = p·r_th

    p    : loss [W]
    r_th : thermal resistance from the part to the reference [K/W]
    returns the rise [K]; all arguments broadcast.

    Holds at rest, with a thermal resistance that does not depend on the rise.

    Source: definition of thermal resistance; JEDEC JESD51-1:1995.
    """
    return p * r_th


@relation
def heated_temperature(temp_ref: AbsoluteKelvins, p: Watts, r_th: KelvinsPerWatt) -> Kelvins:
    """Return the temperature of a case or junction above a reference.

        temp = temp_ref + p·r_th

    temp_ref : temperature of ambient, board or case [K]
    p        : loss [W]
    r_th     : thermal resistance from the part to that reference [K/W]
    returns the temperature [K]; all arguments broadcast.

    Holds at rest. Raises OutOfRange if `temp_ref` is below 100 K, which is where a value in °C would be.

    Source: definition of thermal resistance; JEDEC JESD51-1:1995.
    """
    return temp_ref + p * r_th


@relation
def rise_after(rise_final: KelvinDifference, t: Seconds, tau: Seconds) -> KelvinDifference:
    """Return the rise of a part with one time constant, a time after its loss has begun.

        rise = rise_final·(1 − exp(−t/tau))

    rise_final : rise at rest [K]
    t          : time since the loss began [s]
    tau        : thermal resistance times heat capacity [s]
    returns the rise [K]; all arguments broadcast.

    Holds for one lump; a real part is a sum of several.

    Source: derived here: a heat capacity fed through a thermal resistance. See JEDEC JESD51-14:2010.
    """
    return rise_final * (1.0 - np.exp(-t / tau))


@relation
def self_heated_temperature(
    temp_amb: AbsoluteKelvins, r_th: KelvinsPerWatt, i_rms: Amps, r_25: Ohms, temp_co: PerKelvin
) -> Kelvins:
    """Return the temperature at which a resistance rests that grows with its own heat.

        loop = r_th·i_rms²·r_25·temp_co
        temp = temp_amb + r_th·i_rms²·r_25·(1 + temp_co·(temp_amb − 298.15))/(1 − loop)

    temp_amb : ambient temperature [K]
    r_th     : thermal resistance to ambient [K/W]
    i_rms    : current [A]
    r_25     : resistance at 25 °C [Ω]
    temp_co  : slope over the resistance at 25 °C [1/K]
    returns the temperature [K], inf where there is none (runaway); all arguments broadcast.

    Holds for a resistance on a straight line of temperature and a loss from this current alone. Raises OutOfRange if
    `temp_amb` is below 100 K, which is where a value in °C would be.

    Source: derived here: r = r_25·(1 + temp_co·(temp − 298.15)) and temp = temp_amb + r_th·i_rms²·r, solved for temp.
    """
    loop = r_th * i_rms**2 * r_25 * temp_co
    rise = r_th * i_rms**2 * r_25 * (1.0 + temp_co * (temp_amb - 298.15)) / np.where(loop < 1.0, 1.0 - loop, np.nan)
    return temp_amb + np.where(loop < 1.0, rise, np.inf)


@relation
def runaway_current(r_th: KelvinsPerWatt, r_25: Ohms, temp_co: PerKelvin) -> Amps:
    """Return the current from which a resistance has no temperature to rest at.

        i = √(1/(r_th·r_25·temp_co))

    r_th    : thermal resistance to ambient [K/W]
    r_25    : resistance at 25 °C [Ω]
    temp_co : slope over the resistance at 25 °C [1/K]
    returns the current [A], the same at any ambient; all arguments broadcast.

    Holds as `self_heated_temperature` does; a real part is destroyed long before.

    Source: derived here: where the denominator in `self_heated_temperature` becomes zero.
    """
    return np.sqrt(1.0 / (r_th * r_25 * temp_co))

"""Sources: voltage under load, what power is left behind a resistance, and who gets it."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Amps, Ohms, Ratio, Volts, Watts


@relation
def droop_voltage(v_open: Volts, r: Ohms, i: Amps) -> Volts:
    """Return the voltage behind a resistance.

        v = v_open − r·i

    v_open : voltage without load [V]
    r      : resistance of source, cable and path [Ω]
    i      : current out of the source [A]
    returns the voltage at the far end [V]; all arguments broadcast.

    Holds for steady current.

    Source: G. S. Ohm, Die galvanische Kette, mathematisch bearbeitet, 1827.
    """
    return v_open - r * i


@relation
def constant_power_voltage(v_source: Volts, r: Ohms, p: Watts) -> Volts:
    """Return the voltage at a load that takes constant power through a resistance.

        v = (v_source + √(v_source² − 4·r·p))/2

    v_source : voltage without load [V]
    r        : resistance between [Ω]
    p        : power of the load [W]; negative where the load feeds back
    returns the voltage at the load [V], nan where there is no solution; all arguments broadcast.

    Holds for power up to `greatest_power`. Of the two solutions this is the upper one, the only one that a regulated
    converter can rest at.

    Source: derived here: v·(v_source − v)/r = p, solved for v.
    """
    d = v_source**2 - 4.0 * r * p
    return (v_source + np.sqrt(np.where(d >= 0.0, d, np.nan))) / 2.0


@relation
def constant_power_current(v_source: Volts, r: Ohms, p: Watts) -> Amps:
    """Return the current of a load that takes constant power through a resistance.

        i = 2·p/(v_source + √(v_source² − 4·r·p))

    v_source : voltage without load [V]
    r        : resistance between [Ω]
    p        : power of the load [W]; negative where the load feeds back
    returns the current [A], nan where there is no solution; all arguments broadcast.

    Holds for power up to `greatest_power`; goes with the voltage of `constant_power_voltage`.

    Source: derived here: p over the voltage that solves v·(v_source − v)/r = p.
    """
    d = v_source**2 - 4.0 * r * p
    return 2.0 * p / (v_source + np.sqrt(np.where(d >= 0.0, d, np.nan)))


@relation
def greatest_power(v_source: Volts, r: Ohms) -> Watts:
    """Return the most power that a source gives through a resistance.

        p = v_source²/(4·r)

    v_source : voltage without load [V]
    r        : resistance between [Ω], above 0
    returns the power at half of the voltage [W]; all arguments broadcast.

    Holds for a source without a limit of its own.

    Source: derived here: where the two solutions of v·(v_source − v)/r = p meet (Jacobi's law of maximum power).
    """
    return v_source**2 / (4.0 * r)


@relation
def negative_input_resistance(v: Volts, p: Watts) -> Ohms:
    """Return the small-signal input resistance of a load that takes constant power.

        r = −v²/p

    v : voltage at the load [V]
    p : power of the load [W], not 0
    returns the resistance, negative for a load [Ω]; all arguments broadcast.

    Holds at frequencies well inside the bandwidth of the converter's regulation.

    Source: derived here: dv/di of v·i = p. See R. D. Middlebrook, Input filter considerations in design and
    application of switching regulators, IEEE Industry Applications Society 1976.
    """
    return -(v**2) / p


@relation
def power_after_resistance(v_source: Volts, i: Amps, r: Ohms) -> Watts:
    """Return the power that arrives behind a resistance.

        p = v_source·i − r·i²

    v_source : voltage without load [V]
    i        : current out of the source [A]
    r        : resistance between [Ω]
    returns the power at the far end [W]; all arguments broadcast.

    Holds for steady current.

    Source: derived here: power of the source less the loss in the resistance.
    """
    return v_source * i - r * i**2


@relation
def charge_current_left(p_in: Watts, p_system: Watts, eta: Ratio, v_pack: Volts) -> Amps:
    """Return the charge current that an input limit leaves beside a running system.

        i = (p_in − p_system)·eta/v_pack

    p_in     : power at the bus [W]
    p_system : power of the system at the bus [W]
    eta      : efficiency from bus to pack [1]
    v_pack   : pack voltage [V]
    returns the current into the pack [A]; negative where the system wants more than there is; all arguments broadcast.

    Holds while the source has something to spare; else see `supplement_power`.

    Source: derived here: conservation of power.
    """
    return (p_in - p_system) * eta / v_pack


@relation
def supplement_power(p_system: Watts, p_in: Watts, eta: Ratio) -> Watts:
    """Return what a pack has to give when a system wants more than the source may give.

        p = (p_system − p_in)/eta

    p_system : power of the system at the bus [W]
    p_in     : power from the source at the bus [W]
    eta      : efficiency from pack to bus [1]
    returns the power out of the pack [W]; all arguments broadcast.

    Holds while `p_system` is above `p_in`.

    Source: derived here: conservation of power.
    """
    return (p_system - p_in) / eta

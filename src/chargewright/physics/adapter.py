"""Adapters: what they take from the wall, and how long their output takes to move."""

from chargewright.base.relation import relation
from chargewright.base.units import Ratio, Seconds, Volts, VoltsPerSecond, Watts


@relation
def wall_power(p_out: Watts, p_no_load: Watts, eta_slope: Ratio) -> Watts:
    """Return what an adapter takes from the wall.

    A loss that is always there and one that grows with the load:

        p = p_no_load + p_out/eta_slope

    p_out     : power at the adapter's output [W]
    p_no_load : wall power with nothing drawn [W]
    eta_slope : output over wall power of what is drawn on top [1], above 0
    returns the wall power [W]; all arguments broadcast.

    Holds as a fit between no load and rated load; loss that grows with the square of the current is spread over it.

    Source: derived here: the straight line through the no-load point that has the slope 1/eta_slope.
    """
    return p_no_load + p_out / eta_slope


@relation
def slew_time(dv: Volts, slew: VoltsPerSecond) -> Seconds:
    """Return the time that a steady ramp takes.

        t = dv/slew

    dv   : size of the change [V], 0 or more
    slew : rate of change [V/s], above 0
    returns the time [s]; all arguments broadcast.

    Holds for a straight ramp; a voltage that may not move faster than `slew` takes this long or longer.

    Source: definition of the slew rate.
    """
    return dv / slew

"""Copper: resistivity, skin depth, traces on a board and round wire."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import (
    AbsoluteKelvins,
    Amps,
    Hertz,
    KelvinDifference,
    Metres,
    OhmMetres,
    Ohms,
    OhmsPerMetre,
    Ratio,
    SquareMetres,
)

OUTER_LAYER = 0.048
"""Factor of `ipc2221_current` for a trace in air [1]; IPC-2221 ch. 6.2."""
INNER_LAYER = 0.024
"""Factor of `ipc2221_current` for a trace inside the board [1]; IPC-2221 ch. 6.2."""


@relation
def copper_resistivity(temp: AbsoluteKelvins) -> OhmMetres:
    """Return the resistivity of annealed copper.

        rho = 1.7241e-8·(1 + 0.00393·(temp − 293.15))

    temp : temperature of the metal [K]
    returns the resistivity [Ω·m].

    Holds from about -50 to 200 °C. Plated and printed copper is up to 10 % higher. Raises OutOfRange if `temp` is
    below 100 K, which is where a value in °C would be.

    Source: IEC 60028:1925, International standard of resistance for copper (values at 20 °C; from memory).
    """
    return 1.7241e-8 * (1.0 + 0.00393 * (temp - 293.15))


@relation
def skin_depth(rho: OhmMetres, f: Hertz) -> Metres:
    """Return the depth at which a current in a thick conductor has fallen to 1/e.

        depth = √(rho/(π·4e-7·π·f))

    rho : resistivity [Ω·m]
    f   : frequency [Hz]
    returns the depth [m]; all arguments broadcast.

    Holds for a sine in a conductor that is not magnetic and thicker than the depth.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 13.4
    (permeability of vacuum 4e-7·π H/m; from memory).
    """
    return np.sqrt(rho / (np.pi * 4e-7 * np.pi * f))


@relation
def sheet_resistance(rho: OhmMetres, thickness: Metres) -> Ohms:
    """Return the resistance of one square of a foil, whatever its size.

        r = rho/thickness

    rho       : resistivity [Ω·m]
    thickness : thickness of the foil [m]
    returns the resistance per square [Ω]; all arguments broadcast.

    Holds below the frequency at which the skin depth comes near the thickness.

    Source: derived here: a bar as long as it is wide; L. J. van der Pauw, Philips Research Reports 13, 1958.
    """
    return rho / thickness


@relation
def trace_resistance(rho: OhmMetres, length: Metres, width: Metres, thickness: Metres) -> Ohms:
    """Return the resistance of a trace.

        r = rho·length/(width·thickness)

    rho       : resistivity [Ω·m]
    length    : length [m]
    width     : width [m]
    thickness : thickness [m]
    returns the resistance [Ω]; all arguments broadcast.

    Holds for an even current along the whole width.

    Source: definition of resistivity (IEC 60050-121).
    """
    return rho * length / (width * thickness)


@relation
def ipc2221_current(k_layer: Ratio, rise: KelvinDifference, area: SquareMetres) -> Amps:
    """Return the current that heats a trace by a given rise.

        i = k_layer·rise^0.44·(area/(25.4e-6)²)^0.725

    k_layer : 0.048 outside (`OUTER_LAYER`), 0.024 inside the board (`INNER_LAYER`) [1]
    rise    : rise above the board without the trace [K]
    area    : cross-section [m²]; the formula's own unit is the square mil
    returns the current [A]; all arguments broadcast.

    Holds as a fit, for 10 to 100 K, up to 35 A outside or 17.5 A inside, and up to 10 mm of width; a plane nearby
    cools better than it says.

    Source: IPC-2221 (and IPC-2221A), Generic standard on printed board design, ch. 6.2 (constants as several open
    calculators print them).
    """
    return k_layer * rise**0.44 * (area / 25.4e-6**2) ** 0.725


@relation
def ipc2221_width(k_layer: Ratio, i: Amps, rise: KelvinDifference, thickness: Metres) -> Metres:
    """Return the width that a trace needs so that a current heats it by a given rise.

        w = (25.4e-6)²·(i/(k_layer·rise^0.44))^(1/0.725)/thickness

    k_layer   : 0.048 outside (`OUTER_LAYER`), 0.024 inside the board (`INNER_LAYER`) [1]
    i         : current [A]
    rise      : rise above the board without the trace [K]
    thickness : thickness of the copper [m]
    returns the width [m]; all arguments broadcast.

    Holds as `ipc2221_current` does, of which it is the inverse.

    Source: IPC-2221 (and IPC-2221A), Generic standard on printed board design, ch. 6.2, solved for the width
    (constants as several open calculators print them).
    """
    return 25.4e-6**2 * (i / (k_layer * rise**0.44)) ** (1.0 / 0.725) / thickness


@relation
def awg_diameter(gauge: Ratio) -> Metres:
    """Return the diameter of a bare round wire by its American wire gauge.

        d = 0.127e-3·92^((36 − gauge)/39)

    gauge : gauge number [1]; 0, −1, −2, −3 stand for 1/0, 2/0, 3/0, 4/0
    returns the diameter [m].

    Holds for solid wire from 4/0 to 56.

    Source: ASTM B258, Standard nominal diameters and cross-sectional areas of AWG sizes of solid round wires (from
    memory).
    """
    return 0.127e-3 * 92.0 ** ((36.0 - gauge) / 39.0)


@relation
def round_wire_resistance(rho: OhmMetres, diameter: Metres) -> OhmsPerMetre:
    """Return the resistance of a solid round wire per length of one conductor.

        r = 4·rho/(π·diameter²)

    rho      : resistivity [Ω·m]
    diameter : diameter of the metal [m]
    returns the resistance per length [Ω/m]; all arguments broadcast.

    Holds at frequencies whose skin depth is above half of the diameter; a cable has two conductors.

    Source: definition of resistivity (IEC 60050-121), for a round cross-section.
    """
    return 4.0 * rho / (np.pi * diameter**2)

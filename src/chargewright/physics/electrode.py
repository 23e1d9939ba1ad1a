"""From electrode data to the resistances of a cell: charge transfer, layers, diffusion, all for small currents."""

from typing import Annotated, Any

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import AbsoluteKelvins, Metres, Ohms, Ratio, Seconds, SquareMetres, Volts

FARADAY = 96485.33212
"""C/mol, exact product of SI constants."""
GAS_CONSTANT = 8.314462618
"""J/(mol·K), exact product of SI constants."""

Rates = Annotated[Any, "mol/(m2*s)"]
Diffusivities = Annotated[Any, "m2/s"]
Conductivities = Annotated[Any, "S/m"]
Concentrations = Annotated[Any, "mol/m3"]
MolarJoules = Annotated[Any, "J/mol"]
PerMetre = Annotated[Any, "1/m"]


@relation
def arrhenius_factor(energy: MolarJoules, temp: AbsoluteKelvins, temp_ref: AbsoluteKelvins) -> Ratio:
    """Return by how much a rate or a diffusivity is greater than at its reference temperature.

        k = exp(energy/8.314462618·(1/temp_ref − 1/temp))

    energy   : activation energy [J/mol]
    temp     : temperature [K]
    temp_ref : temperature at which the rate was stated [K]
    returns the factor [1]; all arguments broadcast.

    Holds where one step governs the rate. Raises OutOfRange if a temperature is below 100 K.

    Source: Arrhenius' law, as the Battery Parameter eXchange standard applies it to its parameters (from memory).
    """
    return np.exp(energy / GAS_CONSTANT * (1.0 / temp_ref - 1.0 / temp))


@relation
def charge_transfer_resistance(rate: Rates, x: Ratio, surface: SquareMetres, temp: AbsoluteKelvins) -> Ohms:
    """Return the resistance of the reaction at the particles of one electrode.

        r = 8.314462618·temp/(96485.33212²·rate·√(x·(1 − x))·surface)

    rate    : reaction rate constant, normalised to half-filled particles and resting electrolyte [mol/(m2*s)]
    x       : stoichiometry of the particles [1]
    surface : surface of all particles of the electrode [m²]
    temp    : temperature [K]
    returns the resistance [Ω]; all arguments broadcast.

    Holds for overvoltages well below 2·R·T/F, about 50 mV, and an even current over the electrode. Raises OutOfRange
    if `temp` is below 100 K.

    Source: Butler-Volmer equation for small overvoltage: J. Newman, K. E. Thomas-Alyea, Electrochemical Systems, 3rd
    ed., Wiley 2004, ch. 8 (from memory).
    """
    return GAS_CONSTANT * temp / (FARADAY**2 * rate * np.sqrt(x * (1.0 - x)) * surface)


@relation
def layer_resistance(path: PerMetre, conductivity: Conductivities) -> Ohms:
    """Return the resistance of layers that a current crosses.

        r = path/conductivity

    path         : sum over the layers of thickness over area and transport efficiency; a third of it where the current
                   enters evenly over the thickness, as in an electrode [1/m]
    conductivity : conductivity of what fills the layers [S/m]
    returns the resistance [Ω]; all arguments broadcast.

    Holds for an even current over the area.

    Source: Ohm's law; the third is the mean of a current that grows linearly over the thickness: S. G. Marquis et al.,
    Journal of the Electrochemical Society 166, 2019, A3693 (from memory).
    """
    return path / conductivity


@relation
def particle_diffusion_resistance(
    ocp_slope: Volts, radius: Metres, diffusivity: Diffusivities, c_max: Concentrations, surface: SquareMetres
) -> Ohms:
    """Return the resistance of diffusion into round particles under lasting current.

        r = |ocp_slope|·radius/(5·96485.33212·diffusivity·c_max·surface)

    ocp_slope   : change of the electrode's potential over its stoichiometry [V]
    radius      : radius of the particles [m]
    diffusivity : diffusivity of lithium in the particles [m2/s]
    c_max       : concentration of lithium at stoichiometry 1 [mol/m3]
    surface     : surface of all particles of the electrode [m²]
    returns the resistance [Ω]; all arguments broadcast.

    Holds after some time constants, for a potential that is straight over the concentrations in a particle.

    Source: T. Jacobsen, K. West, Diffusion impedance in planar, cylindrical and spherical symmetry, Electrochimica
    Acta 40(2), 1995: first two terms for the sphere, less the mean filling (from memory).
    """
    return np.abs(ocp_slope) * radius / (5.0 * FARADAY * diffusivity * c_max * surface)


@relation
def particle_diffusion_time(radius: Metres, diffusivity: Diffusivities) -> Seconds:
    """Return the time constant of diffusion into round particles.

        tau = radius²/(35·diffusivity)

    radius      : radius of the particles [m]
    diffusivity : diffusivity of lithium in the particles [m2/s]
    returns the time constant [s]; all arguments broadcast.

    Holds for times of about `tau` and more; the first moments of a step are quicker.

    Source: as `particle_diffusion_resistance`: third term of the same series over the second (from memory).
    """
    return radius**2 / (35.0 * diffusivity)


@relation
def electrolyte_diffusion_resistance(
    path: PerMetre, diffusivity: Diffusivities, c_rest: Concentrations, transference: Ratio, temp: AbsoluteKelvins
) -> Ohms:
    """Return the resistance of the concentration difference that a lasting current builds up in the electrolyte.

        r = 2·8.314462618·temp·(1 − transference)²·path/(96485.33212²·c_rest·diffusivity)

    path         : as for `layer_resistance` [1/m]
    diffusivity  : diffusivity of lithium ions in the electrolyte [m2/s]
    c_rest       : concentration of the electrolyte at rest [mol/m3]
    transference : share of the current that lithium ions carry in the electrolyte [1]
    temp         : temperature [K]
    returns the resistance [Ω]; all arguments broadcast.

    Holds for small differences of concentration in an ideal solution. Raises OutOfRange if `temp` is below 100 K.

    Source: S. G. Marquis et al., Journal of the Electrochemical Society 166, 2019, A3693, single particle model with
    electrolyte, steady state (from memory).
    """
    return 2.0 * GAS_CONSTANT * temp * (1.0 - transference) ** 2 * path / (FARADAY**2 * c_rest * diffusivity)


@relation
def electrolyte_diffusion_time(
    porosity: Ratio, thickness: Metres, diffusivity: Diffusivities, efficiency: Ratio
) -> Seconds:
    """Return the time constant with which the electrolyte's concentration settles.

        tau = porosity·thickness²/(π²·diffusivity·efficiency)

    porosity    : share of the volume that electrolyte fills, mean over the thickness [1]
    thickness   : thickness of both electrodes and separator [m]
    diffusivity : diffusivity of lithium ions in the electrolyte [m2/s]
    efficiency  : transport efficiency, mean over the thickness [1]
    returns the time constant [s]; all arguments broadcast.

    Holds for the slowest part of the settling.

    Source: slowest mode of diffusion between two walls: J. Crank, The Mathematics of Diffusion, 2nd ed., Oxford 1975,
    ch. 4 (from memory).
    """
    return porosity * thickness**2 / (np.pi**2 * diffusivity * efficiency)

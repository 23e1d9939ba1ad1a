"""The resistances of a cell, estimated from the electrodes of its BPX file around rest.

R0 holds charge transfer at both electrodes, the electrolyte and the solid; the RC pairs are diffusion into the
particles of each electrode and in the electrolyte. Left out: what large currents bend (charge transfer falls, the
electrolyte runs dry), spread of current over the depth of an electrode, films, tabs and can.
"""

from dataclasses import dataclass

import numpy as np

from chargewright.base.errors import PartsError
from chargewright.parts._bpx_document import Electrode, Group
from chargewright.parts.cell import Array, RcPair, frozen
from chargewright.physics.electrode import (
    arrhenius_factor,
    charge_transfer_resistance,
    electrolyte_diffusion_resistance,
    electrolyte_diffusion_time,
    layer_resistance,
    particle_diffusion_resistance,
    particle_diffusion_time,
)

SOC_ROWS = np.unique(np.round([0, 0.01, 0.02, 0.03, 0.075, *np.arange(0.05, 0.951, 0.05), 0.97, 0.98, 0.99, 1.0], 4))
TEMP_COLUMNS = np.array([263.15, 273.15, 283.15, 298.15, 318.15, 333.15])
_STEP = 0.005
"""Step of state of charge for slopes of potentials."""


@dataclass(frozen=True, slots=True)
class Layers:
    """Both electrodes and what is between them."""

    parameters: Group
    negative: Electrode
    positive: Electrode
    area: float | None
    """Area of all electrode pairs [m²]."""
    temp_ref: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Resistances:
    """Tables over (soc, temp)."""

    soc: Array
    temp: Array
    r0: Array
    pairs: tuple[RcPair, ...]


def estimated_resistances(layers: Layers) -> Resistances:
    """Return the estimate for charge and discharge alike. Raises PartsError if the file lacks what it needs."""
    if layers.area is None:
        raise PartsError(
            f"{layers.parameters.shown}  Cell\n    gives no electrode area, so no resistance can be estimated; give "
            "the cell as a table (.csv) with its measured resistance instead"
        )
    r0 = _charge_transfer(layers, layers.negative) + _charge_transfer(layers, layers.positive) + _conduction(layers)
    contact = layers.parameters.group("Cell")
    if contact.has("Contact resistance [Ohm]"):
        r0 = r0 + contact.number("Contact resistance [Ohm]", 0.0, 100.0)
    pairs = [_particles(layers, layers.negative), _particles(layers, layers.positive)]
    if layers.parameters.has("Electrolyte"):
        pairs.append(_electrolyte_diffusion(layers))
    pairs.sort(key=lambda pair: float(np.mean(pair.tau)))
    return Resistances(soc=frozen(SOC_ROWS), temp=frozen(TEMP_COLUMNS), r0=frozen(r0), pairs=tuple(pairs))


def _factor(keys: Group, quantity: str, temp_ref: float) -> Array:
    """Return by how much a quantity of the file grows at each temperature; 1 where the file gives no energy."""
    name = f"{quantity} activation energy [J.mol-1]"
    energy = keys.number(name, 0.0, 3e5) if keys.has(name) else 0.0
    return np.asarray(arrhenius_factor(energy=energy, temp=TEMP_COLUMNS, temp_ref=temp_ref), dtype=float)


def _charge_transfer(layers: Layers, electrode: Electrode) -> Array:
    assert layers.area is not None
    keys = electrode.keys
    rate = keys.number("Reaction rate constant [mol.m-2.s-1]", 1e-14, 1e3)
    x = np.clip(electrode.stoichiometry(SOC_ROWS), 1e-3, 1.0 - 1e-3)[:, None]
    rates = rate * _factor(keys, "Reaction rate constant", layers.temp_ref)
    surface = electrode.particle_surface(layers.area)
    return np.asarray(charge_transfer_resistance(rate=rates, x=x, surface=surface, temp=TEMP_COLUMNS), dtype=float)


def _path(layers: Layers) -> float:
    """Return what a current crosses in the electrolyte, over its conductivity [1/m]."""
    assert layers.area is not None
    total = 0.0
    for name, share in (("Negative electrode", 1 / 3), ("Separator", 1.0), ("Positive electrode", 1 / 3)):
        keys = layers.parameters.group(name)
        thickness = keys.number("Thickness [m]", 1e-7, 1e-2)
        total += share * thickness / (keys.number("Transport efficiency", 1e-4, 1.0) * layers.area)
    return total


def _conduction(layers: Layers) -> Array:
    """Return the resistance of electrolyte and solid; a single-particle file has neither."""
    if not layers.parameters.has("Electrolyte"):
        return np.zeros((len(SOC_ROWS), len(TEMP_COLUMNS)))
    assert layers.area is not None
    keys = layers.parameters.group("Electrolyte")
    at_rest = np.array([keys.number("Initial concentration [mol.m-3]", 1.0, 1e5)])
    conductivity = float(keys.curve("Conductivity [S.m-1]")(at_rest)[0])
    if conductivity <= 0.0:
        raise PartsError(f"{keys.shown}  Conductivity [S.m-1]\n    is {conductivity:g} at rest; it must be above zero")
    factor = _factor(keys, "Conductivity", layers.temp_ref)
    total = np.asarray(layer_resistance(path=_path(layers), conductivity=conductivity * factor), dtype=float)
    for electrode in (layers.negative.keys, layers.positive.keys):
        path = electrode.number("Thickness [m]", 1e-7, 1e-2) / (3.0 * layers.area)
        total = total + layer_resistance(path=path, conductivity=electrode.number("Conductivity [S.m-1]", 1e-6, 1e8))
    return np.broadcast_to(total, (len(SOC_ROWS), len(TEMP_COLUMNS)))


def _particles(layers: Layers, electrode: Electrode) -> RcPair:
    assert layers.area is not None
    keys = electrode.keys
    low, high = np.clip(SOC_ROWS - _STEP, 0.0, 1.0), np.clip(SOC_ROWS + _STEP, 0.0, 1.0)
    rise = electrode.curve("OCP [V]", high) - electrode.curve("OCP [V]", low)
    slope = rise / (electrode.stoichiometry(high) - electrode.stoichiometry(low))
    at_ref = electrode.curve("Diffusivity [m2.s-1]", SOC_ROWS)
    if np.any(at_ref <= 0.0):
        raise PartsError(f"{keys.shown}  Diffusivity [m2.s-1]\n    must be above zero at every stoichiometry in use")
    diffusivity = at_ref[:, None] * _factor(keys, "Diffusivity", layers.temp_ref)
    radius = keys.number("Particle radius [m]", 1e-9, 1e-3)
    r = particle_diffusion_resistance(
        ocp_slope=np.maximum(np.abs(slope), 1e-6)[:, None],
        radius=radius,
        diffusivity=diffusivity,
        c_max=keys.number("Maximum concentration [mol.m-3]", 1.0, 1e6),
        surface=electrode.particle_surface(layers.area),
    )
    tau = particle_diffusion_time(radius=radius, diffusivity=diffusivity)
    return RcPair(r_charge=frozen(r), r_discharge=frozen(r), tau=frozen(tau))


def _electrolyte_diffusion(layers: Layers) -> RcPair:
    keys = layers.parameters.group("Electrolyte")
    c_rest = keys.number("Initial concentration [mol.m-3]", 1.0, 1e5)
    at_rest = float(keys.curve("Diffusivity [m2.s-1]")(np.array([c_rest]))[0])
    if at_rest <= 0.0:
        raise PartsError(f"{keys.shown}  Diffusivity [m2.s-1]\n    is {at_rest:g} at rest; it must be above zero")
    diffusivity = at_rest * _factor(keys, "Diffusivity", layers.temp_ref)
    groups = [layers.parameters.group(name) for name in ("Negative electrode", "Separator", "Positive electrode")]
    thickness = [group.number("Thickness [m]", 1e-7, 1e-2) for group in groups]
    r = electrolyte_diffusion_resistance(
        path=_path(layers),
        diffusivity=diffusivity,
        c_rest=c_rest,
        transference=keys.number("Cation transference number", 0.0, 0.99),
        temp=TEMP_COLUMNS,
    )
    tau = electrolyte_diffusion_time(
        porosity=float(np.average([g.number("Porosity", 0.01, 1.0) for g in groups], weights=thickness)),
        thickness=float(sum(thickness)),
        diffusivity=diffusivity,
        efficiency=float(np.average([g.number("Transport efficiency", 1e-4, 1.0) for g in groups], weights=thickness)),
    )
    shape = (len(SOC_ROWS), len(TEMP_COLUMNS))
    resistance, times = frozen(np.broadcast_to(r, shape)), frozen(np.broadcast_to(tau, shape))
    return RcPair(r_charge=resistance, r_discharge=resistance, tau=times)

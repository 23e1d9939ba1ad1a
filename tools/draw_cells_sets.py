"""Published parameter sets behind the generic cells: where each number comes from, and what is changed on the way."""

from __future__ import annotations

import importlib
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

GAS_CONSTANT = 8.314462618  # J/(mol·K), exact product of SI constants
T_REF = 298.15  # K, the temperature at which every set used here is given
Array = np.ndarray[Any, np.dtype[np.float64]]


@dataclass(frozen=True, kw_only=True)
class Origin:
    """Where a cell's numbers come from, and what is changed on the way.

    activation : parameter of the set -> activation energy [J/mol] that replaces the set's own temperature
                 dependence; at 25 °C nothing changes
    entropy    : set whose temperature slope of the rest voltage is used, or None for a slope of zero
    lowest     : state of charge below which resistances stay as they are there: nearer to empty, a pulse tells how
                 far it empties a particle's surface, not a resistance
    """

    set_name: str
    activation: dict[str, float] = field(default_factory=dict)
    entropy: str | None = None
    lowest: float = 0.0
    notes: tuple[str, ...] = ()


NEG_D, POS_D = "Negative particle diffusivity [m2.s-1]", "Positive particle diffusivity [m2.s-1]"
NEG_J, POS_J = (
    "Negative electrode exchange-current density [A.m-2]",
    "Positive electrode exchange-current density [A.m-2]",
)
ELY_D, ELY_K = "Electrolyte diffusivity [m2.s-1]", "Electrolyte conductivity [S.m-1]"

ORIGINS = {
    "nmc_energy": Origin(
        set_name="Chen2020",
        lowest=0.02,
        activation={NEG_D: 30.3e3, POS_D: 25e3, ELY_D: 17e3, ELY_K: 17e3},
        entropy="ORegan2022",
        notes=(
            "Rest voltage and resistances: set Chen2020; at 25 degC unchanged.",
            "Temperature: kinetics as in Chen2020 (35 and 17.8 kJ/mol); particles and electrolyte by the activation",
            "energies of OKane2022 (30.3, 25, 17, 17 kJ/mol), which Chen2020 lacks.",
            "Slope of rest voltage with temperature: set ORegan2022 at equal state of charge (Chen2020 has none).",
        ),
    ),
    "nmc_power": Origin(
        set_name="Mohtat2020",
        lowest=0.075,
        entropy="ORegan2022",
        notes=(
            "Rest voltage and resistances: set Mohtat2020, with its own temperature dependence; plate area scaled",
            "from 5.0 to 3.0 Ah, so resistances times 5/3.",
            "Slope of rest voltage with temperature: borrowed from ORegan2022 at equal state of charge; that of",
            "Mohtat2020 reaches -4 mV/K, which no cell shows, and is not used.",
        ),
    ),
    "lco": Origin(
        set_name="Ai2020",
        lowest=0.05,
        activation={NEG_D: 42.77e3, POS_D: 18.55e3, NEG_J: 37.48e3, POS_J: 39.57e3},
        entropy="Ai2020",
        notes=(
            "Rest voltage and resistances: set Ai2020; at 25 degC unchanged.",
            "Temperature: electrolyte as in Ai2020; kinetics and particles by the activation energies of Marquis2019",
            "(42.77, 18.55, 37.48, 39.57 kJ/mol), also LCO/graphite; the 5 kJ/mol in Ai2020 are implausibly low.",
        ),
    ),
    "lfp": Origin(
        set_name="Prada2013",
        notes=(
            "Rest voltage: set Prada2013 (its graphite curve is borrowed from Chen2020).",
            "Resistances at 25 degC: INVENTED, typical magnitude for a power LFP cell, common practice; the set's own",
            "are far too high for such a cell.  Temperature: Arrhenius with published activation energies (electrolyte",
            "17 and graphite particles 30.3 kJ/mol as in OKane2022, graphite kinetics 35 kJ/mol as in Chen2020).",
            "Slope of rest voltage with temperature: zero, because the set gives none.",
        ),
    ),
}


def arrhenius(energy: float, temp: Any) -> Any:
    """Return the factor by which a rate at 25 °C grows at `temp` [K] for an activation `energy` [J/mol]."""
    exponent = energy / GAS_CONSTANT * (1 / T_REF - 1 / temp)
    return np.exp(exponent)


def load_pybamm() -> Any:
    os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    pybamm = importlib.import_module("pybamm")
    pybamm.set_logging_level("ERROR")
    return pybamm


def parameters(origin: Origin) -> Any:
    """Return the set's values with the activation energies of `origin` put in place of its own."""
    values = load_pybamm().ParameterValues(origin.set_name)
    for name, energy in origin.activation.items():
        values[name] = _activated(values[name], energy)
    return values


def _activated(at_ref: Any, energy: float) -> Callable[..., Any]:
    def law(*arguments: Any) -> Any:
        *others, temp = arguments
        base = at_ref(*others, T_REF) if callable(at_ref) else at_ref
        return base * arrhenius(energy, temp)

    # Parameter functions are called with as many arguments as they name: two for diffusivities and electrolyte, four
    # for exchange-current densities.
    count = at_ref.__code__.co_argcount if callable(at_ref) else 2
    if count == 4:
        return lambda c_e, c_s, c_max, temp: law(c_e, c_s, c_max, temp)
    return lambda x, temp: law(x, temp)


@dataclass(frozen=True)
class Window:
    """Stoichiometry of both electrodes at 0 and 100 %, and the charge between [Ah]."""

    x0: float
    x1: float
    y0: float
    y1: float
    capacity: float

    def at(self, soc: Any) -> tuple[Any, Any]:
        return self.x0 + soc * (self.x1 - self.x0), self.y0 + soc * (self.y1 - self.y0)


def window(values: Any) -> Window:
    pybamm = load_pybamm()
    x0, x1, y1, y0 = (float(s) for s in pybamm.lithium_ion.get_min_max_stoichiometries(values))
    q_pos = float(values.evaluate(pybamm.LithiumIonParameters().p.prim.Q_init))
    return Window(x0, x1, y0, y1, q_pos * (y0 - y1))


def rest_voltage(values: Any, soc: Array) -> Array:
    """Return the rest voltage [V] at 25 °C on the grid `soc`."""
    pybamm = load_pybamm()
    prm, win = pybamm.LithiumIonParameters(), window(values)
    # The set's reference, not 25 °C exactly: it is 0.15 K lower in one set, where no slope is defined anyway.
    temp = prm.T_ref

    def volts(z: float) -> float:
        x, y = (pybamm.Scalar(s) for s in win.at(z))
        return float(np.squeeze(values.evaluate(prm.p.prim.U(y, temp) - prm.n.prim.U(x, temp))))

    return np.array([volts(float(z)) for z in soc])


def entropic_slope(set_name: str | None, soc: Array) -> Array:
    """Return the slope of the rest voltage with temperature [V/K]; zero if no set is named."""
    if set_name is None:
        return np.zeros_like(soc)
    pybamm = load_pybamm()
    values, prm = pybamm.ParameterValues(set_name), pybamm.LithiumIonParameters()
    win = window(values)

    def slope(z: float) -> float:
        x, y = (pybamm.Scalar(s) for s in win.at(z))
        return float(np.squeeze(values.evaluate(prm.p.prim.dUdT(y) - prm.n.prim.dUdT(x))))

    return np.array([slope(float(z)) for z in soc])

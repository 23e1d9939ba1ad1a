"""Simulated pulse tests of a parameter set, and the fit of R0 and two RC pairs to them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from draw_cells_sets import T_REF, Array, Origin, load_pybamm, parameters, window

PULSE_RATE = 0.5  # of the rated capacity per hour
SHORT, LONG = (10.0, 60.0), (300.0, 1800.0)  # pulse and rest [s]
# Points across a particle's radius.  The set-up's own 20 leaves the 10 s resistance up to 4 % low, 80 less than 0.3 %.
RADIAL_POINTS = 80
R_FLOOR = 0.01  # least r2 over R0: keeps the table positive where the first pair already says too much


class PulseBench:
    """A cell on a simulated bench: pulses from equilibrium at any state of charge and temperature."""

    def __init__(self, origin: Origin, pulse: float, rest: float, radial_points: int = RADIAL_POINTS) -> None:
        pybamm = load_pybamm()
        values = parameters(origin)
        self.window, self.pulse = window(values), pulse
        self.rated = float(values["Nominal cell capacity [A.h]"])
        self._c_max = [values[f"Maximum concentration in {s} electrode [mol.m-3]"] for s in ("negative", "positive")]
        amps = pybamm.InputParameter("pulse current [A]")
        values.update(dict.fromkeys(self._inputs(0.5, T_REF), "[input]") | {"Lower voltage cut-off [V]": 0.1})
        values.update({"Upper voltage cut-off [V]": 6.0, "Current function [A]": lambda t: amps * (t < pulse)})
        model = pybamm.lithium_ion.DFN({"thermal": "isothermal"})
        solver = pybamm.IDAKLUSolver(rtol=1e-7, atol=1e-8)
        self._sim = pybamm.Simulation(model, parameter_values=values, var_pts=mesh(model, radial_points), solver=solver)
        self.t = np.concatenate(
            [[0, 1e-3], np.geomspace(0.01, pulse - 1e-3, 60), pulse + np.geomspace(1e-3, rest - 1e-3, 60)]
        )

    def _inputs(self, soc: float, temp: float) -> dict[str, float]:
        stoich = dict(zip(("negative", "positive"), zip(self.window.at(soc), self._c_max, strict=True), strict=True))
        c = {f"Initial concentration in {s} electrode [mol.m-3]": z * c_max for s, (z, c_max) in stoich.items()}
        return c | {"Ambient temperature [K]": temp, "Initial temperature [K]": temp}

    def centred(self, soc: float, sign: int) -> float:
        """Return where a pulse has to start to have `soc` at its middle, without leaving 0 … 1."""
        span = PULSE_RATE * self.rated * self.pulse / 3600 / self.window.capacity
        start = min(max(soc - sign * span / 2, 0.0), 1.0)
        return min(start, 1 - span) if sign > 0 else max(start, span)

    def polarisation(self, soc: float, temp: float, sign: int) -> tuple[Array, Array]:
        """Return polarisation and raw voltage change over current [Ω] at `self.t`; `sign` +1 charges, -1 discharges.

        Where the model runs dry at a particle's surface (cold and nearly empty) the current is halved until it lasts.
        """
        pybamm = load_pybamm()
        for rate in PULSE_RATE / 2 ** np.arange(6):
            amps = float(rate) * self.rated
            inputs = self._inputs(soc, temp) | {"pulse current [A]": -sign * amps}  # PyBaMM counts discharge positive
            try:
                solution = self._sim.solve([0, self.t[-1]], t_interp=self.t, inputs=inputs)
            except pybamm.SolverError:
                continue
            v, u = (solution[k](self.t) for k in ("Voltage [V]", "Battery open-circuit voltage [V]"))
            if np.all(np.isfinite(v)):
                return sign * (v - u) / amps, sign * (v - u[0]) / amps
        raise RuntimeError(f"no pulse could be simulated at state of charge {soc:g}, {temp:g} K")


def mesh(model: Any, radial_points: int) -> dict[Any, int]:
    return {k: radial_points if str(k).startswith("r_") else n for k, n in model.default_var_pts.items()}


def pair_response(t: Array, pulse: float, tau: float) -> Array:
    """Return the voltage of a pair of 1 Ω during and after a pulse of 1 A."""
    on = 1 - np.exp(-np.minimum(t, pulse) / tau)
    return on * np.exp(-np.maximum(t - pulse, 0) / tau)


@dataclass(frozen=True)
class Fit:
    """One RC pair beside R0 of each direction [Ω, s], with the root mean square of what is left [Ω]."""

    r0_charge: float
    r0_discharge: float
    r1: float
    tau1: float
    rms: float


def fit_pair(t: Array, pulse: float, charge: Array, discharge: Array) -> Fit:
    """Fit R0 and one pair to both directions at once; each direction is met exactly at the end of the pulse.

    The time points are spaced evenly in the logarithm, so that milliseconds and seconds count alike.
    """
    from scipy.optimize import least_squares

    on = t < pulse
    end = np.flatnonzero(on)[-1]

    def r0(eta: Array, r1: float, tau: float) -> float:
        return float(eta[end] - r1 * (1 - np.exp(-t[end] / tau)))

    def residual(q: Array) -> Array:
        r1, tau = float(q[0]), float(q[1])
        pair = r1 * pair_response(t, pulse, tau)
        return np.concatenate([(on * r0(eta, r1, tau) + pair - eta)[1:] for eta in (charge, discharge)])

    scale = float(charge[end])
    found = least_squares(residual, [0.4 * scale, 20.0], x_scale=[scale, 20.0], bounds=([0, 2.0], [np.inf, 120.0]))
    r1, tau = (float(v) for v in found.x)
    return Fit(r0(charge, r1, tau), r0(discharge, r1, tau), r1, tau, float(np.sqrt(np.mean(found.fun**2))))


@dataclass(frozen=True)
class Leftover:
    """What R0 and the first pair leave of a long test, from its tenth second on [Ω], with R0 for scale."""

    t: Array
    pulse: float
    charge: Array
    discharge: Array
    r0: float


def leftover(bench: PulseBench, soc: float, temp: float, fit: Fit) -> Leftover:
    on, first = bench.t < bench.pulse, fit.r1 * pair_response(bench.t, bench.pulse, fit.tau1)
    late = (bench.t > 10) & ~((bench.t >= bench.pulse) & (bench.t < bench.pulse + 10))

    def rest_of(sign: int, r0: float) -> Array:
        eta, _ = bench.polarisation(bench.centred(soc, sign), temp, sign)
        return np.asarray((eta - on * r0 - first)[late])

    charge, discharge = rest_of(+1, fit.r0_charge), rest_of(-1, fit.r0_discharge)
    return Leftover(bench.t[late], bench.pulse, charge, discharge, fit.r0_charge)


def fit_tau2(left: Iterable[Leftover]) -> float:
    """Return the time constant [s] that suits most states of charge: the median of a fit to each."""
    from scipy.optimize import minimize_scalar

    def best(one: Leftover) -> float:
        both = (one.charge + one.discharge) / 2

        def misfit(tau: float) -> float:
            pair = pair_response(one.t, one.pulse, tau)
            return float(np.sum((both - pair * (pair @ both) / (pair @ pair)) ** 2))

        return float(minimize_scalar(misfit, bounds=(60.0, 1200.0), method="bounded").x)

    return float(np.median([best(one) for one in left]))


def fit_r2(one: Leftover, tau2: float) -> tuple[float, float]:
    """Return r2 of charge and discharge [Ω], at least `R_FLOOR` of R0."""
    pair = pair_response(one.t, one.pulse, tau2)
    charge, discharge = (max(float(pair @ y / (pair @ pair)), R_FLOOR * one.r0) for y in (one.charge, one.discharge))
    return charge, discharge

"""Resistances from electrode data, against the equations they are the small-current limit of."""

import numpy as np
import pytest

from chargewright.physics.electrode import (
    FARADAY,
    GAS_CONSTANT,
    arrhenius_factor,
    charge_transfer_resistance,
    electrolyte_diffusion_resistance,
    electrolyte_diffusion_time,
    layer_resistance,
    particle_diffusion_resistance,
    particle_diffusion_time,
)

ROOM = 298.15


def test_arrhenius_doubles_a_rate_in_ten_kelvin_at_53_kilojoule():
    # Outside: the rule of thumb that a reaction doubles every 10 K near room temperature belongs to an activation
    # energy of R·ln 2·298.15·308.15/10 = 52.95 kJ/mol (arithmetic; common practice). 1e-3: that figure's rounding.
    assert arrhenius_factor(energy=52.95e3, temp=308.15, temp_ref=298.15) == pytest.approx(2.0, rel=1e-3)


def test_charge_transfer_is_the_slope_of_the_butler_volmer_equation():
    # Second road: η = 2RT/F·asinh(j/2j0) at a small current density, j0 = F·k·√(x(1−x)).
    k, x, surface, temp = 7e-6, 0.3, 30.0, 310.0
    i0 = FARADAY * k * np.sqrt(x * (1.0 - x)) * surface
    i = 1e-4 * i0
    eta = 2.0 * GAS_CONSTANT * temp / FARADAY * np.arcsinh(i / (2.0 * i0))
    # 1e-6: the equation bends by (i/i0)²/24.
    assert charge_transfer_resistance(rate=k, x=x, surface=surface, temp=temp) == pytest.approx(eta / i, rel=1e-6)


def test_a_third_of_an_electrode_s_thickness_counts():
    # Second road: loss of a current that grows linearly over the thickness, ∫(i·y/L)² dy·L/(κA) over i².
    y = (np.arange(2000) + 0.5) / 2000
    thickness, area, kappa = 80e-6, 0.1, 0.9
    loss = np.mean(y**2) * thickness / (kappa * area)
    assert layer_resistance(path=thickness / 3.0 / area, conductivity=kappa) == pytest.approx(loss, rel=1e-6)


def sphere_under_steady_flux(radius: float, diffusivity: float, flux: float, t_end: float) -> np.ndarray:
    """Return surface less mean concentration over time in a sphere that was even before: finite volumes, implicit."""
    shells, steps = 200, 4000
    edge = np.linspace(0.0, radius, shells + 1)
    volume, area = np.diff(edge**3) / 3.0, edge**2
    dt, dr = t_end / steps, radius / shells
    matrix = np.zeros((shells, shells))
    for k in range(shells - 1):
        g = diffusivity * area[k + 1] / dr
        matrix[[k, k + 1], [k, k + 1]] -= g
        matrix[[k, k + 1], [k + 1, k]] += g
    forward = np.linalg.inv(np.eye(shells) - dt * matrix / volume[:, None])
    source = np.zeros(shells)
    source[-1] = dt * flux * area[-1] / volume[-1]
    c, out = np.zeros(shells), np.empty(steps)
    for n in range(steps):
        c = forward @ (c + source)
        surface = c[-1] + flux * 0.5 * dr / diffusivity
        out[n] = surface - np.sum(c * volume) / np.sum(volume)
    return out


def test_particle_diffusion_settles_at_its_resistance_with_its_time():
    # Second road: Fick's law in a sphere. 0.2 %: 200 shells. The area above the curve is the resistance times its time.
    radius, diffusivity, c_max, surface, slope = 5e-6, 4e-15, 63000.0, 30.0, -0.9
    i = 1.0
    t_end = 0.5 * radius**2 / diffusivity
    lag = sphere_under_steady_flux(radius, diffusivity, i / (FARADAY * surface), t_end)
    r = particle_diffusion_resistance(
        ocp_slope=slope, radius=radius, diffusivity=diffusivity, c_max=c_max, surface=surface
    )
    assert abs(slope) * lag[-1] / c_max / i == pytest.approx(r, rel=2e-3)
    area_above = np.sum(lag[-1] - lag) * t_end / len(lag)
    # 2 %: the first steps of the implicit solution are coarse where the surface moves fastest.
    assert area_above / lag[-1] == pytest.approx(
        particle_diffusion_time(radius=radius, diffusivity=diffusivity), rel=0.02
    )


def test_electrolyte_diffusion_is_that_of_a_stack_of_layers():
    # Second road: the steady concentration by integration over the layers. The current enters evenly over an electrode,
    # so the flux of salt rises and falls linearly; the difference of the electrodes' means makes the voltage.
    layers = [(85e-6, 0.125), (12e-6, 0.32), (75e-6, 0.19)]
    area, diffusivity, c_rest, t_plus = 0.1, 3e-10, 1000.0, 0.26
    n = 4000
    x = [(np.arange(n) + 0.5) * thickness / n for thickness, _ in layers]
    share = [x[0] / layers[0][0], np.ones(n), 1.0 - x[2] / layers[2][0]]
    gradient = [
        s * (1.0 - t_plus) / (FARADAY * area * diffusivity * b) for s, (_, b) in zip(share, layers, strict=True)
    ]
    rise = [np.cumsum(g) * thickness / n for g, (thickness, _) in zip(gradient, layers, strict=True)]
    before = [0.0, rise[0][-1], rise[0][-1] + rise[1][-1]]
    means = [np.mean(r) + b for r, b in zip(rise, before, strict=True)]
    by_layers = 2.0 * GAS_CONSTANT * ROOM / FARADAY * (1.0 - t_plus) * (means[2] - means[0]) / c_rest
    path = sum(w * thickness / (b * area) for w, (thickness, b) in zip((1 / 3, 1.0, 1 / 3), layers, strict=True))
    found = electrolyte_diffusion_resistance(
        path=path, diffusivity=diffusivity, c_rest=c_rest, transference=t_plus, temp=ROOM
    )
    # 1e-3: midpoints and running sums of 4000 slices.
    assert found == pytest.approx(by_layers, rel=1e-3)


def test_electrolyte_settles_with_the_slowest_mode_between_two_walls():
    # Second road: smallest non-zero eigenvalue of diffusion between walls, 400 slices; 1e-4.
    n, thickness, porosity, diffusivity, b = 400, 170e-6, 0.3, 3e-10, 0.16
    g = diffusivity * b / porosity / (thickness / n) ** 2
    matrix = g * (2.0 * np.eye(n) - np.eye(n, k=1) - np.eye(n, k=-1))
    matrix[0, 0] = matrix[-1, -1] = g
    slowest = np.sort(np.linalg.eigvalsh(matrix))[1]
    found = electrolyte_diffusion_time(porosity=porosity, thickness=thickness, diffusivity=diffusivity, efficiency=b)
    assert found == pytest.approx(1.0 / slowest, rel=1e-4)

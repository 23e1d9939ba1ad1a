"""A cell from a file in the open Battery Parameter eXchange form (BPX, JSON).

Such a file describes electrodes, not a circuit. Rest voltage, its slope with temperature, capacity, voltage limits and
heat capacity follow from it without assumptions. Resistance does not: it is estimated from kinetics, conduction and
diffusion of the same file (`_bpx_resistance`), and the cell carries a caution that says so. A measured pulse test, as
a cell table, outranks the estimate.
"""

from pathlib import Path

import numpy as np

from chargewright.base.errors import PartsError
from chargewright.base.units import show
from chargewright.parts._bpx_document import Electrode, Group, read_document
from chargewright.parts._bpx_resistance import Layers, estimated_resistances
from chargewright.parts._grid import TEMP_REF, require_cell
from chargewright.parts.cell import Array, Cell, CellLimits, ChargeZone, scaled, with_top

STILL_AIR = 10.0
"""W/(m²·K) from a cell's surface to still air: common practice."""
HEAT_PER_CHARGE = 15.0 / 3600.0
"""J/K per coulomb of rated capacity, for a file without heat capacity: common practice."""
COOLING_PER_CHARGE = 90.0 * 3600.0
"""K/W times coulomb of rated capacity, for a file without surface: common practice."""
AT_EDGE = 0.02
"""A rest voltage at 0 or 100 % that is further than this from the cut-off [V] is worth a caution."""

SOC_FINE = np.unique(
    np.round([*np.arange(0, 1.0001, 0.005), *np.arange(0, 0.05, 0.001), *np.arange(0.95, 1, 0.001)], 4)
)


def from_bpx(path: Path, *, capacity: float | None = None) -> Cell:
    """Return the cell of a BPX file; `capacity` [C] scales it. Raises PartsError."""
    document = read_document(path)
    keys = document.parameters.group("Cell")
    negative = _electrode(document.parameters.group("Negative electrode"), positive=False)
    positive = _electrode(document.parameters.group("Positive electrode"), positive=True)
    v_min = keys.number("Lower voltage cut-off [V]", 0.5, 5.0)
    v_max = keys.number("Upper voltage cut-off [V]", 1.0, 6.0)
    rated = 3600.0 * keys.number("Nominal cell capacity [A.h]", 1e-4, 1e4)
    temp_ref = keys.number("Reference temperature [K]", 250.0, 350.0, default=TEMP_REF)
    rest = positive.curve("OCP [V]", SOC_FINE) - negative.curve("OCP [V]", SOC_FINE)
    soc_ocv, ocv = with_top(SOC_FINE, rest, along_slope=True)
    cautions = _edge_cautions(rest, v_min, v_max)
    area = _area(keys)
    span = _charge_span(keys, negative, positive, area) if area is not None else rated
    resistances = estimated_resistances(Layers(document.parameters, negative, positive, area, temp_ref))
    heat_capacity, thermal_resistance = _thermal(keys, rated, cautions)
    cell = Cell(
        key=path.stem,
        title=document.title,
        chemistry="as the title says",
        source=f"BPX file {path.name}, given by the user",
        cautions=(
            "Resistances are estimated from kinetics, conduction and diffusion of the BPX file; measure a pulse.",
            "A BPX file gives no charge zones: 0 to 45 °C at 0.5 C, below 10 °C at 0.2 C, are assumed.",
            *cautions,
        ),
        capacity=rated,
        charge_span=span,
        v_min=v_min,
        v_max=v_max,
        soc_ocv=soc_ocv,
        ocv=ocv,
        docv_dt=with_top(SOC_FINE, _entropic(positive) - _entropic(negative), along_slope=False)[1],
        temp_ref=temp_ref,
        soc=resistances.soc,
        temp=resistances.temp,
        r0_charge=resistances.r0,
        r0_discharge=resistances.r0,
        pairs=resistances.pairs,
        limits=_limits(v_min, v_max),
        heat_capacity=heat_capacity,
        thermal_resistance=thermal_resistance,
    )
    require_cell(str(path), cell)
    return scaled(cell, capacity) if capacity is not None else cell


def _electrode(keys: Group, *, positive: bool) -> Electrode:
    if keys.has("Particle"):
        raise PartsError(
            f"{keys.shown}\n    is a blend of materials, which is not read; give the cell as a table (.csv) instead"
        )
    low = keys.number("Minimum stoichiometry", 0.0, 1.0)
    high = keys.number("Maximum stoichiometry", 0.0, 1.0)
    if low >= high:
        raise PartsError(f"{keys.shown}\n    Minimum stoichiometry {low:g} is not below Maximum stoichiometry {high:g}")
    # Lithium leaves the positive electrode while the cell is charged.
    return Electrode(keys, high, low) if positive else Electrode(keys, low, high)


def _edge_cautions(rest: Array, v_min: float, v_max: float) -> list[str]:
    edges = (("0 %", float(rest[0]), "lower", v_min), ("100 %", float(rest[-1]), "upper", v_max))
    return [
        f"At {share} the file's cell rests at {show(at_rest, 'V')}, not at its {name} cut-off, {show(limit, 'V')}."
        for share, at_rest, name, limit in edges
        if abs(at_rest - limit) > AT_EDGE
    ]


def _area(keys: Group) -> float | None:
    """Return the area of all electrode pairs [m²], if the file gives it."""
    pairs = "Number of electrode pairs connected in parallel to make a cell"
    if not keys.has("Electrode area [m2]", pairs):
        return None
    return keys.number("Electrode area [m2]", 1e-8, 1e3) * keys.number(pairs, 1, 1e5)


def _charge_span(keys: Group, negative: Electrode, positive: Electrode, area: float) -> float:
    """Return the charge that both electrodes take between their stoichiometries [C]."""
    spans = [electrode.charge(area) for electrode in (negative, positive)]
    if abs(spans[0] - spans[1]) > 0.05 * spans[1]:
        raise PartsError(
            f"{keys.shown}\n    the negative electrode takes {show(spans[0], 'C')} between its stoichiometries, the "
            f"positive one {show(spans[1], 'C')}; in one cell both are equal"
        )
    return 0.5 * (spans[0] + spans[1])


def _entropic(electrode: Electrode) -> Array:
    name = "Entropic change coefficient [V.K-1]"
    return electrode.curve(name, SOC_FINE) if electrode.keys.has(name) else np.zeros(len(SOC_FINE))


def _thermal(keys: Group, rated: float, cautions: list[str]) -> tuple[float, float]:
    """Return heat capacity [J/K] and thermal resistance to ambient [K/W]; adds a caution for what is assumed."""
    mass_keys = ("Density [kg.m-3]", "Volume [m3]", "Specific heat capacity [J.K-1.kg-1]")
    if keys.has(*mass_keys):
        limits = ((1.0, 3e4), (1e-9, 10.0), (1.0, 1e4))
        heat = float(np.prod([keys.number(key, *limit) for key, limit in zip(mass_keys, limits, strict=True)]))
    else:
        heat = HEAT_PER_CHARGE * rated
        cautions.append("The file gives no heat capacity; 15 J/K for each ampere-hour is assumed.")
    surface = "External surface area [m2]"
    if not keys.has(surface):
        cautions.append("The file gives no surface; 90 K/W over the ampere-hours is assumed to ambient.")
        return heat, COOLING_PER_CHARGE / rated
    cautions.append("The way of heat to ambient is not in the file; 10 W/(m² K) to still air is assumed.")
    return heat, 1.0 / (STILL_AIR * keys.number(surface, 1e-6, 100.0))


def _limits(v_min: float, v_max: float) -> CellLimits:
    """Return careful limits of common practice; a BPX file has none but the two voltages."""
    hour, zero = 3600.0, 273.15
    zones = ((0.0, 10.0, 0.2), (10.0, 45.0, 0.5))
    return CellLimits(
        v_upper=v_max + 0.05,
        v_precharge=v_min,
        zones=tuple(ChargeZone(temp_low=a + zero, temp_high=b + zero, rate=c / hour, v_max=v_max) for a, b, c in zones),
        rate_precharge=0.1 / hour,
        rate_termination=0.05 / hour,
        rate_discharge=1.0 / hour,
        recharge_drop=0.1,
        temp_discharge_low=zero - 10.0,
        temp_discharge_high=zero + 60.0,
    )

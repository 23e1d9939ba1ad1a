"""The room's formulas against numbers from outside the project: core loss, copper, preferred values, budgets.

iGSE is K. Venkatachalam, C. R. Sullivan, T. Abdallah, H. Tacca, IEEE Workshop on Computers in Power Electronics 2002,
doi 10.1109/CIPE.2002.1196712 (reference confirmed by look-up). Status of a row: "from memory" means the relation is
standard and attributed to the source, which was not opened; "recomputed" means an independent script worked the number
out from the relation; "confirmed by look-up" means the figure was read in the source.
"""

import numpy as np
import pytest

from chargewright.physics.budget import (
    bound_confidence,
    failure_rate_bound,
    interval_confidence,
    root_sum_square,
    runs_for_bound,
    runs_for_interval,
    sense_offset_current,
    step_deviation,
    uniform_deviation,
    worst_sum,
)
from chargewright.physics.copper import (
    INNER_LAYER,
    OUTER_LAYER,
    awg_diameter,
    copper_resistivity,
    ipc2221_current,
    ipc2221_width,
    round_wire_resistance,
    sheet_resistance,
    skin_depth,
    trace_resistance,
)
from chargewright.physics.magnetics import igse_coefficient, igse_coefficient_exact, triangle_core_loss
from chargewright.physics.series import e_series, nearest_preferred

DERIVED = "derived (recomputed)"
IGSE = "iGSE (from memory; recomputed)"
IPC = "IPC-2221 ch. 6 (constants confirmed by look-up in several open calculators; recomputed)"
WIRES = "wire-gauge table, hyperphysics.phy-astr.gsu.edu/hbase/Tables/wirega.html (confirmed by look-up; recomputed)"

RHO_20, RHO_80, RHO_100 = (copper_resistivity(celsius + 273.15) for celsius in (20.0, 80.0, 100.0))
FOIL = 35e-6
MIL = 25.4e-6


def triangle_over_sine(alpha: float, beta: float, duty: float) -> float:
    """Return the loss of a triangle over that of a sine of the same peak: 1 T peak, 1 Hz, 1 m³, k 1."""
    k_i = igse_coefficient_exact(1.0, alpha, beta)
    return triangle_core_loss(k_i, alpha, beta, 2.0, duty, 1.0 - duty, 1.0, 1.0)


def wire(gauge: float) -> float:
    """Return the resistance per metre at 20 degC."""
    return round_wire_resistance(RHO_20, awg_diameter(gauge))


def current_errors(r_sense: float) -> list[float]:
    """PV11: 3.25 A; resistor 1 %, offset 0.1 mV, gain 0.5 %, step 64 mA."""
    return [3.25 * 0.01, sense_offset_current(0.1e-3, r_sense), 3.25 * 0.005, step_deviation(0.064)]


def worst_distance(name: str) -> float:
    """Return the greatest distance to the nearest preferred value, over the wanted value."""
    wanted = np.geomspace(1.0, 10.0, 200_001)
    return float(np.max(np.abs(nearest_preferred(wanted, name) - wanted) / wanted))


# id, what, computed, as printed, relative tolerance, outside source (status)
MAGNETICS = [
    ("MG01", "exact", lambda: igse_coefficient_exact(1.0, 1.5, 2.5), "0.0570557", 1e-6, IGSE),
    ("MG02", "a 1.5, b 2.5", lambda: igse_coefficient(1.0, 1.5, 2.5), "0.0570640", 1e-6, IGSE),
    ("MG02", "a 1.4, b 2.4", lambda: igse_coefficient(1.0, 1.4, 2.4), "0.0669152", 1e-6, IGSE),
    ("MG02", "a 1.4, b 2.4 exact", lambda: igse_coefficient_exact(1.0, 1.4, 2.4), "0.0669209", 1e-6, IGSE),
    ("MG04", "a 1.5, b 2.5", lambda: triangle_over_sine(1.5, 2.5, 0.5), "0.912891", 1e-5, IGSE),
    ("MG04", "a 1.4, b 2.4", lambda: triangle_over_sine(1.4, 2.4, 0.5), "0.932129", 1e-5, IGSE),
    ("MG05", "42 %", lambda: triangle_over_sine(1.5, 2.5, 0.42), "0.921822", 1e-5, IGSE),
    ("MG05", "20 %", lambda: triangle_over_sine(1.5, 2.5, 0.20), "1.082556", 1e-5, IGSE),
    ("MG06", "20 % over 50 %", lambda: triangle_over_sine(1.5, 2.5, 0.2) / triangle_over_sine(1.5, 2.5, 0.5),
     "1.185854", 1e-6, IGSE),
    ("MG07", "resistivity", lambda: RHO_20, "1.7241e-8", 0.005, "IEC 60028 (confirmed by look-up)"),
    ("MG07", "slope", lambda: (copper_resistivity(294.15) - RHO_20) / RHO_20,
     "0.00393", 0.005, "IEC 60028 (from memory)"),
    ("MG08", "100 kHz", lambda: skin_depth(RHO_20, 100e3), "0.208978 mm", 1e-4, DERIVED),
    ("MG08", "600 kHz", lambda: skin_depth(RHO_20, 600e3), "0.085315 mm", 1e-4, DERIVED),
    ("MG08", "1 MHz", lambda: skin_depth(RHO_20, 1e6), "0.066085 mm", 1e-4, DERIVED),
    ("MG09", "100 degC", lambda: skin_depth(RHO_100, 100e3), "0.23959 mm", 1e-4, DERIVED),
    ("MG09", "short form", lambda: skin_depth(RHO_100, 100e3),
     "0.23717 mm", 0.015, "Erickson, Maksimovic 2001 ch. 13 (from memory; recomputed)"),
    ("MG10", "sheet", lambda: sheet_resistance(RHO_20, FOIL), "0.49260 mohm", 1e-4, DERIVED),
    ("MG11", "20 degC", lambda: trace_resistance(RHO_20, 0.050, 0.005, FOIL), "4.9260 mohm", 1e-4, DERIVED),
    ("MG11", "80 degC", lambda: trace_resistance(RHO_80, 0.050, 0.005, FOIL), "6.0876 mohm", 1e-4, DERIVED),
    ("MG12", "one square mil, 1 K, outer", lambda: ipc2221_current(OUTER_LAYER, 1.0, MIL**2), "0.048 A", 1e-9, IPC),
    ("MG12", "one square mil, 1 K, inner", lambda: ipc2221_current(INNER_LAYER, 1.0, MIL**2), "0.024 A", 1e-9, IPC),
    ("MG13", "outer", lambda: ipc2221_width(OUTER_LAYER, 5.0, 10.0, FOIL), "2.7654 mm", 1e-4, IPC),
    ("MG13", "inner", lambda: ipc2221_width(INNER_LAYER, 5.0, 10.0, FOIL), "7.1941 mm", 1e-4, IPC),
    ("MG14", "5 A, 20 K", lambda: ipc2221_width(OUTER_LAYER, 5.0, 20.0, FOIL), "1.81580 mm", 1e-4, IPC),
    ("MG14", "10 A, 20 K", lambda: ipc2221_width(OUTER_LAYER, 10.0, 20.0, FOIL), "4.72369 mm", 1e-4, IPC),
    ("MG15", "100 mil, 20 K", lambda: ipc2221_current(OUTER_LAYER, 20.0, 100.0 * 1.378 * MIL**2),
     "6.37749 A", 1e-5, IPC),
    *[
        ("MG16", f"gauge {n}", lambda n=n: awg_diameter(n),
         f"{printed} mm", 1e-5, "ASTM B258 (from memory; recomputed)")
        for n, printed in ((18, "1.023687"), (24, "0.510559"), (28, "0.321094"))
    ],
    *[
        ("MG17", f"gauge {n}", lambda n=n: 1000.0 * wire(n), f"{printed} ohm/ft", 0.0005, WIRES)
        for n, printed in (
            (16, "4.016"), (18, "6.385"), (20, "10.15"), (22, "16.14"),
            (24, "25.67"), (26, "40.81"), (28, "64.90"), (30, "103.2"),
        )
    ],
    *[
        ("MG18", f"gauge {n}", lambda n=n: wire(n), f"{printed} ohm/km", 0.001, WIRES)
        for n, printed in ((24, "84.21"), (28, "212.9"))
    ],
]  # fmt: skip

STATISTICS = [
    ("PV05", "E96", lambda: worst_distance("E96"), "1.48 %", 1e-3, "IEC 60063 (recomputed)"),
    ("PV05", "E24", lambda: worst_distance("E24"), "7.14 %", 1e-3, "IEC 60063 (recomputed)"),
    *[
        ("PV11", what, lambda k=k: current_errors(0.010)[k],
         f"{printed} mA", 1e-3, "arithmetic; GUM (JCGM 100) (recomputed)")
        for k, (what, printed) in enumerate(
            (("resistor", "32.500"), ("offset", "10.000"), ("gain", "16.250"), ("step", "18.48"))
        )
    ],
    ("PV11", "root sum square", lambda: root_sum_square(current_errors(0.010)),
     "41.97 mA", 1e-3, "GUM (JCGM 100) (recomputed)"),
    ("PV11", "worst sum", lambda: worst_sum([*current_errors(0.010)[:3], 0.032]),
     "90.75 mA", 1e-3, "arithmetic (recomputed)"),
    ("PV12", "offset", lambda: sense_offset_current(0.1e-3, 0.005), "20.000 mA", 1e-3, "arithmetic (recomputed)"),
    ("PV12", "root sum square", lambda: root_sum_square(current_errors(0.005)),
     "45.41 mA", 1e-3, "GUM (JCGM 100) (recomputed)"),
    ("PV13", "half-width", lambda: uniform_deviation(1.0), "0.577350", 1e-6, "GUM 4.3.7 (from memory; recomputed)"),
    ("PV13", "step", lambda: step_deviation(1.0), "0.288675", 1e-6, "GUM 4.3.7 (from memory; recomputed)"),
    ("PV14", "runs, one-sided", lambda: runs_for_bound(0.95, 0.95),
     "59", 1e-9, "S. S. Wilks 1941 (from memory; recomputed)"),
    ("PV14", "confidence", lambda: bound_confidence(59, 0.95),
     "0.95151", 0.0, "S. S. Wilks 1941 (from memory; recomputed)"),
    ("PV14", "runs, two-sided", lambda: runs_for_interval(0.95, 0.95),
     "93", 1e-9, "S. S. Wilks 1941 (from memory; recomputed)"),
    ("PV14", "two-sided confidence", lambda: interval_confidence(93, 0.95),
     "0.95002", 0.0, "S. S. Wilks 1941 (from memory; recomputed)"),
    ("PV15", "no failure in 3000", lambda: failure_rate_bound(3000, 0.95),
     "0.00099808", 1e-5, "rule of three (recomputed)"),
]  # fmt: skip

ROWS = MAGNETICS + STATISTICS


@pytest.mark.parametrize("row", ROWS, ids=[f"{row[0]} {row[1]}" for row in ROWS])
def test_agrees_with_the_number_from_outside(row, assert_meets):
    _, _, computed, printed, tolerance, source = row
    assert_meets(computed(), printed, tolerance, source)


@pytest.mark.parametrize(
    ("alpha", "beta", "duty"), [(1.5, 2.5, 0.5), (1.4, 2.4, 0.3), (1.1, 2.0, 0.1), (1.9, 3.0, 0.9)]
)
def test_igse_with_a_sine_gives_the_steinmetz_equation_back(alpha, beta, duty):
    # MG03, identity: k_i·ΔB^(b−a)·mean|dB/dt|^a of a sine is k·f^a·B^b. 2e5 midpoints give 1e-9; the row asks
    # 1e-4.
    f, b_peak = 600e3, 0.05
    theta = 2.0 * np.pi * (np.arange(200_000) + 0.5) / 200_000
    slope = 2.0 * np.pi * f * b_peak * np.cos(theta)
    mean = np.mean(np.abs(slope) ** alpha) * igse_coefficient_exact(2.3, alpha, beta) * (2.0 * b_peak) ** (beta - alpha)
    assert mean == pytest.approx(2.3 * f**alpha * b_peak**beta, rel=1e-6)


E24 = "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91"


def test_e24_is_the_standard_s_list():
    # PV01, IEC 60063 (confirmed by look-up).
    assert [round(10.0 * v) for v in e_series("E24")] == [int(text) for text in E24.split()]


def test_e24_differs_from_rounded_powers_of_ten_at_eight_members():
    # PV02, IEC 60063 (recomputed).
    rounded = [round(10.0 * 10.0 ** (i / 24.0)) for i in range(24)]
    pairs = [(round(10.0 * v), r) for v, r in zip(e_series("E24"), rounded, strict=True) if round(10.0 * v) != r]
    assert pairs == [(27, 26), (30, 29), (33, 32), (36, 35), (39, 38), (43, 42), (47, 46), (82, 83)]


def test_e96_is_the_rounded_powers_of_ten():
    # PV03, IEC 60063 (confirmed by look-up; recomputed): 96 distinct values, the ends as the standard prints them.
    values = [round(100.0 * v) for v in e_series("E96")]
    assert values == [round(100.0 * 10.0 ** (i / 96.0)) for i in range(96)]
    assert len(set(values)) == 96
    assert (values[:5], values[-3:]) == ([100, 102, 105, 107, 110], [931, 953, 976])


def test_e192_has_one_member_that_is_not_rounded():
    # PV04, IEC 60063 (from memory; recomputed): 9.20 where rounding gives 9.19.
    rounded = [round(100.0 * 10.0 ** (i / 192.0)) for i in range(192)]
    found = {i: round(100.0 * v) for i, v in enumerate(e_series("E192")) if round(100.0 * v) != rounded[i]}
    assert (found, rounded[185]) == ({185: 920}, 919)

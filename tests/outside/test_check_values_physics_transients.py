"""The room's formulas against numbers from outside the project: sources, transients, dampers, cells, power budget.

EM is R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001. Status of a row: "from
memory" means the relation is standard and attributed to the source, which was not opened; "recomputed" means an
independent script worked the number out from the relation; "derived" has no source but the derivation.
"""

import pytest

from chargewright.physics.cell import (
    charge_at_voltage_limit,
    ohmic_and_rc_voltage,
    taper_charge,
    taper_time,
    taper_time_constant,
    thermistor_resistance,
    thermistor_temperature,
)
from chargewright.physics.converter import least_buck_source
from chargewright.physics.resonance import (
    characteristic_impedance,
    damper_capacitance_ratio,
    damper_resistance,
    lc_resonance,
    ring_frequency,
    series_damping_ratio,
)
from chargewright.physics.source import (
    charge_current_left,
    constant_power_current,
    constant_power_voltage,
    greatest_power,
    negative_input_resistance,
    power_after_resistance,
    supplement_power,
)
from chargewright.physics.transient import (
    charging_energy,
    hold_up_time,
    hot_plug_peak,
    hot_plug_peak_current,
    hot_plug_peak_time,
    inductor_energy,
    inrush_current,
    unplug_voltage,
)

DERIVED = "derived (recomputed)"
DAMPER = "EM ch. 10.4.1; Erickson, APEC 1999, confirmed by look-up (from memory; recomputed)"
SLEW = "derived (recomputed); slew limit of USB Power Delivery ch. 7 (confirmed by look-up)"
BETA = "beta relation, IEC 60539-1 (recomputed)"

CABLE = {"r": 0.1, "l": 1e-6, "c": 10e-6}
LONG_CABLE = {"r": 0.05, "l": 2e-6, "c": 22e-6}
R0 = characteristic_impedance(330e-6, 470e-6)
N = damper_capacitance_ratio(R0, 1.0)
SLOPE = 0.14 / 3600.0
"""PB01: 0.14 V/Ah in V/C."""
TAU = taper_time_constant(0.050, SLOPE)
AT_LIMIT = charge_at_voltage_limit(4.2, 3.5, 5.0, 0.050, SLOPE)
P_IN = power_after_resistance(20.0, 3.25, 0.030)


def em(place: str) -> str:
    """Return a row's source in the book, of which the example is from memory and the number recomputed."""
    return f"EM {place} (from memory; recomputed)"


# id, what, computed, as printed, relative tolerance, outside source (status)
TRANSIENTS = [
    ("TR01", "resonance", lambda: lc_resonance(330e-6, 470e-6), "404.124 Hz", 1e-6, em("ch. 10.3")),
    ("TR01", "characteristic impedance", lambda: R0, "0.837931 ohm", 1e-6, em("ch. 10.3")),
    ("TR02", "input resistance", lambda: negative_input_resistance(20.0, 10.0**2 / 3.0),
     "-12.0000 ohm", 1e-6, em("ch. 10.3, -R/D²")),
    ("TR02", "resonance", lambda: lc_resonance(100e-6, 100e-6), "1591.55 Hz", 1e-6, em("ch. 10.3")),
    ("TR03", "n", lambda: N, "2.51913", 1e-5, DAMPER),
    ("TR03", "damper capacitance", lambda: N * 470e-6, "1183.99 uF", 1e-5, DAMPER),
    ("TR04", "damper resistance", lambda: damper_resistance(R0, N), "0.665741 ohm", 1e-5, DAMPER),
    ("TR06", "60 W at 20 V", lambda: negative_input_resistance(20.0, 60.0), "-6.66667 ohm", 1e-6, DERIVED),
    ("TR06", "60 W at 9 V", lambda: negative_input_resistance(9.0, 60.0), "-1.35000 ohm", 1e-6, DERIVED),
    ("TR06", "100 W at 20 V", lambda: negative_input_resistance(20.0, 100.0), "-4.00000 ohm", 1e-6, DERIVED),
    ("TR07", "voltage", lambda: constant_power_voltage(20.0, 0.2, 90.0), "19.05539 V", 1e-6, DERIVED),
    ("TR07", "current", lambda: constant_power_current(20.0, 0.2, 90.0), "4.72307 A", 1e-6, DERIVED),
    ("TR08", "voltage", lambda: constant_power_voltage(5.0, 0.3, 15.0), "3.82288 V", 1e-6, DERIVED),
    ("TR08", "current", lambda: constant_power_current(5.0, 0.3, 15.0), "3.92375 A", 1e-6, DERIVED),
    ("TR08", "greatest power", lambda: greatest_power(5.0, 0.3), "20.8333 W", 1e-6, DERIVED),
    ("TR09", "peak without loss", lambda: hot_plug_peak(20.0, 0.0, 0.0, 1e-6, 10e-6),
     "40.000 V", 1e-9, "LC step (recomputed)"),
    ("TR10", "damping", lambda: series_damping_ratio(**CABLE), "0.158114", 1e-5, DERIVED),
    ("TR10", "ring frequency", lambda: ring_frequency(**CABLE), "49.696 kHz", 1e-5, DERIVED),
    ("TR10", "peak", lambda: hot_plug_peak(20.0, 0.0, **CABLE), "32.0936 V", 1e-5, DERIVED),
    ("TR10", "time of the peak", lambda: hot_plug_peak_time(**CABLE), "10.061 us", 1e-5, DERIVED),
    ("TR10", "peak current", lambda: hot_plug_peak_current(20.0, 0.0, **CABLE), "50.447 A", 1e-5, DERIVED),
    ("TR11", "peak from 5 V", lambda: hot_plug_peak(20.0, 5.0, **CABLE), "29.0702 V", 1e-5, DERIVED),
    ("TR12", "peak", lambda: hot_plug_peak(20.0, 0.0, **LONG_CABLE), "35.3997 V", 1e-5, DERIVED),
    ("TR12", "ring frequency", lambda: ring_frequency(**LONG_CABLE), "23.911 kHz", 1e-5, DERIVED),
    ("TR15", "100 uF", lambda: inrush_current(100e-6, 30e3), "3.000 A", 1e-9, SLEW),
    ("TR15", "22 uF", lambda: inrush_current(22e-6, 30e3), "0.660 A", 1e-9, SLEW),
    ("TR15", "320 uF", lambda: inrush_current(320e-6, 30e3), "9.600 A", 1e-9, SLEW),
    ("TR16", "energy in the switch", lambda: charging_energy(100e-6, 20.0), "20.0 mJ", 1e-9, DERIVED),
    ("TR17", "20 V to 9 V", lambda: hold_up_time(100e-6, 20.0, 9.0, 60.0), "265.83 us", 1e-4, DERIVED),
    ("TR17", "8.4 V to 7 V", lambda: hold_up_time(100e-6, 8.4, 7.0, 60.0), "17.967 us", 1e-4, DERIVED),
    ("TR18", "cable energy", lambda: inductor_energy(1e-6, 5.0), "12.5000 uJ", 1e-6, DERIVED),
    ("TR18", "voltage", lambda: unplug_voltage(0.0, 1e-6, 5.0, 1e-6), "5.00000 V", 1e-6, DERIVED),
]  # fmt: skip

CELLS = [
    ("CE18", "R-C pair", lambda: ohmic_and_rc_voltage(2.5, 0.025, 0.015, 30.0, 10.0),
     "73.130 mV", 1e-4, "circuit (recomputed)"),
    *[
        ("CE19", f"{at} degC", lambda at=at: thermistor_resistance(10e3, 3435.0, at + 273.15),
         f"{printed} kohm", 1e-4, BETA)
        for at, printed in (
            (-10, "46.290"), (0, "28.704"), (10, "18.410"), (45, "4.8469"), (50, "4.1012"), (60, "2.9809"),
        )
    ],
    *[
        ("CE20", f"{at} degC", lambda at=at: thermistor_resistance(10e3, 3950.0, at + 273.15),
         f"{printed} kohm", 1e-4, BETA)
        for at, printed in ((0, "33.621"), (45, "4.3481"), (60, "2.4862"))
    ],
    *[
        ("CE21", f"{r:g} ohm", lambda r=r: thermistor_temperature(10e3, 3435.0, r), f"{printed} degC", 0.0, BETA)
        for r, printed in ((28.5e3, "0.16"), (3150.0, "58.23"), (2850.0, "61.46"))
    ],
    ("CE22", "wrong beta", lambda: thermistor_temperature(10e3, 3950.0, thermistor_resistance(10e3, 3435.0, 273.15)),
     "3.02 degC", 0.0, DERIVED),
]  # fmt: skip

BUDGET = [
    ("PB01", "charge at the limit", lambda: AT_LIMIT, "3.214286 Ah", 1e-6, DERIVED),
    ("PB01", "time at 5 A", lambda: AT_LIMIT / 5.0, "0.642857 h", 1e-6, DERIVED),
    ("PB02", "time constant", lambda: TAU, "0.357143 h", 1e-6, DERIVED),
    ("PB02", "taper", lambda: taper_time(TAU, 5.0, 0.25), "1.069904 h", 1e-6, DERIVED),
    ("PB02", "charge in the taper", lambda: taper_charge(TAU, 5.0, 0.25), "1.696429 Ah", 1e-6, DERIVED),
    ("PB02", "whole time", lambda: AT_LIMIT / 5.0 + taper_time(TAU, 5.0, 0.25), "1.712762 h", 1e-6, DERIVED),
    ("PB02", "whole charge", lambda: AT_LIMIT + taper_charge(TAU, 5.0, 0.25), "4.910714 Ah", 1e-6, DERIVED),
    ("PB03", "input power", lambda: P_IN, "64.683125 W", 1e-9, DERIVED),
    ("PB04", "system 40 W", lambda: charge_current_left(P_IN, 40.0, 0.94, 8.0), "2.900267 A", 1e-6, DERIVED),
    ("PB05", "system 60 W", lambda: charge_current_left(P_IN, 60.0, 0.94, 8.0), "0.550267 A", 1e-6, DERIVED),
    ("PB05", "system 64 W", lambda: charge_current_left(P_IN, 64.0, 0.94, 8.0), "0.080267 A", 1e-6, DERIVED),
    ("PB06", "from the pack", lambda: supplement_power(80.0, P_IN, 0.93), "16.469758 W", 1e-6, DERIVED),
    ("PB07", "from the pack", lambda: supplement_power(80.0, 65.0, 0.93), "16.129032 W", 1e-6, DERIVED),
    ("PB07", "its current", lambda: supplement_power(80.0, 65.0, 0.93) / 7.4, "2.17960 A", 1e-6, DERIVED),
    ("PB08", "8.4 V", lambda: least_buck_source(8.4, 5.0, 0.1, 0.98), "9.08163 V", 1e-5, DERIVED),
    ("PB08", "12.6 V", lambda: least_buck_source(12.6, 5.0, 0.1, 0.98), "13.36735 V", 1e-5, DERIVED),
]  # fmt: skip

ROWS = TRANSIENTS + CELLS + BUDGET


@pytest.mark.parametrize("row", ROWS, ids=[f"{row[0]} {row[1]}" for row in ROWS])
def test_agrees_with_the_number_from_outside(row, assert_meets):
    _, _, computed, printed, tolerance, source = row
    assert_meets(computed(), printed, tolerance, source)


def test_a_plain_buck_cannot_finish_two_cells_from_a_nine_volt_contract():
    # PB09, derived: 9 V, 3 A less the allowed tolerance and cable drop of USB Power Delivery leave 7.80 V at the sink.
    assert least_buck_source(8.4, 0.0, 0.0, 1.0) > 7.80

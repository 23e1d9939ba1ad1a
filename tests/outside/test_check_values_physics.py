"""The room's formulas against numbers from outside the project: converters, rms values, switches, heat.

EM is R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001. Status of a row: "from
memory" means the relation is standard and attributed to the source, which was not opened; "recomputed" means an
independent script worked the number out from the relation; "derived" has no source but the derivation.
"""

import numpy as np
import pytest

from chargewright.physics.capacitor import switched_voltage_ripple, triangle_voltage_ripple
from chargewright.physics.conduction import resistance_at
from chargewright.physics.converter import (
    boost_duty,
    boost_efficiency_with_winding,
    boost_gain_with_winding,
    buck_boost_voltage,
    buck_duty,
    duty_of_greatest_boost_gain,
    four_switch_ratio,
    greatest_boost_gain,
    series_resistance_efficiency,
)
from chargewright.physics.discontinuous import (
    boost_critical_parameter,
    boost_dcm_gain,
    buck_boost_dcm_gain,
    buck_dcm_gain,
    conduction_parameter,
)
from chargewright.physics.switching import (
    dead_time_loss,
    gate_drive_loss,
    output_capacitance_loss,
    overlap_loss,
    recovery_loss,
)
from chargewright.physics.thermal import runaway_current, self_heated_temperature
from chargewright.physics.waveform import (
    offset_ripple_rms,
    pulsed_ac_rms,
    pulsed_rms,
    triangle_rms,
    triangular_pulse_rms,
    two_slope_ripple,
)

DERIVED = "derived (recomputed)"


def em(place: str) -> str:
    """Return a row's source in the book, of which the example is from memory and the number recomputed."""
    return f"EM {place} (from memory; recomputed)"


def buck_ripple() -> float:
    """CV13: 20 V to 8.4 V, 4.7 uH, 600 kHz."""
    return two_slope_ripple(20.0 - 8.4, 8.4, 4.7e-6, 600e3)


def boost_ripple() -> float:
    """CV17: 7.4 V to 20 V, 4.7 uH, 600 kHz."""
    return two_slope_ripple(7.4, 20.0 - 7.4, 4.7e-6, 600e3)


def hot_switch() -> float:
    """SW06: 10 mohm at 25 degC, 0.4 %/K, 50 K/W, 5 A, 40 degC around it."""
    return self_heated_temperature(313.15, 50.0, 5.0, 0.010, 0.004)


D = np.linspace(0.0, 1.0, 3001)

# id, what, computed, as printed, relative tolerance, outside source (status)
CONVERTERS = [
    ("CV01", "buck-boost voltage", lambda: buck_boost_voltage(30.0, 0.6), "-45.000 V", 1e-9, em("ch. 8.2.1")),
    ("CV02", "boost gain", lambda: boost_gain_with_winding(0.8, 0.02, 1.0), "3.3333", 1e-6, em("ch. 3.3")),
    ("CV02", "efficiency", lambda: boost_efficiency_with_winding(0.8, 0.02, 1.0), "0.66667", 1e-6, em("ch. 3.3")),
    ("CV03", "boost gain", lambda: boost_gain_with_winding(0.5, 0.01, 1.0), "1.92308", 1e-6, em("ch. 3.3")),
    ("CV03", "efficiency", lambda: boost_efficiency_with_winding(0.5, 0.01, 1.0), "0.961538", 1e-6, em("ch. 3.3")),
    ("CV04", "greatest boost gain", lambda: greatest_boost_gain(0.01, 1.0), "5.00000", 1e-6, em("ch. 3.3")),
    ("CV04", "its duty", lambda: duty_of_greatest_boost_gain(0.01, 1.0), "0.900000", 1e-6, em("ch. 3.3")),
    ("CV04", "its efficiency", lambda: boost_efficiency_with_winding(0.9, 0.01, 1.0), "0.500000", 1e-6, em("ch. 3.3")),
    ("CV05", "greatest boost gain", lambda: greatest_boost_gain(0.02, 1.0), "3.53553", 1e-6, em("ch. 3.3")),
    ("CV05", "its duty", lambda: duty_of_greatest_boost_gain(0.02, 1.0), "0.858579", 1e-6, em("ch. 3.3")),
    ("CV06", "buck efficiency", lambda: series_resistance_efficiency(4.0, 0.050), "0.987654", 1e-6, em("ch. 3")),
    ("CV07", "K", lambda: conduction_parameter(5e-6, 12.0, 100e3), "0.083333", 1e-6, em("ch. 5")),
    ("CV08", "critical K of a boost", lambda: boost_critical_parameter(0.6), "0.09600", 1e-9, em("ch. 5.3")),
    ("CV09", "boost gain in DCM", lambda: boost_dcm_gain(0.6, 1.0 / 12.0), "2.63776", 1e-5, em("ch. 5.3")),
    ("CV09", "voltage from 24 V", lambda: 24.0 * boost_dcm_gain(0.6, 1.0 / 12.0), "63.306 V", 1e-5, em("ch. 5.3")),
    ("CV10", "largest critical K", lambda: np.max(boost_critical_parameter(D)), "0.148148", 1e-6, em("ch. 5.3")),
    ("CV10", "its duty", lambda: D[np.argmax(boost_critical_parameter(D))], "0.333333", 1e-6, em("ch. 5.3")),
    ("CV11", "buck gain in DCM", lambda: buck_dcm_gain(0.5, 0.1), "0.765564", 1e-6, em("ch. 5.2")),
    ("CV12", "buck-boost gain in DCM", lambda: buck_boost_dcm_gain(0.5, 0.1), "1.581139", 1e-6, em("ch. 5")),
    ("CV13", "buck duty", lambda: buck_duty(20.0, 8.4), "0.420000", 1e-6, em("ch. 2")),
    ("CV13", "inductor ripple", buck_ripple, "1.72766 A", 1e-6, em("ch. 2")),
    ("CV13", "edge of DCM", lambda: buck_ripple() / 2.0, "0.86383 A", 1e-6, em("ch. 2")),
    ("CV14", "output ripple", lambda: triangle_voltage_ripple(buck_ripple(), 22e-6, 600e3),
     "16.3604 mV", 1e-4, em("ch. 2.5")),
    ("CV15", "input ripple", lambda: switched_voltage_ripple(5.0, 0.42, 10e-6, 600e3),
     "203.00 mV", 1e-4, "charge balance (recomputed)"),
    ("CV16", "boost duty", lambda: boost_duty(7.4, 20.0), "0.63", 1e-9, em("ch. 2.3")),
    ("CV16", "output ripple", lambda: switched_voltage_ripple(2.0 / 0.37, 0.37, 22e-6, 600e3),
     "95.4545 mV", 1e-5, em("ch. 2.3")),
    ("CV17", "inductor current", lambda: 2.0 / (1.0 - boost_duty(7.4, 20.0)), "5.40541 A", 1e-5, em("ch. 2.3")),
    ("CV17", "inductor ripple", boost_ripple, "1.65319 A", 1e-5, em("ch. 2.3")),
    ("CV18", "four-switch ratio", lambda: four_switch_ratio(0.9, 0.2),
     "1.12500", 1e-9, "standard relation (from memory; recomputed)"),
]  # fmt: skip

RMS = [
    ("RM01", "dc with ripple", lambda: offset_ripple_rms(10.0, 2.0), "10.06645 A", 1e-6, em("appendix A")),
    ("RM02", "pulsed trapezoid", lambda: pulsed_rms(10.0, 4.0, 0.4), "6.36658 A", 1e-6, em("appendix A")),
    ("RM03", "triangular pulse", lambda: triangular_pulse_rms(5.0, 0.4), "1.82574 A", 1e-6, em("appendix A")),
    ("RM04", "triangle about zero", lambda: triangle_rms(6.0), "1.73205 A", 1e-6, em("appendix A")),
    ("RM05", "buck inductor", lambda: offset_ripple_rms(5.0, buck_ripple() / 2.0), "5.024812 A", 1e-6, DERIVED),
    ("RM05", "its peak", lambda: 5.0 + buck_ripple() / 2.0, "5.863830 A", 1e-6, DERIVED),
    ("RM06", "high-side switch", lambda: pulsed_rms(5.0, buck_ripple(), 0.42), "3.256450 A", 1e-6, DERIVED),
    ("RM06", "low-side switch", lambda: pulsed_rms(5.0, buck_ripple(), 0.58), "3.826783 A", 1e-6, DERIVED),
    ("RM07", "buck input capacitor", lambda: pulsed_ac_rms(5.0, buck_ripple(), 0.42), "2.488869 A", 1e-6, DERIVED),
    ("RM08", "same without ripple", lambda: pulsed_ac_rms(5.0, 0.0, 0.42), "2.467793 A", 1e-6, DERIVED),
    ("RM09", "worst over duty", lambda: np.max(pulsed_ac_rms(5.0, 0.0, D)), "2.500 A", 1e-9, DERIVED),
    ("RM09", "where", lambda: D[np.argmax(pulsed_ac_rms(5.0, 0.0, D))], "0.5", 1e-9, DERIVED),
    ("RM10", "buck output capacitor", lambda: triangle_rms(buck_ripple()), "0.498732 A", 1e-6, DERIVED),
    ("RM11", "boost output capacitor", lambda: pulsed_ac_rms(2.0 / 0.37, 0.0, 0.37), "2.609753 A", 1e-6, DERIVED),
    ("RM12", "same with ripple", lambda: pulsed_ac_rms(2.0 / 0.37, boost_ripple(), 0.37), "2.625848 A", 1e-6, DERIVED),
]  # fmt: skip

SWITCHES = [
    ("SW01", "overlap", lambda: overlap_loss(20.0, 5.0, 10e-9, 5.0, 8e-9, 600e3), "540.0 mW", 1e-9, em("ch. 4.3")),
    ("SW02", "gates", lambda: 2.0 * gate_drive_loss(12e-9, 5.0, 600e3), "72.0 mW", 1e-9, em("ch. 4.3")),
    ("SW03", "output capacitance", lambda: output_capacitance_loss(300e-12, 20.0, 600e3),
     "36.0 mW", 1e-9, em("ch. 4.3")),
    ("SW04", "recovered charge", lambda: recovery_loss(15e-9, 0.0, 20e-9, 20.0, 600e3),
     "180.0 mW", 1e-9, em("ch. 4.3")),
    ("SW04", "current term", lambda: recovery_loss(0.0, 5.0, 20e-9, 20.0, 600e3),
     "1.2 W", 1e-9, em("ch. 4.3, by hand")),
    ("SW05", "dead times", lambda: dead_time_loss(0.75, 5.0, 5.0, 20e-9, 600e3), "90.0 mW", 1e-9, DERIVED),
    ("SW06", "temperature", hot_switch, "53.9474 degC", 1e-5, DERIVED),
    ("SW06", "resistance", lambda: resistance_at(0.010, 0.004, hot_switch()), "11.1579 mohm", 1e-5, DERIVED),
    ("SW06", "loss", lambda: 25.0 * resistance_at(0.010, 0.004, hot_switch()), "278.947 mW", 1e-5, DERIVED),
    ("SW07", "runaway current", lambda: runaway_current(50.0, 0.010, 0.004), "22.3607 A", 1e-5, DERIVED),
]  # fmt: skip

ROWS = CONVERTERS + RMS + SWITCHES


@pytest.mark.parametrize("row", ROWS, ids=[f"{row[0]} {row[1]}" for row in ROWS])
def test_agrees_with_the_number_from_outside(row, assert_meets):
    _, _, computed, printed, tolerance, source = row
    assert_meets(computed(), printed, tolerance, source)


def test_the_boost_of_cv07_is_discontinuous():
    # EM ch. 5.3, CV08: K of 0.0833 is below the critical 0.096, so the continuous formula's 60 V would be wrong.
    assert conduction_parameter(5e-6, 12.0, 100e3) < boost_critical_parameter(0.6)

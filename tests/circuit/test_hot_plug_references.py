"""Hot plug through a cable (o11 bare, o12 damped) against ngspice 39 and an ODE solution in their records."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import Capacitor, Element, Resistor, Source, Wave, i_of, v_node
from chargewright.circuit.flow import samples
from chargewright.circuit.measures import energies, window
from chargewright.circuit.run import run
from chargewright.circuit.stages import Bank, SourceSide, bank_at, load_resistor, source_at


def plugged(p: dict[str, float]) -> Circuit:
    wave = Wave(points=((0.0, 0.0), (p["TR"], p["VIN"])))
    elements: tuple[Element, ...] = source_at("in", SourceSide(v=wave, r=p["RC"], l=p["LC"]))
    elements += bank_at("in", "in", Bank(c=p["CI"], esr=p["ESRI"], start=0.0)) + load_resistor("in", p["RLD"])
    if "CD" in p:
        elements += (
            Resistor(name="r_damp", a="in", b="damp", r=p["RDD"]),
            Capacitor(name="c_damp", a="damp", b="0", c=p["CD"]),
        )
    return Circuit(elements=elements, period=1e-6, title="hot plug")


@pytest.mark.parametrize("case", ["o11_hotplug_bare", "o12_hotplug_damped"])
def test_peaks_and_waveform_agree_with_the_independent_run(
    case: str,
    reference_record: Callable[[str], dict[str, Any]],
    reference_parameters: Callable[[str], dict[str, float]],
    reference_table: Callable[[str, str], dict[str, Any]],
) -> None:
    known = reference_record(case)["results"]
    result = run(plugged(reference_parameters(case)), t_end=300e-6)
    w = window(result)
    assert isinstance(result.circuit.element("source"), Source)
    # The record has six figures; 0.01 % leaves room for its step.
    assert w.extremes(v_node("in"))[1] == pytest.approx(known["v_peak_V"], rel=1e-4)
    assert w.extremes(i_of("l_source"))[1] == pytest.approx(known["i_peak_A"], rel=1e-4)
    theirs = reference_table(case, "waveform.csv")
    ours = samples(result, theirs["t_s"])
    for column, q in (("v_vin", v_node("in")), ("i_lc", i_of("l_source"))):
        apart = ours.of(q) - theirs[column]
        assert np.sqrt(np.mean(apart**2)) <= 5e-3 * np.ptp(theirs[column]), column
    parts = energies(w)
    assert abs(parts.unaccounted) <= 1e-6 * parts.turnover

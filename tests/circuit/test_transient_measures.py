"""The transients' measures on closed-loop reference runs: an event-located Runge-Kutta solution, checked by ngspice.

The runs have a toy pack and a load of constant current, which no design file gives; so their circuits are built here,
and what judges a product's transients judges them.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from chargewright.circuit.averaged import averaged_samples, run_averaged
from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import i_of, v_node
from chargewright.studies.transients.judge import Bounds, measures_of
from chargewright.studies.transients.phases import Story
from chargewright.studies.transients.record import QUANTITIES, Measure, Script, Waves

WAYS = {"v_bus": v_node("out"), "v_input": v_node("in"), "v_pack": v_node("pack"), "i_pack": i_of("r_pack"),
        "i_source": i_of("l_source"), "i_coil": i_of("coil")}  # fmt: skip
FREE = Bounds(
    v_bus_min=0.0, v_bus_max=np.inf, bus_max_by="", v_input_max=np.inf, v_pack_max=np.inf, i_charge_max=np.inf,
    i_discharge_max=np.inf, i_sat=np.inf, i_trip=np.inf, t_trip=np.inf,
)  # fmt: skip


def told(circuit: Circuit, upto: float, event: float, loops: tuple[str, ...]) -> Story:
    """Return an averaged run as a transient tells it, one event at 0."""
    run = run_averaged(circuit, t_end=upto)
    t = (np.arange(int(upto / circuit.period)) + 0.5) * circuit.period
    at = averaged_samples(run, t)
    mean = {name: at.of(q) for name, q in WAYS.items()}
    mean |= {name: np.zeros(len(t)) for name in QUANTITIES if name not in mean}
    ruling = np.argmin(np.array([at.of(v_node(f"loop_{name}")) for name in loops]), axis=0)
    waves = Waves(t=t - event, mean=mean, low=mean, high=mean, ruling=ruling)
    return Story(waves=waves, begins=(-event, 0.0), words=("", "event"))


def judged(story: Story, script: Script) -> dict[str, Measure]:
    return {m.key: m for m in measures_of(script, story, FREE)}


def test_the_hand_over_to_constant_voltage_has_the_reference_run_s_instant_overshoot_and_settling(
    charger_like: Callable[[str], Circuit], reference_record: Callable[[str], dict[str, Any]]
) -> None:
    circuit, known = charger_like("o07_cccv"), reference_record("o07_cccv")["results"]
    then, target = 1e-3 * known["handover_time_ms"], 8.4
    story = told(circuit, then + 2e-3, then, ("cc", "cv"))
    # 5.5 periods: by as much ripple shifts what the averaged loops hand over at (measured in test_averaged.py).
    taken = story.waves.t[np.flatnonzero(story.waves.ruling == 1)]
    assert taken[taken > -5e-3][0] == pytest.approx(0.0, abs=5.5 * circuit.period)
    found = judged(story, Script(settles="v_pack", band=1e-3 * target))
    # 0.1 % of the overshoot's own 24.8 mV would be rounding; 1 mV is 0.012 % of the voltage that cells are held to.
    assert found["pack_high"].value - target == pytest.approx(1e-3 * known["vb_overshoot_above_VSET_mV"], abs=1e-3)
    # The reference counts from its own hand-over, the averaged one is up to 5.5 periods apart.
    known_settling = 1e-6 * known["settling_to_0p1pct_after_handover_us"]
    assert found["settling"].value == pytest.approx(known_settling, abs=5.5 * circuit.period)
    assert found["changes"].value <= 1.0


def test_a_load_step_and_the_source_s_limit_have_the_reference_run_s_peaks_and_settling(
    charger_like: Callable[[str], Circuit], reference_record: Callable[[str], dict[str, Any]]
) -> None:
    circuit, known = charger_like("o08_bus_load_step"), reference_record("o08_bus_load_step")["results"]
    step, release, limit = 2e-3, 4e-3, 2.0
    loops = ("cc", "cv", "source")
    story = told(circuit, release, step, loops)
    found = judged(story, Script(settles="i_source", band=0.02 * limit, charge_target=3.5))
    # Period means against extremes of period means: 1 % (the averaged circuit follows within 0.5 % of span, and the
    # peak is one period wide).
    assert found["source_most"].value == pytest.approx(known["source_current_peak_after_step_A"], rel=1e-2)
    assert found["settling"].value == pytest.approx(1e-6 * known["source_current_settling_2pct_us"], rel=2e-2)
    assert found["bus_low"].value < found["pack_high"].value
    w = story.waves
    last = w.t > 1.8e-3
    assert np.mean(w.mean["i_pack"][last]) == pytest.approx(known["ibat_during_A"], rel=2e-3)
    assert np.mean(w.mean["i_source"][last]) == pytest.approx(known["source_current_during_A"], rel=2e-3)
    # 1.5 %: the source's loop takes over up to ten periods apart, and the lowest current comes just then.
    assert np.min(w.mean["i_pack"][w.t > 0.0]) == pytest.approx(known["ibat_min_after_step_A"], rel=1.5e-2)
    (to, name) = known["active_loop_sequence_ms"][1]
    assert name == "IN"
    assert w.t[np.flatnonzero((w.ruling == 2) & (w.t > 0.0))[0]] + step == pytest.approx(
        1e-3 * to, abs=10 * circuit.period
    )
    back = told(circuit, 6e-3, release, loops)
    found = judged(back, Script(settles="i_pack", band=0.03 * 3.5, charge_target=3.5))
    assert found["charge_most"].value == pytest.approx(known["ibat_max_after_release_A"], rel=1e-2)
    assert found["charge_overshoot"].value == pytest.approx(known["ibat_max_after_release_A"] - 3.5, rel=4e-2)

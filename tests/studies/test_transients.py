"""Transients of a path: what they come to, against charge, energy and the set-points that must hold in the end."""

import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from chargewright.base.errors import ChargewrightError
from chargewright.parts.rail_inputs import rail_inputs
from chargewright.physics.transient import hold_up_time
from chargewright.report.figures.transient import transient_picture
from chargewright.sizing.build import bank_capacitance
from chargewright.spec.load import load_design
from chargewright.studies.operate import source_limit
from chargewright.studies.stability import ControllerModel, loops_of, stability
from chargewright.studies.study import study_design
from chargewright.studies.transients import run, shelf
from chargewright.studies.transients.product import FROM_SOURCE, Product
from chargewright.studies.transients.record import QUANTITIES, TransientReport
from chargewright.studies.transients.run import one, product_of, transients

PEAK = """\
name: Peaks
sources:
  - name: adapter
    kind: fixed
    voltage: 20 V ±5 %
    current: 3.25 A
pack: {cell: nmc-power, series: 3, parallel: 2, i_discharge_max: 4 C}
charge: {current: 0.6 C}
system:
  load: 20 W
  peak: {power: 90 W, duration: 10 ms}
"""


@pytest.fixture(scope="module")
def product(bench):
    @cache
    def make(key: str, text: str) -> Product:
        b = bench(key, text)
        loops = loops_of(b.case, b.plan, b.hardware, b.build, ControllerModel())
        return Product(case=b.case, plan=b.plan, hardware=b.hardware, build=b.build, stability=loops)

    return lambda key, text=PEAK: make(key, text)


@pytest.fixture(scope="module")
def ran(product):
    @cache
    def make(key: str, transient: str, text: str = PEAK) -> TransientReport:
        found = one(product(key, text), shelf.get(transient), "averaged")
        assert not isinstance(found, str), found
        return found

    return make


def final(r: TransientReport, name: str, upto: float = np.inf) -> float:
    """Return the mean of the last tenth before an instant."""
    inside = np.flatnonzero(r.waves.t < upto)
    last = inside[-max(len(inside) // 20, 2) :]
    return float(np.mean(r.waves.mean[name][last]))


@pytest.mark.parametrize("key", shelf.keys())
def test_each_says_what_happens_and_what_helps(key):
    kind = shelf.get(key)
    assert kind.key == key
    assert len(kind.what) > 40
    assert kind.cure
    assert set(kind.drawn) <= set(QUANTITIES)


def test_an_unknown_transient_is_named_with_the_nearest(product):
    with pytest.raises(ChargewrightError, match="unplug"):
        transients(product("direct"), only=("unplugg",))


def test_the_voltage_loop_takes_over_and_holds_the_full_voltage(ran, product):
    calm = PEAK.replace("load: 20 W", "load: 8 W")
    p, r = product("narrow-buck", calm), ran("narrow-buck", "handover", calm)
    t = r.waves.t
    assert np.mean(r.waves.mean["i_pack"][t < 0.0]) == pytest.approx(p.case.i_charge, rel=0.01)
    # The loops integrate: what is left of their error after some ten time constants is below a thousandth.
    assert final(r, "v_pack") == pytest.approx(p.case.v_full, rel=1e-3)
    assert final(r, "i_pack") < 0.9 * p.case.i_charge
    ruling = [r.loops[k] for k in r.waves.ruling]
    assert ruling[0] == "charge current"
    assert ruling[-1] == "charge voltage"
    assert r.measure("changes").value == 1.0


def test_the_source_is_held_at_its_limit_while_the_pack_helps_and_power_balances(ran, product):
    p, r = product("narrow-buck"), ran("narrow-buck", "supplement")
    over = next(t for t, words in r.events if words == "peak over")
    limit = source_limit(p.case, p.weakest)
    assert final(r, "i_source", over) == pytest.approx(limit, rel=5e-3)
    assert final(r, "i_pack", over) < 0.0
    # Conservation: what source and pack bring to the product is what the bus takes and 0 to 12 % of stage losses.
    given = final(r, "v_input", over) * limit - final(r, "v_pack", over) * final(r, "i_pack", over)
    taken = final(r, "v_bus", over) * final(r, "i_load", over)
    assert taken < given < 1.12 * taken


def test_the_stage_turns_round_only_after_its_delay_where_it_lies_on_the_side(ran, product):
    p, r = product("direct-boost"), ran("direct-boost", "supplement")
    turned = next(t for t, words in r.events if "turns" in words)
    assert turned >= p.settings.t_turn
    before = (r.waves.t > 0.0) & (r.waves.t < turned)
    assert np.min(r.waves.mean["i_coil"][before]) > -0.05
    assert r.measure("discharge_most").value > 1.0


def test_the_bus_falls_after_the_plug_as_its_energy_says(ran, product):
    # Energy: ½·C·(v1² − v2²) = p·t. The load alone gives the longest time, load and full charge power the shortest.
    p, r = product("direct"), ran("direct", "unplug")
    w = r.waves
    v_1 = float(np.interp(0.0, w.t, w.mean["v_bus"]))
    v_2 = 0.5 * v_1 + 0.5 * float(np.min(w.mean["v_bus"]))
    passed = w.t[(w.t > 0.0) & (w.mean["v_bus"] < v_2)][0]
    c = bank_capacitance(p.build.bank_a, p.strongest.v_set.typ) + rail_inputs(p.plan.rails).c
    load = p.p_bus(p.case.p_busy, v_1)
    longest = float(hold_up_time(c, v_1, v_2, load))
    shortest = float(hold_up_time(c, v_1, v_2, load + 1.1 * p.case.i_charge * p.case.v_full))
    period = 1.0 / p.build.f_sw
    assert shortest - period < passed < longest + period


def test_pulled_plug_leaves_no_source_current(ran):
    r = ran("direct", "unplug")
    assert np.all(r.waves.mean["i_source"][r.waves.t > 0.0] == 0.0)
    assert {"source", "l_cable"} <= set(FROM_SOURCE)
    assert final(r, "i_pack") < 0.0


def test_a_load_step_dips_the_bus_by_current_times_wave_impedance(ran, product):
    # Common practice: a current step into a source behind L beside C dips by ΔI·√(L/C), less what damps it; the
    # resistive drop ΔI·R comes on top. Between half of the first and the sum of both, the ESR's step included.
    p, r = product("direct", PEAK.replace("90 W", "45 W")), ran("direct", "load-step", PEAK.replace("90 W", "45 W"))
    w = r.waves
    before = w.t < 0.0
    v_0, i_0 = np.mean(w.mean["v_bus"][before]), np.mean(w.mean["i_load"][before])
    up = (w.t > 0.0) & (w.t < r.events[1][0])
    rise = float(np.max(w.mean["i_load"][up]) - i_0)
    c = bank_capacitance(p.build.bank_a, p.strongest.v_set.typ) + rail_inputs(p.plan.rails).c
    swing = rise * np.sqrt(p.strongest.l_cable / c)
    drop = v_0 - final(r, "v_bus", r.events[1][0])
    assert 0.5 * swing < v_0 - np.min(w.low["v_bus"][up]) < swing + drop
    assert drop > 0.0


def test_phases_hand_over_the_coil_current(ran, product):
    for key, transient in (("direct", "unplug"), ("direct", "plug-in"), ("narrow-buck", "source-limit")):
        p, r = product(key), ran(key, transient)
        w = r.waves
        # No coil changes faster than by its input voltage over its least inductance, whatever switches.
        least = p.build.coil.l_0 * 0.5
        fastest = p.strongest.v_set.high / least / p.build.f_sw
        for t, _ in r.events[1:]:
            k = int(np.searchsorted(w.t, t))
            assert abs(w.mean["i_coil"][k] - w.mean["i_coil"][k - 1]) < fastest, (key, transient, t)


def test_a_source_takes_nothing_back(ran):
    for key, transient in (("direct-boost", "supplement"), ("direct", "load-step"), ("direct", "plug-in")):
        text = PEAK.replace("90 W", "45 W") if transient == "load-step" else PEAK
        # A leak of 100 kΩ stands across the blocking pair.
        assert np.min(ran(key, transient, text).waves.low["i_source"]) > -1e-3


@pytest.mark.slow
def test_both_engines_tell_the_same_story(product):
    p, kind = product("direct"), shelf.get("unplug")
    means, edges = one(p, kind, "averaged"), one(p, kind, "switched")
    for key in ("bus_low", "bus_high", "charge_most", "coil_most"):
        # The averaged circuit has no ripple on the bus and only an estimate of the coil's: 3 %.
        assert means.measure(key).value == pytest.approx(edges.measure(key).value, rel=0.03), key


def test_the_same_product_gives_the_same_bits(product):
    p, kind = product("direct", PEAK.replace("90 W", "45 W")), shelf.get("load-step")
    first, second = one(p, kind, "averaged"), one(p, kind, "averaged")
    assert all(np.array_equal(first.waves.mean[q], second.waves.mean[q]) for q in QUANTITIES)


def test_what_a_path_cannot_meet_is_left_out_with_its_reason(product):
    found = transients(product("direct"), only=("supplement",), engine="averaged")
    assert found.reports == ()
    assert "cannot help" in found.left_out[0].why


PD = """\
name: Contracts
sources:
  - {name: charger, kind: usb-pd, power: 65 W}
pack: {cell: nmc-energy, series: 2, capacity: 5 Ah}
system: {load: 5 W}
"""


def test_a_contract_that_slews_moves_the_input_by_its_difference_and_leaves_the_charge(ran, product):
    r, p = ran("narrow-buck", "contract", PD), product("narrow-buck", PD)
    w = r.waves
    # USB Power Delivery: 30 mV/us at most (status at `parts.usb_pd.limits`); 9 V to 20 V take 367 us.
    # A tenth for what cable and capacitors ring on top, and for the charge current's drop.
    v_50, v_300 = np.interp([50e-6, 300e-6], w.t, w.mean["v_input"])
    assert (v_300 - v_50) / 250e-6 == pytest.approx(30e3, rel=0.1)
    assert r.measure("changes").passes
    # In the end the charge current is what it is set to; 2 % for what the loop's integrator still has to go.
    assert final(r, "i_pack") == pytest.approx(p.case.i_charge, rel=0.02)
    assert np.max(w.mean["v_input"]) > 19.0
    assert p.strongest.v_set.typ == 20.0


def test_a_stretch_that_the_next_event_cuts_short_tells_no_settling(ran):
    # Until the battery switch closes, the capacitors hold the bus on a straight way down: it cannot have settled there.
    held = PEAK.replace("load: 20 W", "rails: [{name: main, voltage: 5 V, power: 20 W, input_capacitance: 47 uF}]")
    r = ran("direct", "unplug", held)
    pulled, closes = (t for t, _ in r.events)
    w, before = r.waves, (r.waves.t > pulled) & (r.waves.t < closes)
    assert w.mean["v_bus"][before][-1] < w.mean["v_bus"][before][len(before[before]) // 2] - 1.0
    assert r.measure("settling").note == ""
    assert r.measure("settling").value < r.waves.t[-1] - closes


HIGH = PD.replace("series: 2", "series: 4") + "charge: {current: 0.3 C}\n"


@pytest.fixture(scope="module")
def studied(tmp_path_factory):
    """Return a function that gives a path of a study, whose parts are searched for this very design."""
    file = tmp_path_factory.mktemp("designs") / "contracts.yaml"
    file.write_text(HIGH, encoding="utf-8")
    study = study_design(load_design(file), file)

    @cache
    def make(key: str) -> Product:
        path = study.path(key)
        return product_of(study.case, path, stability(study.case, path))

    return make


@pytest.fixture(scope="module")
def contract(studied):
    """Return a function that gives the change of contract of a studied path."""

    @cache
    def make(key: str) -> TransientReport:
        found = one(studied(key), shelf.get("contract"), "averaged")
        assert not isinstance(found, str), found
        return found

    return make


def test_a_bus_that_follows_its_source_below_the_pack_is_carried_by_it(contract, studied):
    r, p = contract("direct"), studied("direct")
    w = r.waves
    by = {words: t for t, words in r.events}
    closes, opens = by["battery switch closes"], by["battery switch opens"]
    carried = (w.t > closes + 50e-6) & (w.t < by["and back to 20 V"])
    # Conservation: with the source below the bus the pack alone gives what the load takes; 1 mA leaks.
    assert np.allclose(w.mean["i_pack"][carried], -w.mean["i_load"][carried], atol=2e-3)
    assert np.all(np.abs(w.mean["i_source"][carried]) < 1e-3)
    # The bus is then the pack's: its rest voltage less a drop of some hundredths.
    assert np.all(w.mean["v_bus"][carried] < w.mean["v_bus"][0] - 3.0)
    assert opens > by["and back to 20 V"]
    assert final(r, "i_pack") == pytest.approx(p.case.i_charge, rel=0.02)
    assert r.measure("bus_low").passes


def test_four_switches_go_from_step_up_to_step_down_on_one_control_voltage(contract, studied):
    r, p = contract("narrow-buck-boost"), studied("narrow-buck-boost")
    w = r.waves
    v_low, v_high = w.mean["v_input"][0], np.max(w.mean["v_input"])
    v_pack = w.mean["v_pack"][0]
    assert v_low < 0.7 * v_pack < 1.2 * v_pack < v_high
    # While it rises the charge goes on through unity gain: never below half, nor back into the source.
    up = (w.t > 0.0) & (w.t < 300e-6)
    assert np.min(w.mean["i_pack"][up]) > 0.5 * np.mean(w.mean["i_pack"][w.t < 0.0])
    # Power at rest on either contract is the pack's and the load's, and 2 to 15 % of losses.
    for t in (-1e-6, r.events[1][0] - 5e-6):
        at = {q: float(np.interp(t, w.t, w.mean[q])) for q in QUANTITIES}
        taken = at["v_bus"] * (at["i_pack"] + at["i_load"])
        assert 1.005 * taken < at["v_input"] * at["i_source"] < 1.15 * taken
    assert p.strongest.v_set.typ == 20.0


@pytest.mark.slow
@pytest.mark.parametrize("key", ["direct", "narrow-buck-boost"])
def test_both_engines_change_the_contract_alike(key, contract, studied):
    means, edges = contract(key), one(studied(key), shelf.get("contract"), "switched")
    # The bus has ripple of 1 % that the averaged circuit lacks; currents as for the other transients.
    for name in ("bus_low", "bus_high", "input_high", "charge_most", "coil_most", "source_most"):
        assert means.measure(name).value == pytest.approx(edges.measure(name).value, rel=0.03), name


def test_the_page_lists_every_transient():
    page = (Path(__file__).parents[2] / "docs" / "transients.md").read_text(encoding="utf-8")
    listed = re.findall(r"^\| `([a-z-]+)` \|", page, flags=re.MULTILINE)
    assert sorted(listed) == list(shelf.keys())


def test_a_source_that_comes_brings_no_current_of_its_own(ran, product):
    p, w = product("direct"), ran("direct", "plug-in").waves
    soon = (w.t > 0.0) & (w.t < 20e-6)
    # A voltage that rises by its slope across the cable alone: i = slope·t²/2L, and no more; 1 mA leaks.
    slope = p.strongest.v_set.typ / p.settings.t_pair
    most = 0.5 * slope * (w.t[soon] + 0.5 / p.build.f_sw) ** 2 / p.strongest.l_cable
    assert np.all(w.mean["i_source"][soon] < most + 1e-3)


def test_a_study_without_the_compiled_circuit_says_what_it_leaves_to_the_command(product, monkeypatch):
    monkeypatch.setattr(run, "averaged_is_kept", lambda: False)
    found = run.study_transients(product("narrow-buck"))
    assert [r.key for r in found.reports] == ["unplug", "pack-start"]
    assert {r.key for r in (*found.reports, *found.left_out)} == set(run.ORDER)
    assert all("chargewright prepare" in left.why for left in found.left_out)


def test_what_stands_still_is_not_drawn(ran):
    # The pack starts the product and the stage stands still: its coil is no panel, though the transient asks for one.
    report = ran("direct", "pack-start")
    assert "i_coil" in report.drawn
    alt = transient_picture(report).alt
    assert "bus voltage" in alt
    assert "coil current" not in alt

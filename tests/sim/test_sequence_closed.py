"""Pieces of the event-order automaton against closed forms that are known from elsewhere."""

import math

import pytest
from event_machines import ALL, BOOST, DIRECT, NARROW
from hypothesis import given, settings
from hypothesis import strategies as st

from chargewright.physics.transient import hold_up_time, rc_voltage
from chargewright.sim import sequence_rules as code
from chargewright.sim._sequence_nodes import APART, BOTH_WAYS, node
from chargewright.sim.sequence import beginning, charged, passage
from chargewright.sim.sequence_events import after, event, possible

approx = pytest.approx


def run(machine, *words, record=False, start=None):
    """Return the passage that the last of some events begins."""
    at = start or beginning(machine)
    for word in words[:-1]:
        at = passage(machine, after(machine, at, event(word))).end
    return passage(machine, after(machine, at, event(words[-1])), record=record)


def when(found, place, value):
    """Return when a part of the discrete state first takes a value [s]."""
    return next(c.t for c in found.changes if c.now[place] == value)


def test_a_constant_power_load_empties_the_bus_capacitor_in_the_textbook_time():
    # Textbook: t = C·(V1² − V2²)/(2·P); check-values row TR17 (derived, recomputed): 100 uF, 60 W, 20 V to 9 V give
    # 265.83 us.  The step is exact for a constant power; the crossing is met to 0.2 % of its voltage.
    p = DIRECT._replace(c_bus=100e-6, p_light=60.0, v_off=9.0, v_on=9.5, g_bus=0.0, r_line=1e-3, r_in=0.0)
    no_pack = beginning(p, pack=False)
    found = run(p, "plug", "boot", "unplug", start=no_pack)
    t = when(found, code.LOAD, code.LOCKED)
    at_start = found.start.v_bus
    assert at_start == approx(20.0, rel=1e-3)
    assert t == approx(hold_up_time(100e-6, at_start, 9.0, 60.0), rel=5e-3)
    assert t == approx(265.83e-6, rel=6e-3)


def test_a_capacitor_charges_through_a_resistance_as_the_textbook_says():
    # Second road: v = E·(1 − exp(−t/RC)).  Implicit Euler of 400 steps over two time constants is off by about half a
    # step, h/(2·RC)·exp(−t/RC)·t/RC, below 0.4 %.
    r, c, e, w = 10.0, 20e-6, 5.0, 0.0
    h = 2.0 * r * c / 400
    for _ in range(400):
        v, *_, fine = node(c, 0.0, w, h, 0.0, e, 1.0 / r, math.inf, 0.0, 0.0, APART)
        assert fine
        w = 0.5 * c * v**2
    assert v == approx(float(rc_voltage(0.0, e, 2.0 * r * c, r * c)), rel=4e-3)


def test_a_source_at_its_current_limit_charges_a_capacitor_in_a_straight_line():
    # C·dV/dt = I: check-values row TR15 turned round: 3 A into 100 uF rise 30 mV/us.  Exact for any step.
    v, i, *_ = node(100e-6, 0.0, 0.0, 100e-6, 0.0, 20.0, 1e3, 3.0, 0.0, 0.0, APART)
    assert (v, i) == (approx(3.0, rel=1e-12), 3.0)


@pytest.mark.parametrize("h", [1e-9, 1e-6, 1e-3, 10.0])
def test_a_step_of_any_length_balances_to_rounding(h):
    c, g, w, p, e, r, e_pack, r_pack = 40e-6, 1e-4, 4e-3, 12.0, 9.0, 0.1, 8.0, 0.05
    v, i, v_at, i_pack, fine = node(c, g, w, h, p, e, 1.0 / r, 50.0, e_pack, 1.0 / r_pack, BOTH_WAYS)
    assert fine
    stored = 0.5 * c * v**2 - w
    assert stored == approx(h * (v_at * i + v * i_pack - g * v**2 - p), abs=1e-12 * max(1.0, h * 100.0))


def test_a_long_step_ends_where_a_constant_power_load_rests():
    # v = (E + √(E² − 4·R·P))/2, the working point of a constant-power load (R. D. Middlebrook, 1976, from memory).
    v, *_ = node(40e-6, 0.0, 4e-3, 1e3, 12.0, 9.0, 10.0, 50.0, 0.0, 0.0, APART)
    assert v == approx((9.0 + math.sqrt(81.0 - 4.8)) / 2.0, rel=1e-6)


def test_a_hiccup_has_the_period_of_its_parts():
    # By hand: trip time, off time, check of the input, soft start from what is left on the bus to where the load may
    # start, restart delay, start-up time.  The rest of the bus falls with C/g, its bleed.
    p = DIRECT._replace(p_busy=90.0, locks=False)
    found = run(p, "plug", "boot", "step", start=beginning(p, pack=False))
    left = p.v_off * math.exp(-(p.t_off + p.t_check) * p.g_bus / p.c_bus)
    parts = p.t_trip + p.t_off + p.t_check + (p.v_on - left) / p.slew + p.t_restart + p.t_boot
    assert found.ending == "limit cycle"
    # 0.5 ms of 3.123 s: the bleed is followed in a dozen implicit steps, which leaves some 0.7 V more on the bus.
    assert found.period == approx(parts, abs=5e-4)


def test_the_body_diode_carries_until_the_switch_is_closed():
    found = run(DIRECT, "plug", "boot", "step", "unplug")
    closed = when(found, code.BAT, code.CLOSED)
    assert closed - when(found, code.BAT, code.CLOSES) == approx(DIRECT.t_close, rel=1e-6)
    # Between the pack's 7.4 V with polarisation and one diode and its drop below that.
    assert 7.4 - DIRECT.v_diode - 0.5 < found.sums.v_low < 7.4


def test_a_pack_that_rests_has_the_voltage_of_its_resistances():
    # Second road: v = (E + √(E² − 4·R·P))/2 with all resistances in series.
    found = run(DIRECT, "boot", "step")
    r = DIRECT.r_pack + DIRECT.r_switch + DIRECT.r_slow
    # 1e-4 of the voltage is what counts as rest.
    assert found.end.v_bus == approx((7.4 + math.sqrt(7.4**2 - 4.0 * r * 24.0)) / 2.0, rel=5e-4)


def test_the_charge_is_cut_back_so_that_the_source_stays_at_its_limit():
    p = DIRECT._replace(p_busy=55.0)
    found = run(p, "plug", "boot", "step")
    assert found.end.i_source == approx(p.i_limit_1, rel=1e-3)
    assert 0.0 < found.end.i_pack < p.i_charge_half


def test_the_pack_fills_in_above_the_source_limit_after_its_detection_delay():
    p = BOOST._replace(p_busy=70.0, kind=code.CONSTANT, i_trip_0=4.0, i_trip_1=4.0)
    found = run(p, "plug", "boot", "step")
    assert when(found, code.HELP, code.HELPS) - when(found, code.HELP, code.FEELS) == approx(p.t_help, rel=1e-6)
    assert found.end.i_source == approx(p.i_limit_1, rel=1e-3)
    assert found.end.i_pack < 0.0


def test_a_buck_needs_head_room():
    # 20 V times the greatest duty of 0.4 are 8 V, below the 8.5 V that the bus would be held at.
    found = run(NARROW._replace(duty_most=0.4), "remove", "plug")
    # A thousandth for what the bleed takes.
    assert found.end.v_bus == approx(8.0, rel=1e-3)


WORDS = ("plug", "contract", "boot", "step", "release", "peak", "unplug", "dip", "trip", "reset", "remove", "fit",
         "drain", "fill", "shut")  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(
    name=st.sampled_from(sorted(ALL)),
    picks=st.lists(st.integers(0, 14), min_size=1, max_size=8),
    p_busy=st.floats(1.0, 150.0),
    c_bus=st.floats(1e-6, 1e-2),
    r_line=st.floats(1e-3, 1.0),
    r_pack=st.floats(1e-3, 0.5),
    tau=st.floats(1e-6, 1e-3),
    p_pulse=st.floats(0.0, 1.0),
)
def test_energy_is_conserved_in_any_order_of_events(name, picks, p_busy, c_bus, r_line, r_pack, tau, p_pulse):
    # Source + pack = load + losses + what capacitors gained.  1e-6 of all that moved covers the rounding of thousands
    # of steps; what is counted as lost in a pair's polarisation may come back.
    p = ALL[name]._replace(
        p_busy=p_busy, p_peak=p_busy * (1.0 + p_pulse), c_bus=c_bus, r_line=r_line, r_pack=r_pack, tau=tau
    )
    at = beginning(p)
    for pick in picks:
        able = possible(p, at)
        found = passage(p, after(p, at, able[pick % len(able)]))
        assert found.sums.unaccounted < 1e-6
        assert all(math.isfinite(v) for v in found.end.x)
        assert found.end.v_bus >= 0.0
        assert found.end.i_source >= 0.0
        at = found.end


@settings(max_examples=25, deadline=None)
@given(
    values=st.lists(st.sampled_from([0.0, 1e-9, 1e-3, 1.0, 1e3, 1e9]), min_size=4, max_size=4),
    name=st.sampled_from(sorted(ALL)),
)
def test_absurd_figures_end_in_bounded_work(values, name):
    c, power, current, slew = values
    p = ALL[name]._replace(
        c_bus=max(c, 1e-9), c_in=max(c, 1e-9), p_busy=power, i_charge_half=current, slew=max(slew, 1e-3)
    )
    at = beginning(p)
    for word in ("plug", "boot", "step"):
        if event(word) in possible(p, at):
            found = passage(p, after(p, at, event(word)))
            assert found.sums.steps <= 6_500
            at = found.end


def test_charged_capacitors_hold_what_they_are_given():
    found = charged(NARROW, beginning(NARROW), v_bus=8.0, v_in=12.0)
    assert (found.v_bus, found.x[code.V_IN]) == (approx(8.0), approx(12.0))


def test_the_same_order_gives_the_same_numbers():
    one, two = (run(DIRECT, "plug", "boot", "step", "unplug") for _ in range(2))
    assert one.end == two.end
    assert one.changes == two.changes

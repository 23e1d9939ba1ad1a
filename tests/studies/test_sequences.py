"""Orders of events of a design: what its machine is made of, and what the study says of it."""

import pytest

from chargewright.sim import sequence_rules as code
from chargewright.studies.operate import source_limit
from chargewright.studies.sequences.machine import default_contract, machine_of
from chargewright.studies.sequences.run import sequences
from chargewright.studies.sequences.settings import SequenceSettings
from chargewright.studies.stability import ControllerModel, loops_of

PD = """\
name: Two sources
sources:
  - {name: big, kind: usb-pd, power: 65 W}
  - {name: small, kind: usb-pd, power: 30 W}
pack: {cell: nmc-energy, series: 2, capacity: 5 Ah}
system: {load: 12 W, peak: {power: 20 W, duration: 10 ms}, boot: 6 W}
"""
WEAK = """\
name: Weak adapter
sources: [{name: adapter, kind: fixed, voltage: 20 V ±5 %, current: 0.5 A, overload: hiccup}]
pack: {cell: nmc-energy, series: 2, capacity: 5 Ah}
system: {load: 12 W, boot: 6 W}
"""


def machine(b, source, **how):
    return machine_of(b.case, b.plan, b.hardware, b.build, source, SequenceSettings(), **how)


def orders(b, **how):
    return sequences(b.case, b.plan, b.hardware, b.build, **how)


def test_the_machine_takes_its_figures_from_the_design(bench):
    b = bench("direct")
    p = machine(b, "adapter")
    supply = b.plan.contracts["adapter"]
    assert (p.narrow, p.helps, p.talks, p.kind) == (False, False, False, code.HICCUPS)
    assert p.e_1 == supply.v_set.low
    assert p.i_trip_1 == supply.overload.i_trip.low
    assert p.i_limit_1 == source_limit(b.case, supply)
    assert (p.v_off, p.i_charge_half) == (b.case.bus_min, pytest.approx(b.case.i_charge))
    # By hand: three 10 uF ceramics, 10 % low, at 19 V of bias and half at 20 V; 10 uF of the one
    # rail beside them, 20 % low.
    assert p.c_bus == pytest.approx(8e-6 + 27e-6 / (1.0 + (19.0 / 20.0) ** 1.5), rel=1e-9)


def test_the_lag_is_that_of_the_slower_current_loop(bench):
    b = bench("direct")
    loops = loops_of(b.case, b.plan, b.hardware, b.build, ControllerModel())
    p = machine(b, "adapter", loops=loops)
    # Common practice: a loop of a stage at 600 kHz is crossed below a fifth of that; a kilohertz is slow.
    assert 1.0 / (6.2832 * 120e3) < p.tau < 1.0 / (6.2832 * 1e3)
    assert machine(b, "adapter").tau == SequenceSettings().t_regulate


def test_a_source_that_negotiates_starts_at_five_volts(bench):
    # vSafe5V: 4.75 V at its low edge (PD ch. 7; from memory, as in `parts.usb_pd.limits`).
    b = bench("narrow-buck-boost", PD)
    p = machine(b, "big")
    assert p.talks
    assert p.e_0 == 4.75
    assert p.e_1 > p.e_0
    assert default_contract(b.case, b.plan.contracts["big"]).position is None


def test_the_times_of_a_contract_are_those_of_the_standard():
    # tSrcTransition up to 35 ms and tSrcSettle up to 275 ms; tSrcRecover up to 1 s (UP21, confirmed by look-up).
    assert SequenceSettings().t_move == pytest.approx(0.310)
    assert SequenceSettings().t_reset == pytest.approx(1.000)


def test_a_sound_product_comes_through_every_order(bench):
    found = orders(bench("direct"))
    assert found.outcomes == ()
    (one,) = found.sources
    assert one.whole
    assert one.orders > 1000


def test_a_source_below_the_load_trips_for_ever_while_the_pack_carries(bench):
    # 12 W at 19 V are 0.63 A and more with the rails' loss; the source acts at 0.55 A.
    found = orders(bench("direct", WEAK))
    keys = {o.key for o in found.outcomes}
    assert {"trip-and-return", "trip-and-restart"} <= keys
    worst = found.outcomes[0]
    assert worst.severity == "serious"
    assert worst.period > SequenceSettings().t_off
    assert all(o.cure is not None for o in found.outcomes)


def test_the_weakest_source_comes_first_and_the_budget_is_kept(bench):
    b = bench("narrow-buck-boost", PD)
    found = orders(b, budget=1)
    assert [s.source for s in found.sources] == ["small"]
    assert found.left_out == ("big",)
    assert orders(b, sources=("big",)).left_out == ()


def test_the_same_design_gives_the_same_orders(bench):
    b = bench("direct", WEAK)
    assert orders(b) == orders(b)


def test_every_value_that_is_assumed_is_said(bench):
    said = " ".join(orders(bench("direct")).assumptions)
    for value in ("1 s", "310 ms", "20 ms", "500 ms", "5000 V/s", "2 s", "100 ms"):
        assert value in said

"""The charge on a path: what is left over keeps the source's limit, and the energy of a charge adds up."""

from dataclasses import replace

import numpy as np
import pytest

from chargewright.network.solve import solve
from chargewright.studies.charge import charge_case, charge_cases, charge_plan, left_over
from chargewright.studies.operate import conditions, source_limit

PATHS = ("direct", "direct-boost", "narrow-buck", "narrow-buck-boost")
RAILS = "load: 50 W\n  modes: [{name: work, power: 12 W}, {name: busy, power: 45 W}]\nambient: {board: 3 K/W}"


@pytest.fixture(scope="module")
def strong(twelve) -> str:
    """Return the twelve lines with a busy mode that leaves less than the wanted current."""
    return twelve.replace("load: 12 W", RAILS)


@pytest.mark.parametrize("key", PATHS)
@pytest.mark.parametrize("p_load", [12.0, 45.0])
def test_what_is_left_over_keeps_the_source_inside_its_limit(key, p_load, bench, strong):
    # Second road: force that very current into the pack and look at the source. Where less is left over than wanted the
    # source stands exactly at its limit (the solver holds it to 1e-9); where all is, it stays below.
    b = bench(key, strong)
    (supply,) = b.case.sources["adapter"]
    table = left_over(b.case, b.path, b.hardware, supply, p_load=p_load, temp=298.15, edge="low")
    limit = source_limit(b.case, supply)
    i = np.minimum(table.i, b.case.i_charge)
    base = conditions(b.case, b.path, "charging", supply, soc=0.5, p_load=p_load, temp=298.15, edge="low", i_pack=i)
    c = replace(base, e_cells=table.v_pack, r_pack=0.0)
    s = solve(b.path, b.path.state("charging"), b.hardware, c)
    drawn = s.i["source"][s.ok & (i > 0.0)]
    starved = (i < b.case.i_charge)[s.ok & (i > 0.0)]
    assert len(drawn) > 10
    assert drawn[starved] == pytest.approx(limit, rel=1e-8)
    assert np.all(drawn[~starved] <= limit)
    assert starved.any() == (p_load == 45.0)
    assert np.all(table.i >= 0.0)


def test_nothing_is_left_over_where_the_load_takes_all(bench, strong):
    b = bench("narrow-buck", strong)
    (supply,) = b.case.sources["adapter"]
    table = left_over(b.case, b.path, b.hardware, supply, p_load=62.0, temp=298.15, edge="low")
    assert np.all(table.i == 0.0)


def test_a_buck_leaves_nothing_over_for_a_pack_above_its_reach(bench, twelve):
    # Second road: force what is left over into the pack; the stage's duty must stay within the rules' 98 %. Adapters a
    # little above the full pack run out of duty before it is full.
    for volts in (8.8, 9.0, 9.2, 9.4):
        b = bench("direct", twelve.replace("20 V ±5 %", f"{volts} V ±5 %"))
        (supply,) = b.case.sources["adapter"]
        table = left_over(b.case, b.path, b.hardware, supply, p_load=5.0, temp=298.15, edge="low")
        some = table.i > 0.0
        base = conditions(b.case, b.path, "charging", supply, soc=0.5, p_load=5.0, temp=298.15, edge="low", i_pack=1.0)
        i = np.minimum(table.i, b.case.i_charge)[some]
        s = solve(
            b.path,
            b.path.state("charging"),
            b.hardware,
            replace(base, e_cells=table.v_pack[some], r_pack=0.0, i_pack=i),
        )
        assert np.all(s.waveform.d_in <= 0.98 + 1e-9), volts
        assert table.v_pack[some].max() < 0.98 * 0.95 * volts
        assert some[table.v_pack < 7.0].all()


@pytest.mark.parametrize("key", PATHS)
def test_a_charge_takes_more_from_the_source_than_reaches_the_pack(key, bench, twelve):
    b = bench(key, twelve)
    plan = charge_plan(b.case, b.plan, b.hardware)
    run = plan.run
    assert run.ended_by == "termination"
    assert plan.t_full == run.t_end
    # The second law, with the load's own energy taken out; and no path wastes half.
    to_pack = plan.e_source - 12.0 * run.t_end
    assert run.energy_in < to_pack < 2.0 * run.energy_in + 0.2 * 12.0 * run.t_end
    assert plan.e_wall > plan.e_source
    # Conservation along the run: source = load + losses + cells at every instant at which the path was solved; the
    # losses hold the pack's own, so the cells' share is at rest voltage. Cable and droop: 3 % of the power at most.
    soc = np.interp(plan.t, run.trace.t, run.trace.soc)
    i = np.interp(plan.t, run.trace.t, run.trace.i)
    c = conditions(b.case, b.path, "charging", None, soc=np.clip(soc, 0.0, 1.0), p_load=0.0, temp=298.15, i_pack=i)
    inside = 12.0 + plan.p_loss + c.e_cells * i
    assert np.all(plan.p_source >= inside * (1.0 - 2e-3))
    assert np.all(plan.p_source <= inside * 1.03)


@pytest.mark.parametrize("key", PATHS)
def test_the_current_stays_at_or_below_what_was_asked(key, bench, twelve):
    b = bench(key, twelve)
    trace = charge_plan(b.case, b.plan, b.hardware).run.trace
    assert trace.i.max() <= b.case.i_charge * (1.0 + 1e-9)
    # Below the precharge threshold no more than the precharge current flows.
    flat = trace.v_pack < b.case.pack.v_precharge - 1e-6
    assert trace.i[flat].max(initial=0.0) <= b.case.i_precharge * (1.0 + 1e-9)
    # CV: the cells never stand above the charge voltage; the drop of the leads, which are sensed past, comes on top.
    # The run finds the change to CV to some tens of microvolts, far below the accuracy of any charger.
    lead = b.case.pack.lead_resistance * trace.i
    assert float(np.max(trace.v_pack - lead)) == pytest.approx(b.case.v_full, abs=1e-4)


def test_the_charge_starts_flat_and_ends_full_with_the_charge_of_the_pack(bench, twelve):
    run = charge_plan((b := bench("direct", twelve)).case, b.plan, b.hardware).run
    assert run.trace.soc[0] == 0.0
    # Ends at 0.05 C of taper, some per cent below full.
    assert 0.96 < run.trace.soc[-1] <= 1.0
    assert run.charge == pytest.approx(run.trace.soc[-1] * b.case.pack.charge_span, rel=1e-6)
    # By Faraday's count: current over time is charge.
    assert np.trapezoid(run.trace.i, run.trace.t) == pytest.approx(run.charge, rel=1e-3)


def test_a_busy_system_slows_the_charge_and_says_so(bench, strong):
    b = bench("narrow-buck", strong)
    calm, busy = (
        charge_case(b.case, b.plan, b.hardware, "adapter", title="", p_load=p, temp=298.15, edge="low")
        for p in (12.0, 45.0)
    )
    assert busy.t_full > 1.3 * calm.t_full
    assert busy.run.seconds["source"] > 0.3 * busy.t_full
    assert calm.run.seconds["source"] == 0.0


def test_the_cases_are_those_that_a_product_meets(bench, twelve):
    text = twelve.replace("pack:\n", "  - {name: car, kind: fixed, voltage: 15 V ±5 %, current: 2 A}\npack:\n")
    b = bench("narrow-buck", text)
    cases = charge_cases(b.case, b.plan, b.hardware)
    ambient = b.case.design.ambient
    assert [(c.source, c.temp_ambient) for c in cases] == [
        ("adapter", ambient.typical),
        ("adapter", ambient.typical),
        ("adapter", ambient.typical),
        ("adapter", ambient.cold),
        ("adapter", ambient.hot),
        ("car", ambient.typical),
    ]
    assert [c.p_load for c in cases[:3]] == [12.0, 12.0, b.case.design.system.standby]
    assert len({c.title for c in cases}) == len(cases)
    # Cold slows: at 0 °C the cells take less, or nothing.
    assert cases[3].t_full > cases[0].t_full
    # Switched off it is no slower than with the system running.
    assert cases[2].t_full <= cases[0].t_full * (1.0 + 1e-6)


def test_a_source_too_weak_to_charge_never_ends_and_says_why(bench, strong):
    b = bench("narrow-buck", strong)
    plan = charge_case(b.case, b.plan, b.hardware, "adapter", title="", p_load=62.0, temp=298.15, edge="low")
    assert plan.t_full == float("inf")
    assert plan.run.ended_by in ("starved", "timer")
    assert plan.run.cause

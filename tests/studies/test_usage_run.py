"""A usage run on real paths: every joule is somewhere, flows are those of the solver, days add up."""

from dataclasses import replace

import numpy as np
import pytest

from chargewright.base.units import parse
from chargewright.network.ledger import ledger_of
from chargewright.network.solve import solve
from chargewright.parts.cell import frozen
from chargewright.parts.pack import aged
from chargewright.parts.supply import wall_power
from chargewright.studies.charge import charge_case
from chargewright.studies.day import day
from chargewright.studies.operate import conditions, operate
from chargewright.studies.situation import Situation
from chargewright.studies.usage.run import usage
from chargewright.studies.usage.series import LoadLog, in_steps, log_demand, table_demand
from chargewright.studies.usage.settings import UsageSettings

PATHS = ("direct", "direct-boost", "narrow-buck", "narrow-buck-boost", "narrow-through", "parallel")
HOUR = 3600.0
DAY = """\
usage:
  - {mode: work, source: adapter, duration: 7 h}
  - {mode: work, source: none, duration: 2 h}
  - {mode: "off", source: adapter, duration: 15 h}
"""
HARD = """\
  modes: [{name: work, power: 12 W}, {name: press, power: 75 W}]
  peak: {power: 90 W, duration: 10 ms, duty: 2 %}
usage:
  - {mode: press, source: adapter, duration: 40 min}
  - {mode: work, source: none, duration: 4 h}
  - {mode: work, source: adapter, duration: 3 h}
  - {mode: "off", source: none, duration: 16 h 20 min}
ambient: {board: 3 K/W}
"""
QUIET = UsageSettings(days=2.0, self_discharge=0.0)


def lived(b, settings=QUIET, **more):
    return usage(b.case, b.plan, b.hardware, b.build, settings=settings, engine="plain", **more)


@pytest.mark.parametrize("key", PATHS)
@pytest.mark.parametrize("text", [DAY, HARD], ids=["day", "hard"])
def test_energy_and_charge_are_kept_to_a_millionth(key, text, bench, twelve):
    b = bench(key, (twelve.replace("load: 12 W", "load: 80 W") if text is HARD else twelve) + text)
    run = lived(b, replace(QUIET, self_discharge=1e-8, soc_start=0.6))
    assert run.unaccounted < 1e-6
    # Second road: the lines of the balance, which come from the time spent at solved points.
    total = {side: sum(x.energy for x in run.lines if x.side == side) for side in ("in", "out", "loss")}
    assert total["in"] == pytest.approx(total["out"] + total["loss"], rel=1e-6)
    assert all(x.energy >= -1e-9 for x in run.lines if x.side == "loss")
    assert sum(t.seconds for t in run.times) == pytest.approx(run.length, rel=1e-9)


@pytest.mark.parametrize("key", PATHS)
def test_flows_are_those_of_the_solver(key, bench, twelve):
    b = bench(key, twelve + DAY)
    run = lived(b)
    t, (supply,) = run.trace, b.case.sources["adapter"]
    path = (b.case, b.path, b.hardware)
    through = "adapter" in b.plan.through

    def mean(state, after):
        """Return a row in a state, hours after its beginning, where polarisation has settled."""
        rows = [k for k, s in enumerate(t.state) if s == state]
        return min(rows, key=lambda k: abs(t.t[k] - t.t[rows[0]] - after))

    # Flows are means over a step of minutes, so they are those at its middle.
    k = mean("battery", 1.0 * HOUR)
    o = operate(*path, None, soc=0.5 * (t.soc[k] + t.soc[k + 1]), p_load=12.0, temp=298.15)
    # The pack is some kelvin warmer and its polarisation lags the fall of its charge: 1 %.
    assert t.i_pack[k] == pytest.approx(float(o.i_pack[0]), rel=0.01)
    assert t.p_loss[k] == pytest.approx(float(o.p_loss[0]), rel=0.05)
    k = mean("charging", 0.5 * HOUR)
    soc = 0.5 * (t.soc[k] + t.soc[k + 1])
    o = operate(*path, supply, soc=soc, p_load=t.p_load[k], temp=float(t.temp[k]))
    # At the temperature of the cells, which is not quite that of the path; the points between which it is looked up.
    assert t.p_source[k] == pytest.approx(float(o.p_source[0]), rel=0.002)
    if key != "parallel":
        k = mean("source only", 1.0 * HOUR)
        o = operate(*path, supply, soc=1.0, p_load=t.p_load[k], temp=298.15, may_charge=False, pass_through=through)
        assert t.p_source[k] == pytest.approx(float(o.p_source[0]), rel=1e-9)
        assert t.p_loss[k] == pytest.approx(float(o.p_loss[0]), rel=1e-6, abs=1e-6)


def test_losses_by_element_are_those_of_the_ledger(bench, twelve):
    # A product at rest on its source for two days: one solved point, times its seconds.
    b = bench("narrow-buck-boost", twelve + "usage: [{mode: work, source: adapter, duration: 24 h}]\n")
    run = lived(b)
    state, (supply,) = b.path.state("source-only"), b.case.sources["adapter"]
    c = conditions(b.case, b.path, "source-only", supply, soc=1.0, p_load=12.0, temp=298.15)
    book = ledger_of(solve(b.path, state, b.hardware, c))
    expected = {(e.where, e.cause): float(np.broadcast_to(e.watts, 1)[0]) * run.length for e in book.losses()}
    found = {(x.where, x.cause): x.energy for x in run.lines if x.side == "loss" and x.where != "cells"}
    for place, energy in found.items():
        assert energy == pytest.approx(expected[place], rel=1e-6, abs=1e-6), place
    assert sum(found.values()) == pytest.approx(
        sum(v for (w, _), v in expected.items() if w != "source, inside"), rel=1e-6
    )


def test_the_wall_pays_the_adapters_efficiency_and_its_idle_power(bench, twelve):
    b = bench("direct", twelve + DAY)
    run = lived(b)
    (supply,) = b.case.sources["adapter"]
    # Wall power is a straight line over the power delivered, so its mean is that of the mean power.
    for e_wall, e_source, t in zip(run.daily.e_wall, run.daily.e_source, run.daily.t_source, strict=True):
        assert e_wall == pytest.approx(float(wall_power(supply, e_source / t)) * t, rel=1e-12)
    assert np.all(run.daily.t_source == 22 * HOUR)


def test_a_month_settles_on_the_lasting_day(bench, twelve):
    b = bench("direct-boost", twelve + DAY)
    run, one = lived(b, replace(QUIET, days=6.0)), day(b.case, b.plan, b.hardware, 298.15)
    # Finer tables and other rounding of the end of the charge: 0.3 %.
    assert run.daily.e_wall[-1] == pytest.approx(one.e_wall, rel=3e-3)
    assert run.daily.cycles[-1] == pytest.approx(one.throughput, rel=5e-3)
    assert run.e_load == pytest.approx(6.0 * one.e_load, rel=1e-9)
    assert run.daily.soc_end[-1] == pytest.approx(run.daily.soc_end[-2], abs=1e-3)


def test_days_of_rest_are_spent_on_the_pack(bench, twelve):
    b = bench("direct", twelve + DAY)
    demand = table_demand(b.case, work_days=5, rest_days=2)
    run = lived(b, replace(QUIET, days=14.0), demand=demand)
    used = run.daily.t_source > 0.0
    assert list(used) == [True] * 5 + [False] * 2 + [True] * 5 + [False] * 2
    standby = b.case.design.system.standby
    assert run.daily.e_load[5] == pytest.approx(86400.0 * standby, rel=1e-6)
    assert run.daily.e_wall[5] == 0.0
    plugged = table_demand(b.case, work_days=5, rest_days=2, rest_source="adapter")
    assert lived(b, replace(QUIET, days=7.0), demand=plugged).daily.t_source[6] == 86400.0


def test_a_log_of_the_table_is_the_table(bench, twelve):
    b = bench("narrow-buck", twelve + DAY)
    by_table = lived(b, replace(QUIET, days=1.0, step=10.0))
    table = table_demand(b.case)
    even = in_steps(table, 10.0).series
    log = LoadLog(
        name="kept.csv", step=10.0, power=even.power, peak=even.power, source=even.source, sources=even.sources,
        energy=float(np.sum(even.power)) * 10.0, rows=8640, notes=(),
    )  # fmt: skip
    by_log = lived(b, replace(QUIET, days=1.0), demand=log_demand(b.case, log))
    # Another grid of loads is the only difference: the losses between its points, 0.1 % of the whole.
    assert by_log.e_wall == pytest.approx(by_table.e_wall, rel=1e-3)
    assert by_log.cycles == pytest.approx(by_table.cycles, rel=2e-3)
    assert by_log.e_load == pytest.approx(by_table.e_load, rel=1e-9)


def test_a_worn_pack_runs_shorter(bench, twelve):
    b = bench("direct", twelve + DAY.replace("duration: 2 h", "duration: 5 h"))
    worn: Situation = replace(b.case, pack=aged(b.case.pack, capacity=0.8, resistance=1.5))
    new = lived(b)
    old = usage(worn, b.plan, b.hardware, settings=QUIET, engine="plain")
    assert old.t_unserved > new.t_unserved + 2 * 0.15 * 2.5 * HOUR  # a fifth of some three hours, each day
    assert old.cycles <= 2.05


def test_self_discharge_takes_its_share(bench, twelve):
    b = bench("direct", twelve + 'usage: [{mode: "off", source: none, duration: 24 h}]\n')
    case = replace(b.case, design=replace(b.case.design, system=replace(b.case.design.system, standby=0.0)))
    run = usage(case, b.plan, b.hardware, settings=UsageSettings(days=30.0, step=600.0), engine="plain")
    # 2 % of the rated capacity in 30 days, and what the controller draws.
    lost = (run.soc_start - run.soc_end) * case.pack.charge_span / case.pack.capacity
    assert lost > 0.02
    drawn = -float(np.sum(run.trace.i_pack[:-1] * np.diff(run.trace.t))) / case.pack.capacity
    assert lost - drawn == pytest.approx(0.02, rel=1e-2)


def test_progress_rises_to_the_end(bench, twelve):
    told = []
    b = bench("direct", twelve + DAY)
    lived(b, progress=lambda step, share: told.append((step, share)))
    shares = [share for _, share in told]
    assert shares == sorted(shares)
    assert 0.9 <= shares[-1] <= 1.0
    assert len({step for step, _ in told}) >= 3


def test_even_steps_keep_the_energy(case_of, twelve):
    demand = table_demand(case_of(twelve + DAY))
    for step in (60.0, 600.0, 86400.0):
        s = in_steps(demand, step).series
        assert float(np.sum(s.power)) * step == pytest.approx(12.0 * 9 * HOUR + 0.02 * 15 * HOUR, rel=1e-9)


@pytest.mark.parametrize(("factor", "word"), [(1e3, "above"), (1e-3, "below")])
def test_a_log_in_another_unit_is_told(case_of, twelve, factor, word):
    from chargewright.base.errors import LogError

    power = frozen([12.0 * factor, 3.0 * factor])
    log = LoadLog(
        name="mW.csv", step=1.0, power=power, peak=power, source=None, sources=(), energy=1.0, rows=2, notes=()
    )
    with pytest.raises(LogError, match=f"times {word} the design's 12 W"):
        log_demand(case_of(twelve), log)


def test_sources_of_a_log_have_to_be_the_designs(case_of, twelve):
    from chargewright.base.errors import LogError, OutOfRange

    case, power = case_of(twelve + DAY), frozen([12.0, 12.0])
    log = LoadLog(
        name="x.csv", step=1.0, power=power, peak=power, source=np.zeros(2, dtype=np.int8), sources=("car",),
        energy=24.0, rows=2, notes=(),
    )  # fmt: skip
    with pytest.raises(LogError, match="no source is called 'car'; there are adapter"):
        log_demand(case, log)
    by_table = log_demand(case, replace(log, source=None))
    assert by_table.series.sources == ("adapter",)
    assert any("those of the usage table" in s for s in by_table.said)
    with pytest.raises(OutOfRange, match="'car'"):
        table_demand(case, rest_days=1, rest_source="car")
    assert parse("1 d", "s") == 86400.0


LONG_CABLE = """\
name: A long thin cable
sources:
  - {name: adapter, kind: fixed, voltage: 12 V ±5 %, current: 3.25 A, droop: 300 mohm,
     cable: {resistance: OHMS, connectors: 100 mohm}}
pack: {cell: nmc-energy, series: 3, capacity: 5 Ah}
system: {load: 10 W}
usage: [{mode: work, source: adapter, duration: 24 h}]
"""


@pytest.mark.parametrize("ohms", ["500 mohm", "900 mohm"])
def test_a_charge_through_droop_and_a_long_cable_takes_as_long_as_the_charge_study_says(bench, ohms):
    # Second road: the charge engine with the path solved at the source's limit, point by point. Here straight lines lie
    # between points of the tables: 3 % of time, 4 % of one phase, where the cable takes a third of the power.
    b = bench("narrow-buck-boost", LONG_CABLE.replace("OHMS", ohms))
    charge = charge_case(b.case, b.plan, b.hardware, "adapter", title="", p_load=10.0, temp=298.15, soc_start=0.1)
    run = lived(b, replace(QUIET, days=0.4, soc_start=0.1, self_discharge=0.0))
    ended = next(e.t for e in run.events if e.what == "charge ended")
    assert ended == pytest.approx(charge.run.t_end, rel=0.03)
    assert run.seconds(state="shared", limit="source current") == pytest.approx(charge.run.seconds["source"], rel=0.04)
    assert run.seconds(limit="source voltage") == 0.0

"""A contract that changes while the product runs, a source that trips, a pack too cold to give: numbers and words."""

from dataclasses import replace

import numpy as np
import pytest

from chargewright.base.errors import LogError, OutOfRange, SpecError
from chargewright.parts.cell import frozen
from chargewright.studies.usage.feeding import feeding, named, passes_through, source_of
from chargewright.studies.usage.run import usage
from chargewright.studies.usage.series import LoadLog, log_demand
from chargewright.studies.usage.settings import UsageSettings

HOUR = 3600.0
FOUR = """\
name: Four cells on a charger of many voltages
sources:
  - {name: charger, kind: usb-pd, power: 65 W}
pack: {cell: nmc-energy, series: 4, capacity: 5 Ah}
system: {load: 12 W}
"""
DROPS = """\
usage:
  - {mode: work, source: charger, duration: 1 h}
  - {mode: work, source: charger, contract: 9 V, duration: 3 h}
  - {mode: work, source: charger, duration: 20 h}
"""


def lived(b, days=1.0, demand=None, **settings):
    given = replace(UsageSettings(days=days, self_discharge=0.0), **settings)
    return usage(b.case, b.plan, b.hardware, b.build, settings=given, demand=demand, engine="plain")


def told(run, key):
    texts = {s.key: s.text for s in run.stories}
    assert key in texts, f"told are: {texts}"
    return texts[key]


def test_a_buck_stands_still_while_the_contract_is_too_low(bench):
    run = lived(bench("direct", FOUR + DROPS), soc_start=0.2)
    text = told(run, "low-source")
    assert "The voltage of charger at 9 V 3 A (8.1 V in the worst case) leaves the path too little room" in text
    assert "full at 16.8 V: the charge stands still while the source carries the load for 3 h 00 min." in text
    assert run.seconds(state="charge waits", limit="source voltage") == 3 * HOUR
    t = run.trace
    low = np.array([s == "charger at 9 V 3 A" for s in t.source])
    assert np.all(t.i_pack[low] == 0.0)
    assert np.all(t.p_load[low] == 12.0)
    assert run.t_unserved == 0.0
    assert run.counts["charge ended"] == 1
    assert run.unaccounted < 1e-6


def test_four_switches_charge_on_with_what_the_lower_contract_leaves(bench):
    # 9 V and 3 A less the margin are 26 W; 12 W and their losses are the load's, the rest charges.
    run = lived(bench("narrow-buck-boost", FOUR + DROPS), soc_start=0.2)
    assert "charger at 9 V 3 A at 2.91 A" in told(run, "weak-source")
    t = run.trace
    shared = np.array([s == "charger at 9 V 3 A" and k == "shared" for s, k in zip(t.source, t.state, strict=True)])
    assert shared.sum() > 20
    np.testing.assert_allclose(t.p_source[shared], (9.0 - 0.02 * 2.91) * 2.91, rtol=1e-6)
    assert np.all(t.i_pack[shared] > 0.0)


def test_a_narrow_buck_leaves_the_load_to_the_pack_while_the_contract_is_too_low(bench):
    # Its bus hangs on the pack: 9 V cannot feed a bus of 14 V to 16.8 V, so the pack carries the load.
    run = lived(bench("narrow-buck", FOUR + DROPS), soc_start=0.5)
    text = told(run, "low-source")
    assert "the source cannot be used at all and the pack carries the load for 3 h 00 min" in text
    assert run.t_unserved == 0.0
    assert run.seconds(state="battery", limit="source voltage") == 3 * HOUR
    t = run.trace
    low = np.array([s == "charger at 9 V 3 A" for s in t.source])
    assert np.all(t.p_source[low] == 0.0)
    assert np.all(t.i_pack[low] < -0.7)
    assert run.unaccounted < 1e-6


def test_a_log_names_contracts_too(bench):
    b = bench("direct", FOUR)
    power = np.full(7200, 12.0)
    log = LoadLog(
        name="drops.csv", step=1.0, power=frozen(power), peak=frozen(power),
        source=np.repeat(np.array([0, 1], dtype=np.int8), 3600), sources=("charger", "charger at 9 V"),
        energy=86400.0, rows=7200, notes=(),
    )  # fmt: skip
    demand = log_demand(b.case, log)
    assert demand.series.sources == ("charger", "charger at 9 V 3 A")
    run = lived(b, days=1.0 / 12.0, demand=demand, soc_start=0.3)
    assert run.seconds(limit="source voltage") == HOUR
    with pytest.raises(LogError, match=r"drops.csv: charger has no contract '13 V'; it offers '20 V 3.25 A'"):
        log_demand(b.case, replace(log, sources=("charger", "charger at 13 V")))
    with pytest.raises(LogError, match="no source is called 'car at 9 V'; there are charger"):
        log_demand(b.case, replace(log, sources=("charger", "car at 9 V")))


def test_a_contract_is_named_by_its_voltage_or_in_full(bench):
    b = bench("direct", FOUR)
    assert named(b.case, "charger", "9 V") == named(b.case, "charger", "9 V 3 A") == "charger at 9 V 3 A"
    assert named(b.case, "charger", None) == "charger"
    assert named(b.case, "none", None) == "none"
    assert feeding(b.case, b.plan, "charger") is b.plan.contracts["charger"]
    assert feeding(b.case, b.plan, "charger at 15 V").v_set.typ == 15.0
    assert source_of(b.case, "charger at 15 V 3 A") == "charger"
    assert not passes_through(b.case, b.plan, "charger at 9 V")
    with pytest.raises(OutOfRange, match="did you mean 'charger'"):
        feeding(b.case, b.plan, "chargr")
    with pytest.raises(OutOfRange, match="charger has no contract '4 h'"):
        feeding(b.case, b.plan, "charger at 4 h")


def test_a_contract_the_source_has_not_is_refused(bench):
    with pytest.raises(SpecError, match='has no contract "7 V"; it offers "20 V'):
        bench("direct", FOUR + DROPS.replace("9 V", "7 V"))


WEAK = """\
usage:
  - {mode: work, source: adapter, duration: 2 h}
  - {mode: "off", source: adapter, duration: 22 h}
"""


@pytest.mark.parametrize(
    ("kind", "trips", "hours_off", "words"),
    [
        ("hiccup", 7200.0 / 1.002, 2.0, "it tries again every 1 s and trips again"),
        ("latch-off", 1.0, 24.0, "stays off until it is plugged in again"),
        ("fold-back", 1.0, 2.0, "it folds back, and returns when the load is less"),
        ("constant-current", 1.0, 2.0, "its voltage collapses, and returns when the load is less"),
    ],
)
def test_a_source_on_the_bus_trips_and_the_story_says_how_it_returns(bench, twelve, kind, trips, hours_off, words):
    # 12 W are 0.63 A at 20 V; 0.5 A are given, and from 0.55 A on the source trips. Off for 1 s, on for 2 ms.
    b = bench("direct", twelve.replace("current: 3.25 A", f"current: 0.5 A\n    overload: {kind}") + WEAK)
    run = lived(b)
    text = told(run, "tripped")
    assert "asks adapter for more than it gives (500 mA lastingly, 550 mA for 2 ms)" in text
    assert words in text
    assert float(np.sum(run.daily.trips)) == pytest.approx(trips, rel=1e-6)
    assert float(np.sum(run.daily.t_tripped)) == pytest.approx(hours_off * HOUR, abs=1.0)
    assert run.t_unserved == 0.0
    assert run.unaccounted < 1e-6
    # The wall still pays for a source that is off: its no-load power.
    if kind == "latch-off":
        assert run.e_wall == pytest.approx(0.1 * 86400.0, rel=1e-9)
    helped = lived(bench("direct-boost", twelve.replace("current: 3.25 A", "current: 0.5 A") + WEAK))
    assert float(np.sum(helped.daily.trips)) == 0.0


OUTSIDE = """\
usage:
  - {mode: work, source: none, duration: 4 h}
  - {mode: work, source: adapter, duration: 20 h}
"""


def test_a_pack_below_its_end_of_discharge_leaves_the_product_dark(bench, twelve):
    b = bench("direct", twelve + OUTSIDE)
    run = lived(b, ambient=(243.15,))
    text = told(run, "pack-too-cold-to-give")
    low = b.case.pack.cell.limits.temp_discharge_low
    assert f"below {low - 273.15:.0f} °C" in text
    assert "without a source the product is dark, for 4 h 00 min" in text
    assert "the pack was too cold to give current, first at the very start" in told(run, "unserved")
    assert run.t_unserved == 4 * HOUR
    assert run.unaccounted < 1e-6
    fed = lived(bench("direct", twelve + OUTSIDE.replace("none", "adapter")), ambient=(243.15,))
    assert "a source carries every load meanwhile" in told(fed, "pack-too-cold-to-give")
    assert fed.t_unserved == 0.0


def test_a_hot_pack_is_told_apart_from_a_cold_one(bench, twelve):
    run = lived(bench("direct", twelve + OUTSIDE), ambient=(338.15,))
    assert "above 60 °C" in told(run, "pack-too-hot-to-give")
    assert "pack-too-cold-to-give" not in {s.key for s in run.stories}

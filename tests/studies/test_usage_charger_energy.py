"""The figures of the battery-charger rule against the charge's own run and the rule's own example."""

from dataclasses import replace

import numpy as np
import pytest

from chargewright.base.errors import NoSolution
from chargewright.parts.charger_rules import charger_class, charger_yearly_energy
from chargewright.parts.pack import pack_dc_resistance, pack_ocv
from chargewright.parts.supply import wall_power
from chargewright.studies.charge import charge_case
from chargewright.studies.operate import operate
from chargewright.studies.usage.charger_energy import (
    battery_energy,
    charger_energy,
    charger_energy_after,
    charger_words,
)

HOUR = 3600.0
DAY = 24 * HOUR


def emptied(pack):
    """Return where 0.2 C end: two cells, the weaker with half the spread less capacity and more resistance."""
    soc, i = np.linspace(0.0, 0.2, 20001), 0.2 * pack.capacity / 3600.0
    own = np.maximum(1.0 - (1.0 - soc) / (1.0 - 0.5 * pack.spread_capacity), 0.0)
    r = pack_dc_resistance(pack, soc, 298.15, False) - pack.lead_resistance
    v = pack_ocv(pack, own, 298.15) / 2.0 - i * r / 2.0 * (1.0 + 0.5 * pack.spread_resistance)
    return float(soc[np.argmax(v >= pack.v_cell_min)])


def figures(b, source="adapter"):
    return charger_energy(b.case, b.plan, b.hardware, source)


def test_the_test_quantity_is_a_charge_and_the_keeping(bench, twelve):
    # Second road: the charge engine's own run, switched off, then a full pack at rest until 24 h are over.
    b = bench("direct", twelve)
    found = figures(b)
    (supply,) = b.case.sources["adapter"]
    standby = b.case.design.system.standby
    start = emptied(b.case.pack)
    run = charge_case(b.case, b.plan, b.hardware, "adapter", title="", p_load=standby, temp=298.15, soc_start=start)
    rest = operate(b.case, b.path, b.hardware, supply, soc=1.0, p_load=standby, may_charge=False)
    p_full = float(wall_power(supply, rest.p_source[0]))
    # Heat and polarisation of the two engines differ by less than this, and steps are of a minute.
    assert found.e_24 == pytest.approx(run.e_wall + p_full * (DAY - run.run.t_end), rel=0.02)
    assert found.t_charge == pytest.approx(run.run.t_end, rel=0.03)
    assert found.p_maintenance == pytest.approx(p_full, rel=1e-6)
    assert found.p_no_battery == supply.no_load
    assert found.t_test == DAY


@pytest.mark.parametrize("key", ["direct", "narrow-buck-boost"])
def test_a_charge_that_was_run_already_tells_the_same(bench, twelve, key):
    # Two engines, one rule: within 2 % of energy and 3 % of time, as above; the arithmetic is shared.
    b = bench(key, twelve)
    charge = charge_case(
        b.case, b.plan, b.hardware, "adapter", title="", p_load=b.case.design.system.standby, temp=298.15
    )
    quick, stepped = charger_energy_after(b.case, b.plan, b.hardware, charge), figures(b)
    assert quick.e_24 == pytest.approx(stepped.e_24, rel=0.02)
    assert quick.e_year == pytest.approx(stepped.e_year, rel=0.05)  # the battery's energy is taken off
    assert quick.p_maintenance == pytest.approx(stepped.p_maintenance, rel=1e-6)
    assert (quick.e_batt, quick.limit, quick.class_) == (stepped.e_batt, stepped.limit, stepped.class_)
    slow = replace(charge, run=replace(charge.run, ended_by="timer"))
    with pytest.raises(NoSolution, match="adapter: the charge does not end"):
        charger_energy_after(b.case, b.plan, b.hardware, slow)


def test_the_battery_gives_what_it_holds_less_its_resistance(bench, twelve):
    b = bench("direct", twelve)
    pack = b.case.pack
    e = battery_energy(b.case)
    # Between what a pack at its lowest voltage all along would give, and its rest voltage all along.
    assert pack.v_empty * pack.charge_span < e < pack.v_full * pack.charge_span
    assert e == pytest.approx(float(pack_ocv(pack, 0.5, 298.15)) * pack.charge_span, rel=0.04)


def test_the_yearly_energy_follows_the_rule(bench, twelve):
    # The rule's arithmetic itself is held to RG20 and RG21 elsewhere; here its inputs are those of the model.
    found = figures(bench("direct", twelve))
    v = 7.4
    assert found.class_.startswith("class 3")
    expected = charger_yearly_energy(
        charger_class(found.e_batt, v),
        e_24=found.e_24,
        e_batt=found.e_batt,
        p_maintenance=found.p_maintenance,
        p_standby=found.p_no_battery,
        p_off=found.p_no_battery,
        t_charge_test=DAY,
    )
    assert found.e_year == pytest.approx(expected, rel=1e-12)
    # Class 3 allows 0.0255 kWh/yr per Wh and 1.16 kWh/yr on top (from memory), 37 Wh here.
    assert found.limit / 3.6e6 == pytest.approx(0.0255 * found.e_batt / 3600.0 + 1.16, rel=1e-9)
    words = charger_words(found)
    assert "As information; the primary text rules." in words
    assert "inside the limit" in words


def test_a_slow_charge_makes_the_test_longer(bench, twelve):
    found = figures(
        bench("direct", twelve + "charge: {current: 0.055 C, termination: 0.05 C, precharge: 0.05 C, timer: 30 h}\n")
    )
    assert found.t_charge > 15 * HOUR
    assert found.t_test == pytest.approx(max(DAY, found.t_charge + 5 * HOUR))


def test_a_class_without_a_day_of_use_says_so(bench, twelve):
    big = twelve.replace("series: 2", "series: 7\n  parallel: 4").replace("20 V ±5 %", "36 V ±5 %")
    found = figures(bench("narrow-buck", big))
    assert found.class_.startswith("class 6")
    assert found.e_year is None
    assert "no yearly figure" in charger_words(found)


def test_a_charge_that_never_ends_has_no_result(bench, twelve):
    # 1 A into 200 Ah.
    b = bench(
        "direct",
        twelve.replace("series: 2", "series: 2\n  parallel: 40")
        + "charge: {current: 1 A, termination: 0.5 A, precharge: 0.5 A}\n",
    )
    with pytest.raises(NoSolution, match="within two days: the charge timer of 10 h 00 min ends it first"):
        figures(b)

"""What ageing does to charge and run time."""

from dataclasses import replace
from typing import Any

import pytest

from chargewright.spec.pack import AgeingSpec
from chargewright.studies.ageing import aged_charge, ageing

TEXT = """\
name: Twelve lines
sources:
  - name: adapter
    kind: fixed
    voltage: 20 V ±5 %
    current: 3.25 A
pack:
  cell: nmc-energy
  series: 2
  capacity: 5 Ah
  ageing: {capacity: 80 %, resistance: 150 %}
system:
  load: 12 W
"""


def test_a_design_without_an_aged_pack_reports_none(bench: Any):
    table = bench("narrow-buck")
    assert table.case.design.pack.ageing is None
    assert aged_charge(table.case, table.plan, table.hardware) is None
    assert ageing(table.case, table.plan, table.hardware) is None


def test_an_aged_pack_holds_less_charge_tapers_longer_and_lasts_shorter(bench: Any):
    table = bench("narrow-buck", TEXT)
    assert table.case.design.pack.ageing == AgeingSpec(capacity=0.8, resistance=1.5)
    found = ageing(table.case, table.plan, table.hardware)
    assert found is not None
    new, old = found.charge_new.run, found.charge_aged.run
    assert old.ended_by == new.ended_by == "termination"
    # By hand: 80 % of the charge, less what more resistance leaves unfilled at the same end current.
    assert old.charge / new.charge == pytest.approx(0.8, rel=0.01)
    assert old.charge / new.charge < 0.8
    # The current is that of a new pack, so its share of a smaller pack is larger and the voltage limit is met earlier.
    assert old.trace.soc[old.trace.limit == 2][0] < new.trace.soc[new.trace.limit == 2][0]
    assert old.heat_cells > new.heat_cells
    # Run time falls with the charge, and a little more by the greater drop.
    assert 0.7 < found.run_time_aged / found.run_time_new < 0.8
    assert "80 % of its capacity, 150 % of its resistance" in found.charge_aged.title


def test_a_pack_that_has_not_aged_is_the_new_one(bench: Any):
    table = bench("narrow-buck", TEXT)
    pack = replace(table.case.design.pack, ageing=AgeingSpec())
    same = replace(table.case, design=replace(table.case.design, pack=pack))
    found = ageing(same, table.plan, table.hardware)
    assert found is not None
    assert found.charge_aged.run.t_end == pytest.approx(found.charge_new.run.t_end, rel=1e-12)
    assert found.run_time_aged == pytest.approx(found.run_time_new, rel=1e-12)

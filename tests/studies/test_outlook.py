"""What use comes to: sums by hand, against the lasting day, and what ageing takes away."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from chargewright.spec.load import parse_design
from chargewright.studies.day import day
from chargewright.studies.one_path import BuiltPath, built_path
from chargewright.studies.outlook import Outlook, outlook
from chargewright.studies.usage.run import usage
from chargewright.studies.usage.settings import UsageSettings

DESIGN = """\
name: Bench lamp
sources: [{name: adapter, kind: fixed, voltage: 20 V ±5 %, current: 3.25 A}]
pack: {cell: nmc-energy, series: 2, capacity: 5 Ah, ageing: {capacity: 80 %, resistance: 150 %}}
system: {load: 12 W}
usage:
  - {mode: work, source: adapter, duration: HOURS h}
  - {mode: work, source: none, duration: REST h}
"""


def made(hours: float) -> BuiltPath:
    text = DESIGN.replace("HOURS", f"{hours:g}").replace("REST", f"{24.0 - hours:g}")
    return built_path(parse_design(text, "lamp.yaml"), Path("lamp.yaml"), "direct", lambda _what, _share: None)


@pytest.fixture(scope="module")
def built() -> BuiltPath:
    return made(22.0)


@pytest.fixture(scope="module")
def found(built: BuiltPath) -> Outlook:
    return outlook(built.case, built.plan, built.hardware)


def test_rails_get_what_the_design_asks_for(found):
    # By hand: 12 W around the clock are 12 · 86 400 J a day; exact but for rounding of the sums.
    assert [s.e_load for s in found.spans] == pytest.approx([12.0 * 86400.0 * d for d in (7.0, 30.0, 365.0)], rel=1e-9)
    assert [s.t_unserved for s in found.spans] == [0.0, 0.0, 0.0]


def test_the_month_and_the_year_are_those_of_a_run_of_that_length(built, found):
    # Second road: every day stepped through. 1e-5: what the last day of the week still differs from a lasting one.
    for span in found.spans[:2]:
        run = usage(built.case, built.plan, built.hardware, settings=UsageSettings(days=span.days))
        assert span.e_wall == pytest.approx(run.e_wall, rel=1e-5)
        assert span.cycles == pytest.approx(run.cycles, rel=1e-5)
        # The engine shares the cable's loss out to the days by their mean, which depends on how many there are: 0.2 %.
        assert span.e_loss == pytest.approx(float(np.sum(run.daily.e_loss)), rel=2e-3)


def test_the_year_takes_365_lasting_days(built, found):
    # The lasting day of the study comes from its own, coarser tables: 1 %.
    lasting = day(built.case, built.plan, built.hardware, built.case.design.ambient.typical)
    assert found.settled
    assert found.spans[2].e_wall == pytest.approx(365.0 * lasting.e_wall, rel=0.01)


def test_an_aged_pack_lasts_shorter_than_its_capacity_says(found):
    # By reasoning: at 80 % of the capacity and more resistance it lasts less than 80 %, but no less than 60 %.
    (mode,) = found.run_times
    assert mode.power == 12.0
    assert mode.aged is not None
    assert 0.6 * mode.new < mode.aged < 0.8 * mode.new


def test_without_an_aged_pack_in_the_design_none_is_told(built):
    pack = replace(built.case.design.pack, ageing=None)
    case = replace(built.case, design=replace(built.case.design, pack=pack))
    assert [r.aged for r in outlook(case, built.plan, built.hardware).run_times] == [None]


def test_what_is_not_served_every_day_adds_up_over_a_year():
    # By hand: 12 W over 18 h are 216 Wh, six packs of 36 Wh: some of each day is not served, every day alike.
    short = made(6.0)
    empty = outlook(short.case, short.plan, short.hardware)
    assert empty.settled
    assert empty.spans[2].t_unserved > 300.0 * 3600.0
    assert empty.spans[2].t_unserved == pytest.approx(365.0 / 7.0 * empty.spans[0].t_unserved, rel=0.05)


def test_the_charger_rule_is_run_on_the_source_in_use(found):
    assert found.charger is not None
    assert found.charger.source == "adapter"
    # Out of a pack of 2 × 3.6 V · 5 Ah = 36 Wh at 0.2 C: within 5 % of its label.
    assert found.charger.e_batt == pytest.approx(36.0 * 3600.0, rel=0.05)

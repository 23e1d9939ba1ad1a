"""Cures and numbers of single checks, against things outside the checks."""

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from chargewright.base.findings import Finding, worst_first
from chargewright.checks import shelf
from chargewright.checks._trial import first_cure
from chargewright.checks.inrush import inrush_of
from chargewright.checks.run import findings_of
from chargewright.parts.capacitor import Capacitor
from chargewright.parts.supply import Supply
from chargewright.sizing.build import Bank
from chargewright.spec.design import Design
from chargewright.spec.source import UsbPdSourceSpec
from chargewright.studies.situation import situation
from chargewright.studies.study import Study
from chargewright.studies.verdict import Ranking

HOUR = 3600.0


def only(key: str, review: Any) -> Finding:
    (found,) = [f for f in shelf.get(key).judge(review) if f.cure is not None]
    return found


def source(d: Design, **changes: Any) -> Design:
    return replace(d, sources=(replace(d.sources[0], **changes),))


def test_a_stronger_source_that_is_offered_as_a_cure_really_carries_the_load(look: Any):
    f = only("drains-on-source", look(source(look.design, current=0.60)))
    factor = int(re.search(r"(\d+)%", f.cure.change)[1]) / 100.0  # type: ignore[union-attr,index]
    again = look(source(look.design, current=factor * 0.60))
    assert list(shelf.get("drains-on-source").judge(again)) == []
    # Second road: power alone. This much comes from the source at its low edge and limit.
    low = 0.95 * 20.0 * 0.60 * 0.97
    assert low < 12.0 < factor * low


def test_the_least_change_comes_first(look: Any):
    # 0.45 A need more than 1.25 times to carry 12 W from 19 V: 0.45 · 1.25 · 19 V · 0.97 = 10.4 W.
    f = only("drains-on-source", look(source(look.design, current=0.45)))
    factor = int(re.search(r"(\d+)%", f.cure.change)[1]) / 100.0  # type: ignore[union-attr,index]
    assert factor == 1.6
    assert list(shelf.get("drains-on-source").judge(look(source(look.design, current=1.25 * 0.45)))) != []


def test_a_longer_timer_lets_the_charge_end(look: Any):
    short = replace(look.design, charge=replace(look.design.charge, timer=2.0 * HOUR))
    f = only("safety-timer", look(short, charge=(3.0, 298.15)))
    assert f.severity == "serious"  # 2 h are not enough for a charge with half the capacity an hour: no charge is
    hours = int(re.search(r"timer to (\d+) h", f.cure.change)[1])  # type: ignore[union-attr,index]
    longer = replace(short, charge=replace(short.charge, timer=hours * HOUR))
    assert list(shelf.get("safety-timer").judge(look(longer, charge=(3.0, 298.15)))) == []


def test_a_lower_limit_stays_inside_the_rating(look: Any):
    eager = replace(look.design, rules=replace(look.design.rules, source_margin=0.0))
    f = only("source-limit", look(eager))
    assert f.value > 3.25  # the adapter's rated current
    margin = int(re.search(r"(\d+)% below", f.cure.change)[1]) / 100.0  # type: ignore[union-attr,index]
    calm = replace(look.design, rules=replace(look.design.rules, source_margin=margin))
    assert list(shelf.get("source-limit").judge(look(calm))) == []


def test_a_cure_that_cannot_be_worked_out_is_passed_over():
    from chargewright.base.errors import OutOfRange

    def broken() -> tuple[float, bool]:
        raise OutOfRange("no such thing")

    assert first_cure([("break it", broken), ("too little", lambda: (1.0, False))]) is None
    cure = first_cure([("break it", broken), ("enough", lambda: (2.0, True))])
    assert cure is not None
    assert (cure.change, cure.value, cure.clears) == ("enough", 2.0, True)


def bank(c: float, count: int) -> Bank:
    part = Capacitor(
        name="ideal", kind="polymer", c_0=c, tol_c=0.0, v_max=35.0, esr=1e-3, esl=1e-9, i_rms_max=1.0, temp_max=398.0,
        area=1e-6, cost=1.0,
    )  # fmt: skip
    return Bank(part=part, count=count)


def contract(look: Any) -> Supply:
    design = replace(look.design, sources=(UsbPdSourceSpec(name="adapter", power=65.0),))
    return situation(design, look.folder).sources["adapter"][0]


def test_inrush_agrees_with_a_counted_board(look: Any):
    # Outside source: an open hardware review that counted 320 µF behind the path found 9.6 A at the greatest slew that
    # USB Power Delivery allows, 30 mV/µs (confirmed by look-up): 320 µF · 30 kV/s = 9.6 A. Exact.
    step = inrush_of(bank(32e-6, 10), contract(look), 0.0)
    assert step.c == pytest.approx(320e-6, rel=1e-12)
    assert step.i == pytest.approx(9.6, rel=1e-12)


def test_inrush_counts_a_ceramic_where_the_step_begins(look: Any):
    # Common practice: a ceramic keeps most of its capacitance at the low end of the step. By the definition of the part
    # half is left at v_half, so with v_half 5 V that is half at 5 V.
    part = replace(bank(10e-6, 1).part, kind="ceramic", v_half=5.0, bias_exponent=2.0)
    assert inrush_of(Bank(part=part, count=1), contract(look), 0.0).c == pytest.approx(5e-6, rel=1e-12)


def test_inrush_counts_the_inputs_of_the_rails_only_where_they_hang_behind_the_pair(look: Any):
    # USB Power Delivery allows 100 µF (confirmed by look-up). 90 µF of polymers stay below it; one rail of 10 µF at the
    # upper end of 20 % (common practice) is 12 µF more, on a direct path's bus and not behind a narrow path's stage.
    design = replace(look.design, sources=(UsbPdSourceSpec(name="adapter", power=65.0),))

    def nine(s: Any) -> Any:
        return replace(s, build=replace(s.build, bank_a=bank(10e-6, 9)))

    assert list(shelf.get("inrush").judge(look(design, sizing=nine))) == []
    (found,) = shelf.get("inrush").judge(look(design, path="direct", sizing=nine))
    assert found.value == pytest.approx(102e-6, rel=1e-12)
    assert "12 µF of them at the inputs of the rails" in found.what


def test_life_is_five_hundred_cycles_over_cycles_a_day(look: Any):
    # Second road: charge that leaves the pack, integrated from the day's own trace, over its span.
    from chargewright.spec.system import UsageSpec

    day = (
        UsageSpec(mode="work", source="none", duration=2.5 * HOUR),
        UsageSpec(mode="work", source="adapter", duration=21.5 * HOUR),
    )
    review = look(replace(look.design, usage=day), with_day=True)
    d = review.result.day
    falls = -np.minimum(np.diff(d.soc), 0.0)
    found = list(shelf.get("throughput").judge(review))
    # rel 0.02: the trace is in steps of a minute and rests on a grid of the state of charge.
    assert found[0].value == pytest.approx(500.0 / falls.sum() * 86400.0, rel=0.02)


def test_a_study_without_any_path_says_so_and_still_judges_the_pack(look: Any):
    case = situation(look.design, look.folder)
    empty = Study(
        case=case, design_file="x", paths=(), ranking=Ranking(order=(), tipping=(), tie=False), map=None, reach=None
    )
    found = findings_of(empty, None)
    assert found[0].check == "no-path"
    assert found[0].severity == "stop"
    assert {f.check for f in found[1:]} == {f.check for f in case.pack.findings}


def test_findings_come_worst_first(look: Any):
    review = look(source(look.design, current=0.45))
    found = findings_of(review.study, review)
    assert list(found) == worst_first(list(found))
    assert found[0].severity == "stop"


@pytest.mark.parametrize("path", ["direct", "narrow-buck", "parallel"])
def test_checks_run_on_every_kind_of_path(path: str, look: Any):
    review = look(path=path, with_day=True, with_window=True, charge=(3.0, 298.15))
    found = findings_of(review.study, review)
    assert any(f.check == "reverse-paths" for f in found)
    assert any(f.where.startswith(path) for f in found)


def test_too_much_capacitance_is_told_against_the_rule_before_its_current(look: Any):
    # USB Power Delivery: a sink may show 100 µF once it has a contract (confirmed by look-up).
    design = replace(look.design, sources=(UsbPdSourceSpec(name="adapter", power=65.0),))

    def bank_of(count: int) -> Any:
        return lambda s: replace(s, build=replace(s.build, bank_a=bank(10e-6, count)))

    (found,) = shelf.get("inrush").judge(look(design, sizing=bank_of(11)))
    assert (found.severity, found.limit, found.unit) == ("serious", 100e-6, "F")
    assert found.value == pytest.approx(110e-6, rel=1e-12)
    # 100 µF are allowed, and take 3 A at 30 mV/µs: within the 3.25 A of the contract.
    assert list(shelf.get("inrush").judge(look(design, sizing=bank_of(10)))) == []


def test_a_bus_close_to_its_ceiling_is_told_and_one_beyond_it_is_worse(look: Any):
    # The narrow bus stands at the full pack and 0.1 V: 8.5 V.
    def with_ceiling(v: float) -> Finding | None:
        design = replace(look.design, rules=replace(look.design.rules, bus_max=v))
        return next(iter(shelf.get("bus-window").judge(look(design, with_window=True))), None)

    assert with_ceiling(8.5 / 0.96) is None
    near, over = with_ceiling(8.5 / 0.98), with_ceiling(8.4)
    assert near is not None
    assert near.severity == "caution"
    assert over is not None
    assert over.severity == "serious"

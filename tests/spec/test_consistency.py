"""Contradictions are found in a design that was made in code, too; each rule needs only its own groups."""

from dataclasses import replace

import pytest

from chargewright.base.errors import SpecError
from chargewright.spec.consistency import contradictions, contradictions_of
from chargewright.spec.design import Design
from chargewright.spec.fields import Rated, rate
from chargewright.spec.load import parse_design
from chargewright.spec.pack import ChargeSpec, PackSpec
from chargewright.spec.source import TypeCSourceSpec
from chargewright.spec.system import ModeSpec, PeakSpec, RailSpec, SystemSpec, UsageSpec

DESIGN = Design(
    name="radio",
    sources=(TypeCSourceSpec(name="port"),),
    pack=PackSpec(cell="lfp", series=2),
    system=SystemSpec(load=5.0),
)


def keys_of(design: Design) -> list[str]:
    return [c.key for c in contradictions_of(design)]


def test_a_sound_design_has_none():
    assert keys_of(DESIGN) == []


def test_a_change_in_code_is_checked_like_a_file():
    changed = replace(DESIGN, usage=(UsageSpec(mode="work", source="dock", duration=60.0),))
    assert keys_of(changed) == ["usage[0].source"]


def test_a_rule_runs_as_soon_as_its_groups_are_there():
    assert [c.key for c in contradictions({"system": SystemSpec()})] == ["system"]
    assert contradictions({}) == []


def test_contradictions_are_reported_beside_other_problems():
    # The system is broken, but what can be said of the charge is said all the same.
    text = (
        "name: x\nsources:\n  - {name: p, kind: type-c}\npack: {cell: lfp, series: 2}\nsystem: {load: 5}\n"
        "charge: {precharge: 1 C}\n"
    )
    with pytest.raises(SpecError) as caught:
        parse_design(text, "a")
    assert [p.key for p in caught.value.problems] == ["system.load", "charge.precharge"]


@pytest.mark.parametrize(
    ("current", "termination", "capacity", "parallel", "wrong"),
    [
        (rate(0.5), rate(0.5), None, 1, True),
        (rate(0.5), rate(0.4999), None, 1, False),
        (Rated(2.0, False), Rated(2.0, False), None, 1, True),
        # Ampere against C-rate can be compared only where the capacity is known: 5 Ah at 0.5 C are 2.5 A.
        (rate(0.5), Rated(2.5, False), 18000.0, 1, True),
        (rate(0.5), Rated(2.49, False), 18000.0, 1, False),
        (rate(0.5), Rated(2.5, False), 18000.0, 2, False),  # two in parallel: 5 A
        (rate(0.5), Rated(199.0, False), None, 1, False),
    ],
)
def test_the_end_of_charge_is_compared_with_the_charge(
    current: Rated, termination: Rated, capacity: float | None, parallel: int, wrong: bool
):
    design = replace(
        DESIGN,
        pack=PackSpec(cell="lfp", series=2, capacity=capacity, parallel=parallel),
        charge=ChargeSpec(current=current, termination=termination, precharge=Rated(0.0, current.per_capacity)),
    )
    assert (keys_of(design) == ["charge.termination"]) is wrong


def test_without_modes_work_and_off_are_known():
    def day(mode: str) -> tuple[UsageSpec, ...]:
        return (UsageSpec(mode=mode, source="none", duration=3600.0),)

    assert keys_of(replace(DESIGN, usage=day("work"))) == []
    assert keys_of(replace(DESIGN, usage=day("off"))) == []
    modes = SystemSpec(load=5.0, modes=(ModeSpec(name="read", power=2.0),))
    assert keys_of(replace(DESIGN, usage=day("work"), system=modes)) == ["usage[0].mode"]


def test_rails_together_make_the_full_load():
    rails = (RailSpec(name="a", voltage=3.3, power=2.0), RailSpec(name="b", voltage=5.0, power=3.0))
    at_the_limit = SystemSpec(rails=rails, modes=(ModeSpec(name="all", power=5.0),))
    assert keys_of(replace(DESIGN, system=at_the_limit)) == []
    above = SystemSpec(rails=rails, modes=(ModeSpec(name="all", power=5.1),))
    assert keys_of(replace(DESIGN, system=above)) == ["system.modes[0].power"]


def test_a_start_may_be_as_hungry_as_the_peak_and_no_more():
    peak = PeakSpec(power=20.0, duration=0.01)
    assert keys_of(replace(DESIGN, system=SystemSpec(load=5.0, peak=peak, boot=20.0))) == []
    assert keys_of(replace(DESIGN, system=SystemSpec(load=5.0, peak=peak, boot=20.1))) == ["system.boot"]


def test_every_contradiction_says_what_to_do():
    broken = replace(
        DESIGN,
        candidates=("direct", "direct"),
        system=SystemSpec(load=5.0, boot=50.0, peak=PeakSpec(power=1.0, duration=0.1)),
        usage=(UsageSpec(mode="x", source="y", duration=1.0),),
    )
    found = contradictions_of(broken)
    assert len(found) == 5
    assert all(c.message.endswith(".") and c.cure for c in found)

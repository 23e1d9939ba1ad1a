"""Trying a change before it is offered as a cure: the same path and parts under a changed design."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from chargewright.base.errors import ChargewrightError
from chargewright.base.findings import Cure
from chargewright.checks.review import Review
from chargewright.network.hardware import Hardware
from chargewright.sim.charge import ChargeRun, run_charge
from chargewright.sim.charge_setup import charge_settings
from chargewright.sizing.build import hardware_of
from chargewright.spec.design import Design
from chargewright.spec.source import CableSpec, FixedSourceSpec, SourceSpec, UsbPdSourceSpec
from chargewright.studies.charge import ChargePlan, left_over
from chargewright.studies.needs import Plan, plan
from chargewright.studies.situation import Situation, situation


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What a changed design comes to; the parts stay as they were chosen."""

    case: Situation
    plan: Plan
    hardware: Hardware


Try = tuple[str, Callable[[], tuple[float, bool]]]
"""A change in words, and what judges it: the number in the finding's unit, and whether it then meets the limit."""


def trial(review: Review, design: Design) -> Trial:
    """Return the path under a changed design. Raises ChargewrightError where the change makes no sense."""
    case = situation(design, review.case.folder)
    chosen = plan(case, review.path)
    return Trial(
        case=case, plan=chosen, hardware=hardware_of(review.build, chosen.rails, design.rules, design.ambient.board)
    )


def first_cure(tries: Iterable[Try]) -> Cure | None:
    """Return the first change that clears the finding; a change that cannot be worked out is passed over."""
    for change, judged in tries:
        try:
            value, clears = judged()
        except ChargewrightError:
            continue
        if clears:
            return Cure(change=change, value=value, clears=True)
    return None


def with_source(design: Design, name: str, change: Callable[[SourceSpec], SourceSpec]) -> Design:
    """Return the design with one source changed."""
    return replace(design, sources=tuple(change(s) if s.name == name else s for s in design.sources))


def stronger(factor: float) -> Callable[[SourceSpec], SourceSpec]:
    """Return what makes a source stronger: an adapter's current, or a USB PD source's power; others stay."""

    def change(source: SourceSpec) -> SourceSpec:
        if isinstance(source, FixedSourceSpec):
            return replace(source, current=source.current * factor)
        if isinstance(source, UsbPdSourceSpec) and not source.objects:
            return replace(source, power=min(source.power * factor, 240.0), cable_rating=5.0)
        return source

    return change


def shorter_cable(factor: float) -> Callable[[SourceSpec], SourceSpec]:
    """Return what scales the conductors of a source's cable; its contacts stay."""

    def change(source: SourceSpec) -> SourceSpec:
        cable: CableSpec = source.cable
        return replace(source, cable=replace(cable, resistance=cable.resistance * factor))

    return change


def charged_again(tried: Trial, plan: ChargePlan) -> ChargeRun:
    """Return the charge of `plan` under a changed design, from the low edge of the source; the path is not replayed."""
    case, supply = tried.case, tried.plan.contracts[plan.source]
    left = left_over(
        case, tried.plan.path, tried.hardware, supply, p_load=plan.p_load, temp=plan.temp_ambient, edge="low"
    )
    wanted = replace(charge_settings(case.design.charge, case.pack), i_charge=case.i_charge)
    return run_charge(case.pack, wanted, soc_start=0.0, temp_ambient=plan.temp_ambient, available=left)

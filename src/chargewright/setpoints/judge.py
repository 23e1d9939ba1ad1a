"""Findings about set-points: what the codes, the controller's accuracy and its reset values mean for this pack."""

from collections.abc import Callable, Iterator, Sequence

from chargewright.base.findings import Finding, worst_first
from chargewright.setpoints import _current_rules, _host_rules, _value_rules
from chargewright.setpoints._case import Case
from chargewright.setpoints.context import Context, Want
from chargewright.setpoints.controller import Controller
from chargewright.setpoints.plan import plan_setpoints

_RULES: tuple[Callable[[Case], Iterator[Finding]], ...] = (
    _value_rules.without_field,
    _value_rules.full_scale_unknown,
    _value_rules.clamped,
    _host_rules.reset_values,
    _value_rules.voltage_accuracy,
    _value_rules.worst_cell,
    _current_rules.small_currents,
    _current_rules.sense_resistor,
    _value_rules.never_charges,
    _host_rules.refresh,
)


def judge_setpoints(wants: Sequence[Want], controller: Controller, context: Context) -> tuple[Finding, ...]:
    """Return everything that is wrong or thin with these set-points on this controller, worst first."""
    case = Case(
        wants=tuple(wants),
        controller=controller,
        context=context,
        points=plan_setpoints(wants, controller, context),
    )
    return tuple(worst_first([finding for rule in _RULES for finding in rule(case)]))

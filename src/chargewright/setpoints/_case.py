"""What every rule of the findings is given, and what several of them share."""

from dataclasses import dataclass, replace

from chargewright.setpoints.context import Context, Want
from chargewright.setpoints.controller import Controller
from chargewright.setpoints.plan import SetPoint, plan_setpoints

COMMON_PRACTICE = "common practice"


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What the rules of the findings look at."""

    wants: tuple[Want, ...]
    controller: Controller
    context: Context
    points: tuple[SetPoint, ...]

    def where(self, title: str) -> str:
        """Return the place that a finding names."""
        return f"{self.controller.name}: {title}"

    def again(self, point: SetPoint, value: float) -> SetPoint:
        """Return the set-point that another value would give."""
        return plan_setpoints([replace(point.want, value=value)], self.controller, self.context)[0]

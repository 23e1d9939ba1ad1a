"""What cost and area are worth in watts, so that one number ranks sets of parts."""

from dataclasses import dataclass
from typing import Any

from chargewright.spec.rules import WeightsSpec

WATTS_PER_COST = 0.15
"""Mean loss [W] that one unit of the cost index is worth: a small switch more in the bill of material has to save
0.15 W. Chosen so that 1 W, an effort to cool in a closed product, buys six small switches; common practice."""
WATTS_PER_AREA = 2500.0
"""Mean loss [W] that a square metre of board is worth: 1 W for 400 mm², the board that sheds about 1 W with a rise of
50 K at some 10 W/(m²·K) from each face, doubled for what the area carries otherwise; common practice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """Prices in watts."""

    per_cost: float = WATTS_PER_COST
    per_area: float = WATTS_PER_AREA

    def score(self, p_loss: Any, cost: Any, area: Any) -> Any:
        """Return loss with cost and area as losses [W]; the arguments broadcast."""
        return p_loss + self.per_cost * cost + self.per_area * area


def exchange_of(weights: WeightsSpec) -> Exchange:
    """Return the prices under a user's weights: the standard ones at the standard weights, in proportion elsewhere.

    What speaks for efficiency is the weight of energy, run time and heat together. Where that is zero, losses count as
    little as a thousandth of the standard rather than not at all, so that of two equal sets the cooler one wins.
    """
    standard = WeightsSpec()
    watts = max(_efficiency(weights) / _efficiency(standard), 1e-3)
    return Exchange(
        per_cost=WATTS_PER_COST * weights.cost / standard.cost / watts,
        per_area=WATTS_PER_AREA * weights.area / standard.area / watts,
    )


def _efficiency(weights: WeightsSpec) -> float:
    return weights.energy + weights.run_time + weights.heat

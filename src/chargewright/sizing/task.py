"""What the stage search works on: the demand and the catalogue as arrays, and what is assumed while sets are ranked."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from chargewright.parts.catalogue import Parts
from chargewright.sizing.arrays import taken
from chargewright.sizing.demand import Demand, Points
from chargewright.sizing.stage_rules import board_temperature
from chargewright.sizing.tables import Tables, heating_of, merged, together

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

RANKING_RISE = 25.0
"""Parts above the hot board while sets are ranked [K]; common practice. The judging settles the real temperatures."""
LOSS_SHARE_GUESS = 0.04
"""Stage loss over its output, for the board temperature while sets are ranked."""


@dataclass(frozen=True, kw_only=True)
class Task:
    """One search. Its demand has every corner once."""

    demand: Demand
    parts: Parts
    t: Tables
    usual: Points
    weights: Floats
    p_pass: float
    """Heat of pass elements and sense resistors on the same board [W]."""
    temp_rank: float
    """Temperature of all parts while sets are ranked [K]."""

    @cached_property
    def hot(self) -> Ints:
        """Corners that can be the hottest."""
        return heating_of(self.demand.stage.corners)

    @cached_property
    def both(self) -> Points:
        """The usual points, then the corners that can be the hottest: one run gives both."""
        return together(self.usual, taken(self.demand.stage.corners, self.hot))

    def mean(self, loss: Floats) -> Floats:
        """Return the weighted mean over the usual points of an array (sets, points), which may have more points."""
        return np.asarray(loss[:, : len(self.weights)] @ self.weights)

    def at_hot(self, values: Floats) -> Floats:
        """Return the columns of the hot corners from an array (..., points of `both`)."""
        return values[..., len(self.weights) :]


def task(demand: Demand, parts: Parts, t: Tables, p_pass: float) -> Task:
    """Return the search for a demand."""
    usual, weights = merged(demand.stage.usual, demand.stage.weights)
    guess = LOSS_SHARE_GUESS * float((usual.v_out * usual.i_out) @ weights)
    board = float(board_temperature(demand.stage, p_pass + guess))
    return Task(
        demand=demand,
        parts=parts,
        t=t,
        usual=usual,
        weights=weights,
        p_pass=p_pass,
        temp_rank=min(board + RANKING_RISE, demand.rules.temp_j_max),
    )

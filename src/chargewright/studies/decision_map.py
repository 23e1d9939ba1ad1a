"""Which path wins where: over the system's power and the share of time that it spends on the source.

For every power the paths are solved on the source (pack full), on the pack, and charging; the share of time then mixes
them: what the pack gives must be charged again at the charging state's efficiency. The other measures of the verdict
(cost, area, charge time) stay as they are for this product, so the map shows what use alone would change.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.network.hardware import Hardware
from chargewright.spec.rules import WeightsSpec
from chargewright.studies.needs import Plan
from chargewright.studies.operate import operate
from chargewright.studies.situation import Situation
from chargewright.studies.verdict import rank

Floats = npt.NDArray[np.float64]
POWERS = 9
SHARES = 11


@dataclass(frozen=True, slots=True, kw_only=True)
class DecisionMap:
    """Winner over two swept quantities."""

    power: Floats
    """System power, shape (n_power,) [W]."""
    share: Floats
    """Share of time on the source, shape (n_share,) [1]."""
    paths: tuple[str, ...]
    winner: npt.NDArray[np.int64]
    """Index into `paths`, shape (n_power, n_share); -1 where no path can."""
    lead: Floats
    """Score of the winner less that of the second, shape (n_power, n_share) [1]."""
    mean_input: Floats
    """Mean power at the source's connector, shape (path, n_power, n_share) [W]; nan where the path cannot."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contender:
    """One feasible path with the measures that the map does not sweep."""

    plan: Plan
    hardware: Hardware
    measures: dict[str, float]


def decision_map(case: Situation, contenders: dict[str, Contender], weights: WeightsSpec) -> DecisionMap:
    """Return the map for the feasible paths, around this product's power."""
    power = np.geomspace(0.25 * case.p_busy, 2.5 * case.p_busy, POWERS)
    share = np.linspace(0.0, 1.0, SHARES)
    keys = tuple(contenders)
    mean_input = np.full((len(keys), POWERS, SHARES), np.nan)
    on_pack = np.full((len(keys), POWERS), np.nan)
    heat = np.full((len(keys), POWERS), np.nan)
    for k, key in enumerate(keys):
        mean_input[k], on_pack[k], heat[k] = _inputs(case, contenders[key], power, share)
    winner = np.full((POWERS, SHARES), -1, dtype=np.int64)
    lead = np.full((POWERS, SHARES), np.nan)
    for i in range(POWERS):
        for j in range(SHARES):
            able = [k for k in range(len(keys)) if np.isfinite(mean_input[k, i, j])]
            measures = {
                keys[k]: contenders[keys[k]].measures
                | {"energy": mean_input[k, i, j], "run_time": 1.0 / on_pack[k, i], "heat": heat[k, i]}
                for k in able
            }
            order = rank(measures, weights, firmness=False).order
            if order:
                winner[i, j] = keys.index(order[0].key)
                lead[i, j] = order[0].total - order[1].total if len(order) > 1 else 1.0
    return DecisionMap(power=power, share=share, paths=keys, winner=winner, lead=lead, mean_input=mean_input)


def _inputs(case: Situation, one: Contender, power: Floats, share: Floats) -> tuple[Floats, Floats, Floats]:
    """Return mean input (power, share), pack power (power,) and greatest loss (power,), nan where the path cannot."""
    temp = case.design.ambient.typical
    name = max(one.plan.contracts, key=lambda n: one.plan.contracts[n].power)
    supply = one.plan.contracts[name]
    path, hw = one.plan.path, one.hardware
    rest = operate(case, path, hw, supply, soc=1.0, p_load=power, temp=temp, pass_through=name in one.plan.through)
    pack = operate(case, path, hw, None, soc=0.5, p_load=power, temp=temp)
    charge = operate(case, path, hw, supply, soc=0.5, p_load=power, temp=temp)
    able = rest.solved & ~rest.overloaded & pack.lasts
    # What the pack gives is charged again while on the source: extra input over extra stored power.
    extra = charge.p_source - rest.p_source
    stored = np.where(charge.p_cells > 0.0, charge.p_cells / np.maximum(extra, 1e-9), np.nan)
    refill = np.where(np.isfinite(stored) & (stored > 0.0) & (stored < 1.0), stored, np.nan)
    p_pack = -pack.p_cells
    mean = share[None, :] * rest.p_source[:, None] + (1.0 - share[None, :]) * (p_pack / refill)[:, None]
    mean = np.where(able[:, None], mean, np.nan)
    # With no time on the pack the refill does not matter, whether or not the source could also charge.
    mean[:, -1] = np.where(able, rest.p_source, np.nan)
    return mean, p_pack, np.fmax(charge.p_loss, rest.p_loss)

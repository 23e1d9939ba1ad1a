"""Which path wins where: over the system's mean power and the share of time that it spends on the source.

The product's own load profile is scaled as a whole, so that the map has the product itself on it. For every scale the
paths are solved on the source (pack full), on the pack, and charging; the share of time then mixes
them: what the pack gives must be charged again at the charging state's efficiency. The other measures of the verdict
(cost, area, charge time) stay as they are for this product, so the map shows what use alone would change.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.network.hardware import Hardware
from chargewright.parts.supply import Supply
from chargewright.spec.rules import WeightsSpec
from chargewright.studies.needs import Plan
from chargewright.studies.operate import Operation, operate
from chargewright.studies.situation import Situation, mode_power
from chargewright.studies.verdict import rank

Floats = npt.NDArray[np.float64]
POWERS = 9
_SCALES = (0.25, 2.5)
SHARES = 11


@dataclass(frozen=True, slots=True, kw_only=True)
class DecisionMap:
    """Winner over two swept quantities."""

    power: Floats
    """Mean system power at this product's own time on the source, shape (n_power,) [W]."""
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """How this product's load is spread: its stretches with their powers, and their shares on the source and off it."""

    power: Floats
    """Power of each stretch [W]."""
    on: Floats
    """Share of the time on the source, sum 1."""
    off: Floats
    """Share of the time on the pack, sum 1."""
    mean: float
    """Mean power over the whole day [W]."""
    share: float
    """Share of the day on the source [1]."""


def profile(case: Situation) -> Profile:
    """Return the load profile of the usage day; a side that the day does not have takes the whole day's spread."""
    power = np.array([mode_power(case, u.mode) for u in case.usage])
    time = np.array([u.duration for u in case.usage])
    fed = np.array([u.source != "none" for u in case.usage])
    on, off = np.where(fed, time, 0.0), np.where(fed, 0.0, time)
    return Profile(
        power=power,
        on=(on if on.sum() else time) / (on if on.sum() else time).sum(),
        off=(off if off.sum() else time) / (off if off.sum() else time).sum(),
        mean=float(power @ time / time.sum()),
        share=float(on.sum() / time.sum()),
    )


def decision_map(case: Situation, contenders: dict[str, Contender], weights: WeightsSpec) -> DecisionMap:
    """Return the map for the feasible paths: this product's own load profile scaled, and its time on the source."""
    load = profile(case)
    scale = np.geomspace(*_SCALES, POWERS)
    power = load.mean * scale
    share = np.linspace(0.0, 1.0, SHARES)
    keys = tuple(contenders)
    mean_input = np.full((len(keys), POWERS, SHARES), np.nan)
    on_pack = np.full((len(keys), POWERS), np.nan)
    heat = np.full((len(keys), POWERS), np.nan)
    for k, key in enumerate(keys):
        mean_input[k], on_pack[k], heat[k] = _inputs(case, contenders[key], load, scale, share)
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


def _inputs(
    case: Situation, one: Contender, load: Profile, scale: Floats, share: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return mean input (power, share), mean pack power and greatest loss (power,); nan where the path cannot."""
    temp = case.design.ambient.typical
    name = one.plan.strongest
    supply = one.plan.contracts[name]
    path, hw = one.plan.path, one.hardware
    p_load = np.outer(scale, load.power)

    def at(which: Supply | None, soc: float, *, through: bool = False) -> Operation:
        return operate(case, path, hw, which, soc=soc, p_load=p_load.ravel(), temp=temp, pass_through=through)

    def mixed(x: Floats, spread: Floats) -> Floats:
        """Return the mean over the stretches that occur; nan where one of them has no value."""
        there = spread > 0.0
        return np.asarray(x.reshape(p_load.shape)[:, there] @ spread[there])

    rest = at(supply, 1.0, through=name in one.plan.through)
    pack, charge = at(None, 0.5), at(supply, 0.5)
    p_rest = mixed(np.where(rest.solved & ~rest.overloaded, rest.p_source, np.nan), load.on)
    p_pack = mixed(np.where(pack.lasts, -pack.p_cells, np.nan), load.off)
    # What the pack gives is charged again while on the source: stored power over the extra input that it takes.
    extra = np.maximum(charge.p_source - rest.p_source, 1e-9)
    refill = mixed(np.where(charge.p_cells > 0.0, charge.p_cells / extra, np.nan), load.on)
    refill = np.where((refill > 0.0) & (refill < 1.0), refill, np.nan)
    mean = share * p_rest[:, None] + (1.0 - share) * (p_pack / refill)[:, None]
    # With no time on the pack the refill does not matter, whether or not the source could also charge.
    mean[:, -1] = np.where(np.isfinite(p_pack), p_rest, np.nan)
    busiest = operate(case, path, hw, supply, soc=0.5, p_load=case.p_busy * scale, temp=temp)
    return mean, p_pack, np.asarray(busiest.p_loss, dtype=float)

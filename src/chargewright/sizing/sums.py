"""Sets of parts by their estimated loss: the reference loss of a pair plus what each switch changes."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.sizing.arrays import joined, taken
from chargewright.sizing.exchange import Exchange
from chargewright.sizing.pairs import Pairs
from chargewright.sizing.pareto import front
from chargewright.sizing.stage_rules import board_temperature
from chargewright.sizing.switch_sieve import Sieved
from chargewright.sizing.tables import rows_of, run
from chargewright.sizing.task import Task

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

KEPT = 48
"""Best sets of each pair that are kept for judging, and best switch pairs of each leg that are combined: the n-th best
set never needs a leg that is worse than its n-th best."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sums:
    """Sets of parts: arrays over the sets."""

    pair: Ints
    places: Ints
    p_loss: Floats
    cost: Floats
    area: Floats
    hot: Floats
    """Estimated rise of the part that is nearest to its limit, over its allowed rise [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """What the switches of one frequency change in the mean loss of its pairs."""

    pair: Ints
    base: Floats
    """(pairs,) mean loss with reference switches [W]."""
    legs: tuple["Leg", ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """All combinations of the two switches of one leg, in the order of the positions."""

    change: Floats
    """(pairs, combinations) [W]."""
    cost: Floats
    area: Floats
    first: Ints
    second: Ints
    at_hot: Floats
    """(combinations, hot corners) change of the loss [W]."""
    rise: Floats
    """(2, combinations, hot corners) junctions above the board [K]."""
    allowed: Floats
    """(2, combinations) rise from ambient that is allowed [K]."""


def changes(job: Task, pairs: Pairs, sieved: list[Sieved]) -> list[Changes]:
    """Return the changes at every frequency, from one run of all pairs with every switch in its position."""
    own = [np.flatnonzero(pairs.choice.f_sw == f) for f in range(len(sieved))]
    used = [f for f in range(len(sieved)) if len(own[f]) and len(sieved[f].switch)]
    if not used:
        return []
    many = [
        taken(pairs.choice, np.repeat(own[f], len(sieved[f].switch))).exchanged(
            np.tile(sieved[f].place, len(own[f])), np.tile(sieved[f].switch, len(own[f]))
        )
        for f in used
    ]
    choice = joined([pairs.choice, *many])
    loss = job.mean(run(rows_of(job.t, choice, job.temp_rank, job.temp_rank), job.usual).total)
    base, start, found = loss[: len(pairs.choice)], len(pairs.choice), []
    for f, block in zip(used, many, strict=True):
        change = loss[start : start + len(block)].reshape(len(own[f]), -1) - base[own[f]][:, None]
        start += len(block)
        legs = tuple(_leg(job, sieved[f], change, k) for k in job.t.active[::2])
        found.append(Changes(pair=own[f], base=base[own[f]], legs=legs))
    return found


def _leg(job: Task, sieved: Sieved, change: Floats, place: int) -> Leg:
    demand = job.demand
    cost, area, limit = (job.parts.switches.column(name) for name in ("cost", "area", "temp_j_max"))
    own = [np.flatnonzero(sieved.place == k) for k in (place, place + 1)]
    i, j = (grid.ravel() for grid in np.meshgrid(*own, indexing="ij"))
    first, second = sieved.switch[i], sieved.switch[j]
    return Leg(
        change=change[:, i] + change[:, j],
        cost=cost[first] + cost[second],
        area=area[first] + area[second],
        first=first,
        second=second,
        at_hot=sieved.at_hot[i] + sieved.at_hot[j],
        rise=np.stack([sieved.rise[i], sieved.rise[j]]),
        allowed=np.minimum(demand.rules.temp_j_max, limit[np.stack([first, second])]) - demand.stage.temp_ambient,
    )


def best_sums(job: Task, pairs: Pairs, found: list[Changes], price: Exchange) -> Sums:
    """Return the best sets of every pair under some prices."""
    return joined([_best(job, pairs, c, price) for c in found])


def front_sums(job: Task, pairs: Pairs, found: list[Changes]) -> Sums:
    """Return the sets that, by their sums, no other beats in loss, cost and area at once, of those that stay cool.

    They are made of pairs and of legs that are on such a front themselves.
    """
    parts = []
    for c in found:
        rows = front(np.column_stack([pairs.p_loss[c.pair], pairs.cost[c.pair], pairs.area[c.pair]]))
        columns = [front(np.column_stack([leg.change.mean(axis=0), leg.cost, leg.area])) for leg in c.legs]
        grid = np.meshgrid(rows, *columns, indexing="ij")
        parts.append(_gathered(job, pairs, c, grid[0].ravel(), [g.ravel() for g in grid[1:]]))
    every = joined(parts)
    every = taken(every, np.flatnonzero(every.hot <= 1.0))
    return taken(every, front(np.column_stack([every.p_loss, every.cost, every.area])))


def _best(job: Task, pairs: Pairs, c: Changes, price: Exchange) -> Sums:
    n = len(c.pair)
    worths, tops = [], []
    for leg in c.legs:
        worth = price.score(leg.change, leg.cost, leg.area)
        top = _least(worth)
        tops.append(top)
        worths.append(np.take_along_axis(worth, top, axis=1))
    total = worths[0] if len(worths) == 1 else (worths[0][:, :, None] + worths[1][:, None, :]).reshape(n, -1)
    best = _least(total)
    picks = [best] if len(worths) == 1 else list(np.divmod(best, worths[1].shape[1]))
    columns = [np.take_along_axis(top, pick, axis=1).ravel() for top, pick in zip(tops, picks, strict=True)]
    return _gathered(job, pairs, c, np.repeat(np.arange(n), best.shape[1]), columns)


def _least(values: Floats) -> Ints:
    """Return the columns of the least values of each row."""
    most = min(KEPT, values.shape[1])
    return np.argpartition(values, most - 1, axis=1)[:, :most]


def _gathered(job: Task, pairs: Pairs, c: Changes, rows: Ints, columns: list[Ints]) -> Sums:
    """Return the sums of pairs `rows` with a combination of each leg."""
    pair = c.pair[rows]
    places = np.full((len(rows), 4), len(job.parts.switches))
    p_loss, cost, area = c.base[rows], pairs.cost[pair], pairs.area[pair]
    for k, (leg, column) in enumerate(zip(c.legs, columns, strict=True)):
        places[:, 2 * k], places[:, 2 * k + 1] = leg.first[column], leg.second[column]
        p_loss = p_loss + leg.change[rows, column]
        cost, area = cost + leg.cost[column], area + leg.area[column]
    return Sums(pair=pair, places=places, p_loss=p_loss, cost=cost, area=area, hot=_hot(job, pairs, c, pair, columns))


def _hot(job: Task, pairs: Pairs, c: Changes, pair: Ints, columns: list[Ints]) -> Floats:
    """Return how much of its allowed rise the part that is nearest to its limit uses, at the ranking temperature."""
    ambient, coils = job.demand.stage.temp_ambient, job.parts.inductors
    loss = pairs.at_hot[pair] + sum(leg.at_hot[x] for leg, x in zip(c.legs, columns, strict=True))
    board = board_temperature(job.demand.stage, loss + job.p_pass) - ambient
    limit = np.minimum(job.demand.rules.temp_part_max, coils.column("temp_max")[pairs.choice.coil[pair]])
    worst = (board + pairs.rise[pair]).max(axis=1) / (limit - ambient)
    for leg, x in zip(c.legs, columns, strict=True):
        for rise, allowed in zip(leg.rise, leg.allowed, strict=True):
            worst = np.maximum(worst, (board + rise[x]).max(axis=1) / allowed[x])
    return np.asarray(worst)

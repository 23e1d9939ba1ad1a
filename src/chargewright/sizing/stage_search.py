"""The search over stages: every inductor, frequency and switch, reduced to what can win, ranked, and judged.

1. Pairs of inductor and frequency (`pairs`): all run at the corners with reference switches and the inductor at its
   worst. Pairs that break a rule fall out; so do pairs that another beats in loss, heat, cost and area.
2. Switches (`switch_sieve`): at each frequency, every switch that stands the voltage runs in each position; the same
   sieve. A part that is beaten everywhere cannot win: cost and area add up exactly, loss does but for a slack.
3. Sums (`sums`): the loss of a set is the reference loss plus what each switch changes. With the waveform given, each
   loss belongs to one position; positions meet only through the voltage drops in the duty, parts in a thousand. So both
   legs of a four-switch stage are chosen together, not in turns. All sums are formed, the best of each pair kept.
4. Judging (`judge`): the best sums are evaluated exactly, until no sum that is left could still win; how wrong the sums
   are is measured on the way.

Where heat leaves none of the best sums, sums under lower and lower prices of cost and area follow, down to the coolest.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import NoSolution
from chargewright.base.units import show
from chargewright.sizing.arrays import joined, taken
from chargewright.sizing.exchange import Exchange
from chargewright.sizing.judge import Judged, judge
from chargewright.sizing.pairs import Grid, Pairs, every_pair, passing_pairs
from chargewright.sizing.pareto import front
from chargewright.sizing.sums import Changes, Sums, best_sums, changes, front_sums
from chargewright.sizing.switch_sieve import HOT_DOUBT, allowed_switches, reference_switches, sieve
from chargewright.sizing.tables import rows_of, run
from chargewright.sizing.task import Task

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

CHUNK = 160
"""Sets judged at a time."""
CHUNKS_MOST = 6
_HOT_MOST = 0.3
"""Sets whose estimated rise is this far over the allowed one are not judged while others are left: where a stage is
about to switch both its legs, the estimate may be off by that much."""
_LOWER_PRICES = (0.3, 0.1, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """All sums, ready to be judged."""

    grid: Grid
    pairs: Pairs
    changes: list[Changes]
    best: Sums
    """The best sets of each pair."""
    front: Sums
    considered: int
    """Sets compared: each was summed, or holds a part that another beats."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The outcome of a search."""

    front: Judged
    """Sets that no other beats in loss, cost and area at once, by score: the first is the best."""
    judged: Judged
    """Everything that was evaluated exactly."""


def prepare(job: Task) -> Prepared:
    """Return the sums. Raises NoSolution where no inductor and frequency, or no switch, keeps the cheap rules."""
    allowed = allowed_switches(job)
    grid = every_pair(job, better_reference(job, allowed))
    pairs = passing_pairs(job, grid)
    found = changes(job, pairs, sieve(job, pairs, allowed))
    passing = int((grid.use.max(axis=0) <= 1.0).sum())
    return Prepared(
        grid=grid,
        pairs=pairs,
        changes=found,
        best=best_sums(job, pairs, found, job.demand.exchange),
        front=front_sums(job, pairs, found),
        considered=max(passing, 1) * int(np.prod([len(a) for a in allowed])),
    )


def search(job: Task, prepared: Prepared) -> Found:
    """Return the best stage and the front. Raises NoSolution where no set keeps every rule.

    The heat of the pass elements in `job` may be above the one that `prepared` was made for, not below.
    """
    pairs, price = prepared.pairs, job.demand.exchange
    done = _judge_best(job, pairs, prepared.best)
    done.append(judge(job, pairs, prepared.front))
    for share in _LOWER_PRICES:
        if any(j.keeps.any() for j in done):
            break
        lower = Exchange(per_cost=share * price.per_cost, per_area=share * price.per_area)
        done += _judge_best(job, pairs, best_sums(job, pairs, prepared.changes, lower))
    if not any(j.keeps.any() for j in done):
        coolest = np.argsort(prepared.best.hot, kind="stable")[:CHUNK]
        done.append(judge(job, pairs, taken(prepared.best, coolest)))
    judged = _once(joined(done))
    good = np.flatnonzero(judged.keeps)
    if not len(good):
        raise NoSolution(_nothing_keeps(job, judged))
    kept = taken(judged, good)
    edge = front(np.column_stack([kept.p_loss, kept.sums.cost, kept.sums.area]))
    return Found(front=taken(kept, edge[np.argsort(kept.score[edge], kind="stable")]), judged=judged)


def better_reference(job: Task, allowed: list[Ints]) -> Ints:
    """Return the switches (4,) that stand in while others are compared: near the best, so that sums are nearly exact.

    From middling switches, the best pair of inductor and frequency; then with it the best switch of each position.
    """
    start = reference_switches(job, allowed)
    pairs = passing_pairs(job, every_pair(job, start))
    price, column = job.demand.exchange, job.parts.switches.column
    lead = int(np.argmin(price.score(pairs.p_loss, pairs.cost, pairs.area)))
    place, switch = np.repeat(job.t.active, [len(a) for a in allowed]), np.concatenate(allowed)
    choice = taken(pairs.choice, np.full(len(switch), lead)).exchanged(place, switch)
    p_loss = job.mean(run(rows_of(job.t, choice, job.temp_rank, job.temp_rank), job.usual).total)
    score = price.score(p_loss, column("cost")[switch], column("area")[switch])
    best = start.copy()
    for k in job.t.active:
        here = np.flatnonzero(place == k)
        best[k] = switch[here[np.argmin(score[here])]]
    return best


def _judge_best(job: Task, pairs: Pairs, sums: Sums) -> list[Judged]:
    """Judge the best sums until none that is left can win: first what is cool by its estimate, then what may be."""
    guess = job.demand.exchange.score(sums.p_loss, sums.cost, sums.area)
    cool = sums.hot <= 1.0 + HOT_DOUBT
    order = np.argsort(guess, kind="stable")
    done, best = _in_turn(job, pairs, sums, guess, order[cool[order]], CHUNKS_MOST, np.inf)
    doubtful = np.flatnonzero(~cool & (sums.hot <= 1.0 + _HOT_MOST) & (guess < best))
    first = sums.hot if np.isinf(best) else guess
    more, _ = _in_turn(job, pairs, sums, guess, doubtful[np.argsort(first[doubtful], kind="stable")], 2, best)
    return done + more


def _in_turn(
    job: Task, pairs: Pairs, sums: Sums, guess: Floats, order: Ints, chunks: int, best: float
) -> tuple[list[Judged], float]:
    """Judge sums in an order, a chunk at a time, and return the best score that kept every rule."""
    done: list[Judged] = []
    error = 0.0
    for start in range(0, min(len(order), chunks * CHUNK), CHUNK):
        rows = order[start : start + CHUNK]
        if guess[rows].min() > best + 2.0 * error:
            break
        found = judge(job, pairs, taken(sums, rows))
        done.append(found)
        error = max(error, float(np.abs(found.score - guess[rows]).max()))
        best = min(best, float(found.score[found.keeps].min(initial=np.inf)))
    return done, best


def _once(judged: Judged) -> Judged:
    """Return every set once."""
    keys = np.column_stack([judged.sums.pair, judged.sums.places])
    _, first = np.unique(keys, axis=0, return_index=True)
    return taken(judged, np.sort(first))


def _nothing_keeps(job: Task, judged: Judged) -> str:
    """Return which rule bound and by how much the best set missed it."""
    k = int(np.argmin(judged.use.max(axis=0)))
    r = judged.rulings[int(np.argmax(judged.use[:, k]))]
    coil = job.parts.inductors.record(int(judged.choice.coil[k])).name
    return (
        f"{r.rule}: no set of parts keeps every rule; the best, with {coil} at "
        f"{show(job.t.f_sw[judged.choice.f_sw[k]], 'Hz')}, has {show(r.value[k], r.unit)} at the {r.where} against "
        f"{show(r.limit[k], r.unit)}, with the board at {show(judged.temp_board[k], 'K')}"
    )

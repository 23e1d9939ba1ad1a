"""The sets that would have won, but for one rule."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.sizing.arrays import taken
from chargewright.sizing.candidates import Through, candidate
from chargewright.sizing.judge import Judged, judge
from chargewright.sizing.pairs import Pairs, completed
from chargewright.sizing.records import Rejected
from chargewright.sizing.ruling import Ruling
from chargewright.sizing.stage_search import Prepared
from chargewright.sizing.sums import Sums
from chargewright.sizing.tables import Choice, rows_of, run
from chargewright.sizing.task import Task

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

SHOWN_MOST = 9
"""Sets shown, of all rules."""
MISSING_LEAST = 2
"""Sets shown of each rule for missing it by least, beside the one of best score."""
_JUDGED_MOST = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class _Near:
    score: float
    miss: float
    ruling: Ruling
    pairs: Pairs
    judged: Judged
    row: int


def nearest_rejected(
    job: Task, prepared: Prepared, judged: Judged, best: Judged, through: Through
) -> tuple[Rejected, ...]:
    """Return sets of better score than the best that break exactly one rule, by score.

    Looked through: every set that the search judged; the best set with each inductor and frequency that breaks one
    rule; and the best set with each other switch in each position. Of each rule in each place come the set of best
    score, and those that miss it by least.
    """
    near: list[_Near] = []
    others = (*_other_pairs(job, prepared, best), *_other_switches(job, prepared, best))
    for pairs, pool in ((prepared.pairs, judged), *others):
        use = pool.use
        for k in np.flatnonzero(((use > 1.0).sum(axis=0) == 1) & (pool.score < best.score[0])):
            r = pool.rulings[int(np.argmax(use[:, k]))]
            near.append(
                _Near(score=pool.score[k], miss=-float(r.margin[k]), ruling=r, pairs=pairs, judged=pool, row=int(k))
            )
    of_rule: dict[tuple[str, str], list[_Near]] = {}
    for n in sorted(near, key=lambda n: n.score):
        of_rule.setdefault((n.ruling.rule, n.ruling.where), []).append(n)
    shown = []
    for same in of_rule.values():
        least = sorted(same[1:], key=lambda n: (n.miss, n.score))[:MISSING_LEAST]
        shown += [same[0], *least]
    return tuple(_rejected(job, n, through) for n in sorted(shown, key=lambda n: n.score)[:SHOWN_MOST])


def _rejected(job: Task, n: _Near, through: Through) -> Rejected:
    return Rejected(
        candidate=candidate(job, n.pairs, n.judged, through, n.row),
        rule=n.ruling.rule,
        where=n.ruling.where,
        value=float(n.ruling.value[n.row]),
        limit=float(n.ruling.limit[n.row]),
        unit=n.ruling.unit,
        miss=n.miss,
    )


def _other_pairs(job: Task, prepared: Prepared, best: Judged) -> list[tuple[Pairs, Judged]]:
    """Return the chosen switches with each pair of inductor and frequency that breaks one rule."""
    one = np.flatnonzero((prepared.grid.use > 1.0).sum(axis=0) == 1)
    pairs = completed(job, prepared.grid, one)
    n = len(pairs.p_loss)
    return _better(job, pairs, np.arange(n), np.tile(best.sums.places[0], (n, 1)), best)


def _other_switches(job: Task, prepared: Prepared, best: Judged) -> list[tuple[Pairs, Judged]]:
    """Return the best set with each other switch, whatever its voltage, in each position."""
    n, active = len(job.parts.switches), job.t.active
    places = np.tile(best.sums.places[0], (n * len(active), 1))
    rows = np.arange(len(places))
    places[rows, np.repeat(active, n)] = np.tile(np.arange(n), len(active))
    other = places[(places != best.sums.places[0]).any(axis=1)]
    return _better(job, prepared.pairs, np.full(len(other), best.sums.pair[0]), other, best)


def _better(job: Task, pairs: Pairs, pair: Ints, places: Ints, best: Judged) -> list[tuple[Pairs, Judged]]:
    """Judge the sets of better score than the best."""
    if not len(pair):
        return []
    base = taken(pairs.choice, pair)
    choice = Choice(places=places, coil=base.coil, f_sw=base.f_sw, esr=base.esr)
    p_loss = job.mean(run(rows_of(job.t, choice, job.temp_rank, job.temp_rank), job.usual).total)
    cost, area = (
        getattr(pairs, name)[pair] + np.append(job.parts.switches.column(name), 0.0)[places].sum(axis=1)
        for name in ("cost", "area")
    )
    sums = Sums(pair=pair, places=places, p_loss=p_loss, cost=cost, area=area, hot=np.zeros(len(pair)))
    score = job.demand.exchange.score(p_loss, cost, area)
    order = np.argsort(score, kind="stable")[:_JUDGED_MOST]
    order = order[score[order] < best.score[0]]
    return [(pairs, judge(job, pairs, taken(sums, order)))] if len(order) else []

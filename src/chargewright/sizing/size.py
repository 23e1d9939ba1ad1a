"""Sizing: the parts of one power path, chosen by search, with the reasons."""

from dataclasses import replace

import numpy as np

from chargewright.base.errors import NoSolution
from chargewright.base.units import show
from chargewright.parts.catalogue import Parts
from chargewright.sizing.arrays import taken
from chargewright.sizing.candidates import Through, candidate, through_at
from chargewright.sizing.demand import Demand
from chargewright.sizing.judge import Judged, judge
from chargewright.sizing.margins import bank_works, margins_of
from chargewright.sizing.reasons import chosen_because
from chargewright.sizing.records import Sizing
from chargewright.sizing.rejected import nearest_rejected
from chargewright.sizing.sense import sense_trades
from chargewright.sizing.stage_rules import board_temperature
from chargewright.sizing.stage_search import Found, Prepared, prepare, search
from chargewright.sizing.tables import merged, tables
from chargewright.sizing.task import Task, task

ROUNDS_MOST = 5
"""Stage and pass elements warm each other through the board; each round leaves a few per cent of the difference."""
_SETTLED = 1e-3
"""Share by which the heat of the pass elements may still rise when all is taken as settled."""


def size(demand: Demand, parts: Parts) -> Sizing:
    """Return the parts for a demand. Raises NoSolution, naming the rule that bound and by how much it was missed."""
    corners, _ = merged(demand.stage.corners, np.zeros(len(demand.stage.corners.v_in)))
    demand = replace(demand, stage=replace(demand.stage, corners=corners))
    t = tables(demand, parts)
    # The coolest board that can be: what is found on it is the best of all if it keeps the rules on the real one too.
    board, limit = float(board_temperature(demand.stage, 0.0)), demand.rules.temp_part_max
    if board >= limit:
        raise NoSolution(
            f"board temperature: what else is on the board heats it to {show(board, 'K')} before the power path loses "
            f"anything; its parts may reach {show(limit, 'K')}"
        )
    through = through_at(demand, parts, board)
    job = task(demand, parts, t, through.p_loss)
    prepared = prepare(job)
    for _ in range(ROUNDS_MOST):
        found = search(job, prepared)
        through = through_at(demand, parts, float(found.front.temp_board[0]))
        job = replace(job, p_pass=through.p_loss)
        front = judge(job, prepared.pairs, found.front.sums)
        last = through_at(demand, parts, float(front.temp_board[0]))
        if front.keeps[0] and last.p_loss <= through.p_loss * (1.0 + _SETTLED):
            return _sizing(job, prepared, found, taken(front, np.flatnonzero(front.keeps)), last)
    raise NoSolution(
        "temperature: stage and pass elements find no common board temperature at which all of them keep their rules"
    )


def _sizing(job: Task, prepared: Prepared, found: Found, front: Judged, through: Through) -> Sizing:
    pairs, best = prepared.pairs, taken(front, [0])
    candidates = tuple(candidate(job, pairs, front, through, k) for k in range(len(front.p_loss)))
    works = bank_works(job, pairs, best)
    margins = (*margins_of(job, best, through), *(margin for _, margin in works))
    return Sizing(
        build=candidates[0].build,
        front=candidates,
        chosen_because=chosen_because(candidates, margins, prepared.considered, job.demand.exchange),
        nearest_rejected=nearest_rejected(job, prepared, found.judged, best, through),
        considered=prepared.considered,
        margins=margins,
        sense=sense_trades(job.demand, job.parts, float(best.temp_board[0])),
        banks=tuple(work for work, _ in works),
    )

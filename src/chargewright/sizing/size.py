"""Sizing: the parts of one power path, chosen by search, with the reasons."""

from dataclasses import dataclass, replace

import numpy as np

from chargewright.base.errors import NoSolution
from chargewright.base.units import show
from chargewright.parts.catalogue import Parts
from chargewright.sizing.arrays import taken
from chargewright.sizing.build import Bank, Build
from chargewright.sizing.demand import Demand
from chargewright.sizing.judge import Judged, judge
from chargewright.sizing.pass_elements import Passing, battery_switch, blocking_pair
from chargewright.sizing.records import Candidate, Margin, SenseTrade, Sizing
from chargewright.sizing.sense import chosen, sense_trades
from chargewright.sizing.stage_rules import Ruling, board_temperature
from chargewright.sizing.stage_search import Found, search
from chargewright.sizing.tables import merged, tables
from chargewright.sizing.task import Task, task

ROUNDS_MOST = 5
"""Stage and pass elements warm each other through the board; each round leaves a few per cent of the difference."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Through:
    """What only passes or senses current."""

    trades: tuple[SenseTrade, ...]
    pair: Passing
    battery: Passing | None

    @property
    def p_loss(self) -> float:
        """Loss of all at full current [W]."""
        sensed = sum(t.p_loss for t in self.trades if t.chosen)
        return self.pair.p_loss + sensed + (self.battery.p_loss if self.battery else 0.0)


def size(demand: Demand, parts: Parts) -> Sizing:
    """Return the parts for a demand. Raises NoSolution, naming the rule that bound and by how much it was missed."""
    corners, _ = merged(demand.stage.corners, np.zeros(len(demand.stage.corners.v_in)))
    demand = replace(demand, stage=replace(demand.stage, corners=corners))
    t = tables(demand, parts)
    board = float(board_temperature(demand.stage, 0.0))
    through = _through(demand, parts, board)
    for _ in range(ROUNDS_MOST):
        job = task(demand, parts, t, through.p_loss)
        found = search(job)
        through = _through(demand, parts, float(found.front.temp_board[0]))
        # The front again, on the board as it now is; if its first set still keeps every rule, all is settled.
        job = task(demand, parts, t, through.p_loss)
        front = judge(job, found.pairs, found.front.sums)
        if front.keeps[0] and _through(demand, parts, float(front.temp_board[0])).p_loss <= through.p_loss * 1.001:
            front = taken(front, np.flatnonzero(front.keeps))
            return _sizing(job, found, front, through)
    raise NoSolution(
        "temperature: stage and pass elements find no common board temperature at which all keep their rules"
    )


def _through(demand: Demand, parts: Parts, temp_board: float) -> Through:
    return Through(
        trades=sense_trades(demand, parts, temp_board),
        pair=blocking_pair(demand, parts.switches, temp_board),
        battery=battery_switch(demand, parts.switches, temp_board),
    )


def _sizing(job: Task, found: Found, front: Judged, through: Through) -> Sizing:
    candidates = tuple(_candidate(job, found, front, through, k) for k in range(len(front.p_loss)))
    best = candidates[0]
    return Sizing(
        build=best.build,
        front=candidates,
        chosen_because=f"least score of {len(candidates)} sets on the front: {show(best.p_loss, 'W')}",
        nearest_rejected=(),
        considered=found.considered,
        margins=tuple(_margin(r) for r in front.rulings),
        sense=through.trades,
        banks=(),
    )


def _candidate(job: Task, found: Found, judged: Judged, through: Through, k: int) -> Candidate:
    parts, places = job.parts, judged.sums.places[k]
    pair = int(judged.sums.pair[k])
    a_high, a_low = (parts.switches.record(int(p)) for p in places[:2])
    b_low, b_high = (None if job.t.one_leg else parts.switches.record(int(p)) for p in places[2:])
    bank_a, bank_b = (
        Bank(part=parts.capacitors.record(int(b.part[pair])), count=int(b.count[pair])) for b in found.pairs.banks
    )
    build = Build(
        legs=job.demand.stage.legs,
        a_high=a_high,
        a_low=a_low,
        b_low=b_low,
        b_high=b_high,
        coil=parts.inductors.record(int(judged.choice.coil[k])),
        f_sw=float(job.t.f_sw[judged.choice.f_sw[k]]),
        bank_a=bank_a,
        bank_b=bank_b,
        sense_source=chosen(through.trades, "source", parts),
        sense_charge=chosen(through.trades, "charge", parts),
        blocking=through.pair.part,
        battery=through.battery.part if through.battery else None,
    )
    p_loss = float(judged.p_loss[k])
    score = job.demand.exchange.score(p_loss, build.cost, build.area)
    return Candidate(build=build, p_loss=p_loss, cost=build.cost, area=build.area, score=score)


def _margin(r: Ruling) -> Margin:
    return Margin(
        rule=r.rule,
        where=r.where,
        value=float(r.value[0]),
        limit=float(r.limit[0]),
        unit=r.unit,
        margin=1.0 - float(r.use[0]),
    )

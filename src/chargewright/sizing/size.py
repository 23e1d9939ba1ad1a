"""Sizing: the parts of one power path, chosen by search, with the reasons."""

import numpy as np

from chargewright.base.units import show
from chargewright.parts.catalogue import Parts
from chargewright.sizing.build import Bank, Build
from chargewright.sizing.demand import Demand
from chargewright.sizing.pass_elements import battery_switch, blocking_pair
from chargewright.sizing.records import Candidate, Margin, Sizing
from chargewright.sizing.sense import chosen, sense_trades
from chargewright.sizing.stage_rules import Ruling, board_temperature
from chargewright.sizing.stage_search import Judged, Task, search, task
from chargewright.sizing.tables import tables

_ROUNDS = 6


def size(demand: Demand, parts: Parts) -> Sizing:
    """Return the parts for a demand. Raises NoSolution, naming the rule that bound and by how much it was missed."""
    t = tables(demand, parts)
    stage = demand.stage
    board = float(board_temperature(stage, 0.05 * float(np.max(stage.corners.v_out * stage.corners.i_out))))
    for _ in range(_ROUNDS):
        trades = sense_trades(demand, parts, board)
        pair, battery = blocking_pair(demand, parts.switches, board), battery_switch(demand, parts.switches, board)
        p_pass = pair.p_loss + sum(x.p_loss for x in trades if x.chosen) + (battery.p_loss if battery else 0.0)
        job = task(demand, parts, t, p_pass)
        found = search(job)
        hottest = float(found.best.rulings[-1].value[0])
        break
    del hottest
    source, charge = chosen(trades, "source", parts), chosen(trades, "charge", parts)

    def build_of(judged: Judged, k: int) -> Build:
        places = judged.choice.places[k]
        first, second = found.pairs.banks
        pair_k = int(judged.bank[k])
        switches = [parts.switches.record(int(places[j])) if j in t.active else None for j in range(4)]
        assert switches[0] is not None and switches[1] is not None
        return Build(
            legs=stage.legs,
            a_high=switches[0],
            a_low=switches[1],
            b_low=switches[2],
            b_high=switches[3],
            coil=parts.inductors.record(int(judged.choice.coil[k])),
            f_sw=float(t.f_sw[judged.choice.f_sw[k]]),
            bank_a=Bank(part=parts.capacitors.record(int(first.part[pair_k])), count=int(first.count[pair_k])),
            bank_b=Bank(part=parts.capacitors.record(int(second.part[pair_k])), count=int(second.count[pair_k])),
            sense_source=source,
            sense_charge=charge,
            blocking=pair.part,
            battery=battery.part if battery else None,
        )

    def candidate(judged: Judged, k: int) -> Candidate:
        built = build_of(judged, k)
        return Candidate(
            build=built,
            p_loss=float(judged.p_loss[k]),
            cost=built.cost,
            area=built.area,
            score=demand.exchange.score(float(judged.p_loss[k]), built.cost, built.area),
        )

    front = tuple(candidate(found.front, k) for k in range(len(found.front.choice)))
    return Sizing(
        build=front[0].build,
        front=front,
        chosen_because=f"least score of {len(front)} sets on the front: {show(front[0].p_loss, 'W')}",
        nearest_rejected=(),
        considered=found.considered,
        margins=tuple(_margin(r, job) for r in found.best.rulings),
        sense=trades,
        banks=(),
    )


def _margin(r: Ruling, job: Task) -> Margin:
    return Margin(
        rule=r.rule,
        where=r.where,
        value=float(r.value[0]),
        limit=float(r.limit[0]),
        unit=r.unit,
        margin=1.0 - float(r.use[0]),
    )

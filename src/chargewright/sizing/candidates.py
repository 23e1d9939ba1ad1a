"""From rows of the search to builds with names."""

from dataclasses import dataclass

from chargewright.parts.catalogue import Parts
from chargewright.sizing.build import Bank, Build
from chargewright.sizing.demand import Demand
from chargewright.sizing.judge import Judged
from chargewright.sizing.pairs import Pairs
from chargewright.sizing.pass_elements import Passing, battery_switch, blocking_pair
from chargewright.sizing.records import Candidate
from chargewright.sizing.sense import Sensing, sensing
from chargewright.sizing.task import Task


@dataclass(frozen=True, slots=True, kw_only=True)
class Through:
    """What only passes or senses current."""

    source: Sensing
    charge: Sensing
    pair: Passing
    battery: Passing | None

    @property
    def p_loss(self) -> float:
        """Loss of all at full current [W]."""
        return self.source.p_loss + self.charge.p_loss + sum(element.p_loss for element in self.passing)

    @property
    def passing(self) -> tuple[Passing, ...]:
        """The pass elements that the path has."""
        return (self.pair,) if self.battery is None else (self.pair, self.battery)


def through_at(demand: Demand, parts: Parts, temp_board: float) -> Through:
    """Return what passes and senses current on a board of a temperature [K]. Raises NoSolution."""
    return Through(
        source=sensing("source", demand, parts, temp_board),
        charge=sensing("charge", demand, parts, temp_board),
        pair=blocking_pair(demand, parts.switches, temp_board),
        battery=battery_switch(demand, parts.switches, temp_board),
    )


def candidate(job: Task, pairs: Pairs, judged: Judged, through: Through, k: int) -> Candidate:
    """Return one judged set as a build."""
    parts, places, pair = job.parts, judged.sums.places[k], int(judged.sums.pair[k])
    a_high, a_low = (parts.switches.record(int(p)) for p in places[:2])
    b_low, b_high = (None if job.t.one_leg else parts.switches.record(int(p)) for p in places[2:])
    bank_a, bank_b = (
        Bank(part=parts.capacitors.record(int(b.part[pair])), count=int(b.count[pair])) for b in pairs.banks
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
        sense_source=through.source.part,
        sense_charge=through.charge.part,
        blocking=through.pair.part,
        battery=through.battery.part if through.battery else None,
    )
    p_loss, cost, area = float(judged.p_loss[k]), build.cost, build.area
    score = job.demand.exchange.score(p_loss, cost, area)
    return Candidate(build=build, p_loss=p_loss, cost=cost, area=area, score=score)

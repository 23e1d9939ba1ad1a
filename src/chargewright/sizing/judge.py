"""Exact evaluation of sets of parts: loss, score, and every rule of the stage at settled temperatures."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.sizing.arrays import taken
from chargewright.sizing.pairs import Pairs
from chargewright.sizing.passive import capacitor_rulings
from chargewright.sizing.ruling import Ruling
from chargewright.sizing.stage_rules import (
    coil_rulings,
    heat_rulings,
    settled_heat,
    switch_rulings,
)
from chargewright.sizing.sums import Sums
from chargewright.sizing.tables import Choice, rows_of, run
from chargewright.sizing.task import Task

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Sets of parts evaluated exactly: arrays over the sets."""

    sums: Sums
    choice: Choice
    p_loss: Floats
    score: Floats
    temp_board: Floats
    """Hottest board at the lasting corners [K]."""
    rulings: tuple[Ruling, ...]

    @property
    def use(self) -> Floats:
        """(rules, sets) how much of each limit is used."""
        return np.stack([r.use for r in self.rulings])

    @property
    def keeps(self) -> npt.NDArray[np.bool_]:
        """Which sets keep every rule."""
        return np.asarray(self.use.max(axis=0) <= 1.0)


def judge(job: Task, pairs: Pairs, sums: Sums) -> Judged:
    """Return the exact evaluation of some sets."""
    t, demand, parts = job.t, job.demand, job.parts
    base = taken(pairs.choice, sums.pair)
    choice = Choice(places=sums.places, coil=base.coil, f_sw=base.f_sw, esr=base.esr)
    p_loss = job.mean(run(rows_of(t, choice, job.temp_rank, job.temp_rank), job.usual).total)
    worst = run(rows_of(t, choice, job.temp_rank, job.temp_rank, worst_coil=True), demand.stage.corners)
    heat = settled_heat(t, choice, parts, demand, job.p_pass, job.temp_rank)
    return Judged(
        sums=sums,
        choice=choice,
        p_loss=p_loss,
        score=demand.exchange.score(p_loss, sums.cost, sums.area),
        temp_board=heat.board.max(axis=1),
        rulings=(
            *coil_rulings(t, choice, worst, parts, demand),
            *switch_rulings(t, choice, worst, parts, demand),
            *heat_rulings(t, choice, heat, parts, demand),
            *capacitor_rulings(worst, taken(pairs.banks, sums.pair), heat, parts, demand),
        ),
    )

"""Inductor and frequency: the pairs that keep the rules, with the capacitors each of them needs."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import NoSolution
from chargewright.base.units import show
from chargewright.physics.series import preferred_at_or_above
from chargewright.sizing.arrays import taken
from chargewright.sizing.pareto import undominated
from chargewright.sizing.passive import BankChoice, bank_duties, choose_bank, no_bank
from chargewright.sizing.ruling import Ruling
from chargewright.sizing.stage_rules import board_temperature, coil_rulings
from chargewright.sizing.tables import Choice, Run, rows_of, run
from chargewright.sizing.task import Task

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

PAIR_DOUBT = 0.005
"""How far the order of two pairs' losses may move with other switches than the reference, over the whole loss."""
BORDER = 0.01
"""Rules are first judged with reference switches: a pair this near a limit stays, but displaces no other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairs:
    """Pairs of inductor and frequency: arrays over the pairs."""

    choice: Choice
    """With reference switches, and the capacitors' resistance."""
    banks: tuple[BankChoice, BankChoice]
    p_loss: Floats
    """Mean loss with reference switches [W]."""
    at_hot: Floats
    """(pairs, hot corners) loss with reference switches [W]."""
    rise: Floats
    """(pairs, hot corners) inductor above the board [K]."""
    cost: Floats
    area: Floats
    """Inductor and capacitors."""
    border: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Every pair in the catalogue at the corners, with reference switches and the inductor at its worst."""

    choice: Choice
    worst: Run
    rulings: list[Ruling]

    @property
    def use(self) -> Floats:
        """(rules, pairs)."""
        return np.stack([r.use for r in self.rulings])


def every_pair(job: Task, reference: Ints) -> Grid:
    """Return all pairs, judged. reference : (4,) switches that stand in."""
    coil, f_sw = np.indices((len(job.t.coil), len(job.t.f_sw))).reshape(2, -1)
    n = len(coil)
    choice = Choice(places=np.tile(reference, (n, 1)), coil=coil, f_sw=f_sw, esr=np.zeros((n, 2)))
    rows = rows_of(job.t, choice, job.temp_rank, job.temp_rank, worst_coil=True)
    worst = run(rows, job.demand.stage.corners)
    return Grid(choice=choice, worst=worst, rulings=coil_rulings(job.t, choice, worst, job.parts, job.demand))


def passing_pairs(job: Task, grid: Grid) -> Pairs:
    """Return the pairs that keep the rules and can win. Raises NoSolution where there is none."""
    near = np.flatnonzero(grid.use.max(axis=0) <= 1.0 + BORDER)
    if not len(near):
        raise NoSolution(_no_pair(job, grid))
    pairs = completed(job, grid, near)
    if not len(pairs.p_loss):
        worst = taken_run(grid.worst, near)
        raise NoSolution(no_bank(bank_duties(worst, job.demand), job.parts.capacitors, job.demand))
    keep = [
        rows[_unbeaten(taken(pairs, rows))]
        for f in range(len(job.t.f_sw))
        if len(rows := np.flatnonzero(pairs.choice.f_sw == f))
    ]
    return taken(pairs, np.concatenate(keep))


def completed(job: Task, grid: Grid, which: Ints) -> Pairs:
    """Return some pairs with their capacitors, losses and heat, without those for which no capacitors will do."""
    parts, demand = job.parts, job.demand
    choice = taken(grid.choice, which)
    both = run(rows_of(job.t, choice, job.temp_rank, job.temp_rank), job.both)
    square = [job.mean(d.i_rms**2) for d in bank_duties(both, demand)]
    asked = bank_duties(taken_run(grid.worst, which), demand)
    board = board_temperature(demand.stage, job.at_hot(both.total).max(axis=1) + job.p_pass)
    first, second = (
        choose_bank(duty, ms, board, parts.capacitors, demand) for duty, ms in zip(asked, square, strict=True)
    )
    coils = parts.inductors
    heat = job.at_hot(both.heat()[4])
    pairs = Pairs(
        choice=Choice(
            places=choice.places, coil=choice.coil, f_sw=choice.f_sw, esr=np.stack([first.esr, second.esr], axis=1)
        ),
        banks=(first, second),
        p_loss=job.mean(both.total) + square[0] * first.esr + square[1] * second.esr,
        at_hot=job.at_hot(both.total),
        rise=heat * coils.column("rth")[choice.coil][:, None],
        cost=coils.column("cost")[choice.coil] + first.cost + second.cost,
        area=coils.column("area")[choice.coil] + first.area + second.area,
        border=grid.use.max(axis=0)[which] > 1.0 - BORDER,
    )
    return taken(pairs, np.flatnonzero((first.part >= 0) & (second.part >= 0)))


def taken_run(found: Run, which: Ints) -> Run:
    """Return some sets of a run, at all its points."""
    return Run(
        points=found.points,
        i_l=found.i_l[which],
        losses=type(found.losses)(*(x[which] for x in found.losses)),
        total=found.total[which],
        wave=type(found.wave)(*(x[which] for x in found.wave)),
    )


def _unbeaten(pairs: Pairs) -> Ints:
    """Return the pairs of one frequency that no other beats."""
    loss = np.column_stack([pairs.p_loss, pairs.at_hot])
    sure = np.column_stack([pairs.rise, pairs.cost, pairs.area])
    doubt = np.column_stack([PAIR_DOUBT * loss, np.zeros(sure.shape)])
    return undominated(np.column_stack([loss, sure]), doubt, ~pairs.border)


def _no_pair(job: Task, grid: Grid) -> str:
    """Return which rule bound, by how much the best pair missed it, and what inductance would do."""
    k = int(np.argmin(grid.use.max(axis=0)))
    r = grid.rulings[int(np.argmax(grid.use[:, k]))]
    coil, f_sw = job.parts.inductors.record(int(grid.choice.coil[k])), job.t.f_sw[grid.choice.f_sw[k]]
    off = 100.0 * abs(float(r.value[k] / r.limit[k]) - 1.0)
    text = (
        f"{r.rule}: no inductor and frequency keep every rule; the best, {coil.name} at {show(f_sw, 'Hz')}, has "
        f"{show(r.value[k], r.unit)} against {show(r.limit[k], r.unit)}, {off:.0f} % off"
    )
    if r.rule == "inductor ripple":
        wanted = float(preferred_at_or_above(coil.l_0 * float(r.use[k]), "E12"))
        text += f"; {show(wanted, 'H')} at that frequency would keep it"
    return text

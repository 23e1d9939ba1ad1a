"""Switches: which can win in which position at which frequency."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import NoSolution
from chargewright.base.units import show
from chargewright.sizing.arrays import taken
from chargewright.sizing.pairs import SLACK, Pairs
from chargewright.sizing.pareto import undominated
from chargewright.sizing.stage_rules import board_temperature, place_name, place_rating
from chargewright.sizing.tables import rows_of, run
from chargewright.sizing.task import Task

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

HOT_SLACK = 0.03
"""Share of the allowed rise by which a part has to be too hot in the best company before it is given up unjudged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sieved:
    """Switches at one frequency: arrays over (position, switch) that can win."""

    place: Ints
    switch: Ints


def allowed_switches(job: Task) -> list[Ints]:
    """Return for each position the switches that stand its voltage. Raises NoSolution where none does."""
    v_max = job.parts.switches.column("v_max")
    found = []
    for k in job.t.active:
        needed = place_rating(k, job.demand)
        which = np.flatnonzero(v_max >= needed)
        if not len(which):
            highest = f"{show(float(v_max.max()), 'V')}" if len(v_max) else "none"
            raise NoSolution(
                f"switch voltage: the {place_name(k)} needs a rating of {show(needed, 'V')} after derating; "
                f"the highest on the list: {highest}"
            )
        found.append(which)
    return found


def reference_switches(job: Task, allowed: list[Ints]) -> Ints:
    """Return the switches (4,) that stand in while others are compared: of middling resistance in the lowest class."""
    v_max, r_on = job.parts.switches.column("v_max"), job.parts.switches.column("r_on_25")
    places = np.full(4, len(v_max))
    for k, which in zip(job.t.active, allowed, strict=True):
        low = which[v_max[which] == v_max[which].min()]
        places[k] = low[np.argsort(r_on[low], kind="stable")[len(low) // 2]]
    return places


def sieve(job: Task, pairs: Pairs, allowed: list[Ints]) -> list[Sieved]:
    """Return for each frequency the switches that can win there; a frequency without pairs or switches has none.

    Every switch that stands the voltage runs once in its position, beside the best pair of the frequency and reference
    switches. Out falls: what cannot carry its current; what is too hot even in the coolest company; and what another
    beats in mean loss, loss and heat at each hot corner, cost and area at once.
    """
    t, parts, demand = job.t, job.parts, job.demand
    lead = np.array([_best_pair(pairs, f) for f in range(len(t.f_sw))])
    place = np.repeat(np.array(t.active), [len(a) for a in allowed])
    switch = np.concatenate(allowed)
    width, present = len(switch), np.flatnonzero(lead >= 0)
    choice = taken(pairs.choice, np.repeat(lead[present], width))
    choice = choice.exchanged(np.tile(place, len(present)), np.tile(switch, len(present)))
    both = run(rows_of(t, choice, job.temp_rank, job.temp_rank), job.both)
    rows, at = np.arange(len(choice)), np.tile(place, len(present))
    mean, at_hot = job.mean(both.total), job.at_hot(both.total)
    rth, i_max = parts.switches.column("rth_jb"), parts.switches.column("i_max")
    rise = job.at_hot(both.heat())[at, rows] * np.tile(rth[switch], len(present))[:, None]
    rms = job.at_hot(both.rms())[at, rows].max(axis=1)
    carries = rms <= demand.rules.i_derating * np.tile(i_max[switch], len(present))
    found = [Sieved(place=place[:0], switch=switch[:0])] * len(t.f_sw)
    for n, f in enumerate(present):
        own = slice(n * width, (n + 1) * width)
        of_pairs = np.flatnonzero(pairs.choice.f_sw == f)
        cool = _cool_enough(job, taken(pairs, of_pairs), lead[f] == of_pairs, place, switch, at_hot[own], rise[own])
        loss = np.column_stack([mean[own], at_hot[own]])
        columns = np.column_stack(
            [loss, rise[own], parts.switches.column("cost")[switch], parts.switches.column("area")[switch]]
        )
        slack = np.zeros(columns.shape[1])
        slack[: loss.shape[1]] = SLACK * loss.min(axis=0)
        kept = []
        for k in t.active:
            able = np.flatnonzero((place == k) & carries[own] & cool)
            kept.append(able[undominated(columns[able], slack)])
        if all(len(x) for x in kept):
            every = np.concatenate(kept)
            found[f] = Sieved(place=place[every], switch=switch[every])
    return found


def _best_pair(pairs: Pairs, f: int) -> int:
    which = np.flatnonzero(pairs.choice.f_sw == f)
    return int(which[np.argmin(pairs.p_loss[which])]) if len(which) else -1


def _cool_enough(
    job: Task, pairs: Pairs, lead: npt.NDArray[np.bool_], place: Ints, switch: Ints, at_hot: Floats, rise: Floats
) -> npt.NDArray[np.bool_]:
    """Return which switches could keep their temperature if all other parts of the stage were the coolest."""
    ambient = job.demand.stage.temp_ambient
    change = at_hot - pairs.at_hot[lead][0]
    least = {k: change[place == k].min(axis=0) for k in job.t.active}
    others = np.stack([sum(least[j] for j in job.t.active if j != k) for k in place])
    board = board_temperature(job.demand.stage, pairs.at_hot.min(axis=0) + others + change + job.p_pass)
    limit = np.minimum(job.demand.rules.temp_j_max, job.parts.switches.column("temp_j_max")[switch])
    return np.asarray((board + rise - ambient).max(axis=1) <= (1.0 + HOT_SLACK) * (limit - ambient))

"""Switches: which can win in which position at which frequency."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import NoSolution
from chargewright.base.units import show
from chargewright.sizing.arrays import taken
from chargewright.sizing.pairs import Pairs
from chargewright.sizing.pareto import undominated
from chargewright.sizing.stage_rules import board_temperature, place_name, place_rating
from chargewright.sizing.tables import rows_of, run
from chargewright.sizing.task import Task

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

SWITCH_DOUBT = 0.03
"""How far a switch's share of the loss may move with another inductor or other switches, over that share."""
HOT_DOUBT = 0.08
"""How far a rise estimated at the ranking temperature may be too high, over the allowed rise: 25 K less are some 8 %
less resistance."""
_LAST = 3
"""Switches that stay in a position where none would do, so that the judging can say by how much it fails."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sieved:
    """Switches in their positions at one frequency: arrays over those that can win."""

    place: Ints
    switch: Ints
    at_hot: Floats
    """(switches, hot corners) what it changes in the loss [W], against the reference switch."""
    rise: Floats
    """(switches, hot corners) junction above the board [K]."""


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
    """Return for each frequency the switches that can win there; a frequency without pairs has none.

    Every switch that stands the voltage runs once in its position, beside the best pair of the frequency and reference
    switches. Out falls: what cannot carry its current; what is too hot even in the coolest company; and what another
    beats in mean loss, loss and heat at each hot corner, cost and area at once.
    """
    t = job.t
    lead = np.array([_best_pair(pairs, f) for f in range(len(t.f_sw))])
    none = np.full(len(t.active), len(t.switch) - 1)
    # Last in each block, an ideal switch in each position: what is lost beyond it is a switch's own share.
    place = np.concatenate([np.repeat(t.active, [len(a) for a in allowed]), t.active])
    switch = np.concatenate([*allowed, none])
    width, present = len(switch), np.flatnonzero(lead >= 0)
    choice = taken(pairs.choice, np.repeat(lead[present], width))
    choice = choice.exchanged(np.tile(place, len(present)), np.tile(switch, len(present)))
    both = run(rows_of(t, choice, job.temp_rank, job.temp_rank), job.both)
    mean, at_hot = job.mean(both.total), job.at_hot(both.total)
    rows, at = np.arange(len(choice)), np.tile(place, len(present))
    heat, rms = job.at_hot(both.heat())[at, rows], job.at_hot(both.rms())[at, rows].max(axis=1)
    empty = Sieved(place=place[:0], switch=switch[:0], at_hot=at_hot[:0], rise=heat[:0])
    found = [empty] * len(t.f_sw)
    for n, f in enumerate(present):
        own = slice(n * width, (n + 1) * width)
        pairs_here = taken(pairs, np.flatnonzero(pairs.choice.f_sw == f))
        reference = pairs.at_hot[lead[f]]
        found[f] = _kept(job, pairs_here, place, switch, mean[own], at_hot[own] - reference, heat[own], rms[own])
    return found


def _best_pair(pairs: Pairs, f: int) -> int:
    which = np.flatnonzero(pairs.choice.f_sw == f)
    return int(which[np.argmin(pairs.p_loss[which])]) if len(which) else -1


def _kept(
    job: Task, pairs: Pairs, place: Ints, switch: Ints, mean: Floats, at_hot: Floats, heat: Floats, rms: Floats
) -> Sieved:
    """Return what is left at one frequency; the last row of each array is the ideal switch of each position."""
    column, active = job.parts.switches.column, job.t.active
    real = slice(0, len(switch) - len(active))
    ideal = len(switch) - len(active) + np.searchsorted(active, place[real])
    loss = np.column_stack([mean, at_hot])
    share = np.abs(loss[real] - loss[ideal])
    place, switch, loss = place[real], switch[real], loss[real]
    rise = heat[real] * column("rth_jb")[switch][:, None]
    sure = np.column_stack([rise, column("cost")[switch], column("area")[switch]])
    doubt = np.column_stack([SWITCH_DOUBT * share, SWITCH_DOUBT * rise, np.zeros((len(switch), 2))])
    strain = np.maximum(
        rms[real] / (job.demand.rules.i_derating * column("i_max")[switch]),
        _least_heat(job, pairs, place, switch, at_hot[real], rise) / (1.0 + HOT_DOUBT),
    )
    kept = []
    for k in active:
        here = np.flatnonzero(place == k)
        rows = here[strain[here] <= max(1.0, np.sort(strain[here])[:_LAST][-1])]
        kept.append(rows[undominated(np.column_stack([loss, sure])[rows], doubt[rows])])
    every = np.concatenate(kept)
    return Sieved(place=place[every], switch=switch[every], at_hot=at_hot[real][every], rise=rise[every])


def _least_heat(job: Task, pairs: Pairs, place: Ints, switch: Ints, at_hot: Floats, rise: Floats) -> Floats:
    """Return how much of its allowed rise each switch uses if all other parts of the stage are the coolest."""
    ambient = job.demand.stage.temp_ambient
    least = np.stack([at_hot[place == k].min(axis=0) for k in job.t.active])
    others = (least.sum(axis=0) - least)[np.searchsorted(job.t.active, place)]
    board = board_temperature(job.demand.stage, pairs.at_hot.min(axis=0) + others + at_hot + job.p_pass)
    allowed = np.minimum(job.demand.rules.temp_j_max, job.parts.switches.column("temp_j_max")[switch]) - ambient
    return np.asarray((board + rise - ambient).max(axis=1) / np.maximum(allowed, 1e-9))

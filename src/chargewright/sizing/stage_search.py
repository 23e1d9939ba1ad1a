"""The search over stages: every allowed inductor, frequency and switch, reduced to what can win, then ranked.

1. Inductor and frequency: all pairs run at the corners with reference switches and the inductor at its worst; pairs
   that break a rule fall out, pairs that another beats in loss, heat, cost and area do too.
2. Switches: at each frequency every switch that stands the voltage runs in each position, all else at reference; the
   same sieve. Once evaluated, a part that is beaten everywhere cannot win: cost and area add up exactly, and loss does
   so but for the slack (below).
3. Sum: loss of a set is taken as the reference loss plus what each exchanged switch changes. All sums are formed.
4. The best sums are evaluated exactly (`judge`), with each part at its settled temperature, until no sum left could
   still win.

That the sum is nearly exact has a reason: with the waveform given, each loss belongs to one position; positions meet
only through the voltage drops in the duty, parts in a thousand. The search measures the error on what it evaluates.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import NoSolution
from chargewright.parts.catalogue import Parts
from chargewright.sizing.demand import Demand, Points
from chargewright.sizing.pareto import front, one_per_cell, undominated
from chargewright.sizing.passive import BankChoice, bank_duties, choose_bank
from chargewright.sizing.stage_rules import (
    Ruling,
    coil_rulings,
    heat_rulings,
    place_rating,
    settled_heat,
    switch_rulings,
)
from chargewright.sizing.tables import Choice, Tables, merged, rows_of, run

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

RANKING_RISE = 25.0
"""Parts above the hot board while sets are ranked [K]; common practice, the real temperatures come with the judging."""
LOSS_SHARE_GUESS = 0.04
"""Stage loss over its output, for the board temperature while sets are ranked."""
SLACK = 0.01
"""Share of the reference loss by which a part has to be beaten before it is given up."""
_BORDER = 0.01
"""Rules judged with reference switches: within this of the limit a pair stays, but gives no other pair up."""
_CHUNK = 192
_PAIRS_KEPT = 48
_FRONT_CELL_LOSS = 0.01
_FRONT_CELL_COST = 0.1
_FRONT_CELL_AREA = 3e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Sets evaluated exactly; arrays over the sets."""

    choice: Choice
    bank: Ints
    """Row of each set in the table of banks."""
    p_loss: Floats
    score: Floats
    cost: Floats
    area: Floats
    """Of the stage with its capacitors."""
    rulings: list[Ruling]

    @property
    def use(self) -> Floats:
        """(rules, sets) how much of each limit is used."""
        return np.stack([r.use for r in self.rulings])

    @property
    def keeps(self) -> npt.NDArray[np.bool_]:
        """Which sets keep every rule."""
        return np.asarray(self.use.max(axis=0) <= 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What is searched: demand and catalogue in the form of arrays."""

    demand: Demand
    parts: Parts
    t: Tables
    usual: Points
    weights: Floats
    temp_rank: float
    """Temperature of all parts while sets are ranked [K]."""
    p_pass: float
    """Heat of pass elements and sense resistors on the same board [W]."""

    def mean(self, loss: Floats) -> Floats:
        """Return the weighted mean over the usual points."""
        return np.asarray(loss @ self.weights)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairs:
    """Inductors with frequencies: arrays over the pairs."""

    choice: Choice
    """With reference switches, and the capacitors chosen for the pair."""
    banks: tuple[BankChoice, BankChoice]
    p_loss: Floats
    """Mean loss with reference switches [W]."""
    cost: Floats
    area: Floats
    border: npt.NDArray[np.bool_]
    """Pairs that stand so near a limit that the real switches decide."""

    def take(self, which: Ints) -> "Pairs":
        """Return some of the pairs."""
        first, second = (
            BankChoice(
                part=b.part[which], count=b.count[which], esr=b.esr[which], cost=b.cost[which], area=b.area[which]
            )
            for b in self.banks
        )
        return Pairs(
            choice=self.choice.take(which),
            banks=(first, second),
            p_loss=self.p_loss[which],
            cost=self.cost[which],
            area=self.area[which],
            border=self.border[which],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sums:
    """Sets by their estimated score: arrays over the sets."""

    pair: Ints
    places: Ints
    p_loss: Floats
    cost: Floats
    area: Floats
    score: Floats

    def take(self, which: Ints) -> "Sums":
        """Return some of the sets."""
        return Sums(
            pair=self.pair[which],
            places=self.places[which],
            p_loss=self.p_loss[which],
            cost=self.cost[which],
            area=self.area[which],
            score=self.score[which],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The outcome of a search."""

    best: Judged
    """One set."""
    front: Judged
    """Sets that no other beats in loss, cost and area at once, by score."""
    judged: Judged
    """Everything that was evaluated exactly."""
    pairs: Pairs
    considered: int


def task(demand: Demand, parts: Parts, t: Tables, p_pass: float) -> Task:
    """Return the search for a demand."""
    stage = demand.stage
    usual, weights = merged(stage.usual, stage.weights)
    guess = LOSS_SHARE_GUESS * float((usual.v_out * usual.i_out) @ weights)
    board = stage.temp_ambient + stage.r_board * (stage.p_elsewhere + p_pass + guess)
    return Task(
        demand=demand,
        parts=parts,
        t=t,
        usual=usual,
        weights=weights,
        temp_rank=min(board + RANKING_RISE, demand.rules.temp_j_max),
        p_pass=p_pass,
    )


def search(job: Task) -> Found:
    """Return the best stage and the front. Raises NoSolution where no set keeps every rule."""
    allowed = allowed_switches(job)
    pairs = passing_pairs(job, reference_switches(job, allowed))
    sums, considered = all_sums(job, pairs, allowed)
    return _judge_best(job, pairs, sums, considered)


def allowed_switches(job: Task) -> list[Ints]:
    """Return for each position the switches that stand its voltage. Raises NoSolution where none does."""
    v_max = job.parts.switches.column("v_max")
    found = []
    for k in job.t.active:
        needed = place_rating(k, job.demand)
        which = np.flatnonzero(v_max >= needed)
        if not len(which):
            highest = float(v_max.max()) if len(v_max) else 0.0
            raise NoSolution(
                f"switch voltage: a rating of {needed:.3g} V is needed on the "
                f"{'source' if k < 2 else 'pack'} side after derating; the highest on the list has {highest:.3g} V"
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


def passing_pairs(job: Task, reference: Ints) -> Pairs:
    """Return the pairs of inductor and frequency that can win. Raises NoSolution where none keeps the rules."""
    demand, parts, t = job.demand, job.parts, job.t
    grid = np.indices((len(t.coil), len(t.f_sw))).reshape(2, -1)
    every = _reference_choice(grid[0], grid[1], reference)
    corners, _ = merged(demand.stage.corners, np.zeros(len(demand.stage.corners.v_in)))
    worst = run(rows_of(t, every, job.temp_rank, job.temp_rank, worst_coil=True), corners)
    use = np.stack([r.use for r in coil_rulings(t, every, worst, parts, demand)])
    near = np.flatnonzero(use.max(axis=0) <= 1.0 + _BORDER)
    if not len(near):
        raise NoSolution(nothing_passes(job, every, coil_rulings(t, every, worst, parts, demand)))
    choice = every.take(near)
    usual = run(rows_of(t, choice, job.temp_rank, job.temp_rank), job.usual)
    at_corners = run(rows_of(t, choice, job.temp_rank, job.temp_rank, worst_coil=True), corners)
    duties = bank_duties(at_corners, demand)
    usual_duties = bank_duties(usual, demand)
    banks = tuple(
        choose_bank(duty, job.mean(often.i_rms**2), parts.capacitors, demand)
        for duty, often in zip(duties, usual_duties, strict=True)
    )
    first, second = banks
    have = np.flatnonzero((first.part >= 0) & (second.part >= 0))
    if not len(have):
        raise NoSolution(_no_bank(job, first))
    esr = np.stack([first.esr, second.esr], axis=1)
    p_bank = sum(job.mean(often.i_rms**2) * bank.esr for often, bank in zip(usual_duties, banks, strict=True))
    coils = parts.inductors
    pairs = Pairs(
        choice=Choice(places=choice.places, coil=choice.coil, f_sw=choice.f_sw, esr=esr),
        banks=(first, second),
        p_loss=job.mean(usual.total) + p_bank,
        cost=coils.column("cost")[choice.coil] + first.cost + second.cost,
        area=coils.column("area")[choice.coil] + first.area + second.area,
        border=use.max(axis=0)[near] > 1.0 - _BORDER,
    )
    lasting = corners.lasting if corners.lasting.any() else np.ones(len(corners.lasting), dtype=bool)
    heat = at_corners.heat()[4][:, lasting] * coils.column("rth")[choice.coil][:, None]
    at_loss = at_corners.total[:, lasting]
    keep = [
        have[rows[_unbeaten(pairs.take(have[rows]), at_loss[have[rows]], heat[have[rows]])]]
        for f in range(len(t.f_sw))
        if len(rows := np.flatnonzero(choice.f_sw[have] == f))
    ]
    return pairs.take(np.concatenate(keep))


def _unbeaten(pairs: Pairs, at_loss: Floats, heat: Floats) -> Ints:
    """Return the pairs of one frequency that no other beats by more than the slack."""
    columns = np.column_stack([pairs.p_loss, at_loss, heat, pairs.cost, pairs.area])
    slack = np.concatenate([SLACK * columns[:, :-2].min(axis=0), [0.0, 0.0]])
    return undominated(columns, slack, ~pairs.border)


def _reference_choice(coil: Ints, f_sw: Ints, reference: Ints) -> Choice:
    n = len(coil)
    return Choice(places=np.tile(reference, (n, 1)), coil=coil, f_sw=f_sw, esr=np.zeros((n, 2)))


def all_sums(job: Task, pairs: Pairs, allowed: list[Ints]) -> tuple[Sums, int]:
    """Return the sets that can win or stand on the front, and how many sets were compared in all."""
    found, count = [], 0
    for f in range(len(job.t.f_sw)):
        which = np.flatnonzero(pairs.choice.f_sw == f)
        if not len(which):
            continue
        lists = _switches_at(job, pairs.take(which[[np.argmin(pairs.p_loss[which])]]), allowed)
        count += len(which) * int(np.prod([len(a) for a in allowed]))
        if all(len(x) for x in lists):
            found.append(_sums_at(job, pairs, which, lists))
    if not found:
        raise NoSolution("junction temperature: every switch would pass its limit in every stage that keeps the rules")
    names = Sums.__dataclass_fields__
    return Sums(**{k: np.concatenate([getattr(s, k) for s in found]) for k in names}), count


def _switches_at(job: Task, pair: Pairs, allowed: list[Ints]) -> list[Ints]:
    """Return for each position the switches that can win at the frequency of one pair."""
    t, parts, demand = job.t, job.parts, job.demand
    corners, _ = merged(demand.stage.corners, np.zeros(len(demand.stage.corners.v_in)))
    sizes = [len(a) for a in allowed]
    place_of = np.repeat(np.array(t.active), sizes)
    switch = np.concatenate(allowed)
    choice = pair.choice.take(np.zeros(len(switch), dtype=np.int64))
    places = choice.places.copy()
    places[np.arange(len(switch)), place_of] = switch
    choice = Choice(places=places, coil=choice.coil, f_sw=choice.f_sw, esr=choice.esr)
    rows = rows_of(t, choice, job.temp_rank, job.temp_rank)
    usual = job.mean(run(rows, job.usual).total)
    at = run(rows, corners)
    lasting = corners.lasting if corners.lasting.any() else np.ones(len(corners.lasting), dtype=bool)
    own = at.heat()[place_of, np.arange(len(switch))][:, lasting] * parts.switches.column("rth_jb")[switch][:, None]
    rms = at.rms()[place_of, np.arange(len(switch))][:, lasting].max(axis=1)
    carries = rms <= demand.rules.i_derating * parts.switches.column("i_max")[switch]
    columns = np.column_stack(
        [
            usual,
            at.total[:, lasting],
            own,
            parts.switches.column("cost")[switch],
            parts.switches.column("area")[switch],
        ]
    )
    slack = np.concatenate([SLACK * columns[:, :-2].min(axis=0), [0.0, 0.0]])
    slack[1 + int(lasting.sum()) : -2] = 0.0
    lists = []
    for k in t.active:
        rows_k = np.flatnonzero((place_of == k) & carries)
        lists.append(switch[rows_k[undominated(columns[rows_k], slack, None)]])
    return lists


def _sums_at(job: Task, pairs: Pairs, which: Ints, lists: list[Ints]) -> Sums:
    """Return the sums at one frequency: the best of each pair by score, and the front."""
    t, price = job.t, job.demand.exchange
    own = pairs.take(which)
    n, width = len(which), sum(len(x) for x in lists)
    place_of = np.repeat(np.array(t.active), [len(x) for x in lists])
    switch = np.concatenate(lists)
    many = own.choice.take(np.repeat(np.arange(n), width))
    places = many.places.copy()
    places[np.arange(n * width), np.tile(place_of, n)] = np.tile(switch, n)
    many = Choice(places=places, coil=many.coil, f_sw=many.f_sw, esr=many.esr)
    loss = job.mean(run(rows_of(t, many, job.temp_rank, job.temp_rank), job.usual).total).reshape(n, width)
    base = job.mean(run(rows_of(t, own.choice, job.temp_rank, job.temp_rank), job.usual).total)
    change = loss - base[:, None]
    cost, area = job.parts.switches.column("cost")[switch], job.parts.switches.column("area")[switch]
    legs = []
    for leg in range(len(lists) // 2):
        high = np.flatnonzero(place_of == t.active[2 * leg])
        low = np.flatnonzero(place_of == t.active[2 * leg + 1])
        i, j = (x.ravel() for x in np.meshgrid(high, low, indexing="ij"))
        d = change[:, i] + change[:, j]
        mean = np.column_stack([d.mean(axis=0), cost[i] + cost[j], area[i] + area[j]])
        slack = np.array([SLACK * float(base.min()), 0.0, 0.0])
        useful = undominated(mean, slack, None)
        legs.append((d[:, useful], mean[useful, 1], mean[useful, 2], switch[i[useful]], switch[j[useful]]))
    d, c, a, hi, lo = legs[0]
    parts_of = [hi, lo]
    if len(legs) == 2:
        d2, c2, a2, hi2, lo2 = legs[1]
        m, m2 = d.shape[1], d2.shape[1]
        d = (d[:, :, None] + d2[:, None, :]).reshape(n, m * m2)
        c, a = (np.add.outer(x, y).ravel() for x, y in ((c, c2), (a, a2)))
        parts_of = [np.repeat(hi, m2), np.repeat(lo, m2), np.tile(hi2, m), np.tile(lo2, m)]
    p_loss = base[:, None] + d
    all_cost, all_area = own.cost[:, None] + c, own.area[:, None] + a
    score = price.score(p_loss, all_cost, all_area)
    kept = np.zeros(score.shape, dtype=bool)
    most = min(_PAIRS_KEPT, score.shape[1])
    best = np.argpartition(score, most - 1, axis=1)[:, :most]
    kept[np.arange(n)[:, None], best] = True
    flat = np.column_stack([p_loss.ravel(), all_cost.ravel(), all_area.ravel()])
    cells = np.array([_FRONT_CELL_LOSS * float(base.min()), _FRONT_CELL_COST, _FRONT_CELL_AREA])
    single = one_per_cell(flat, cells, score.ravel())
    kept.ravel()[single[front(flat[single])]] = True
    at = np.flatnonzero(kept.ravel())
    row, col = np.divmod(at, score.shape[1])
    chosen = np.full((len(at), 4), len(job.parts.switches))
    for k, names in zip(t.active, parts_of, strict=True):
        chosen[:, k] = names[col]
    return Sums(
        pair=which[row],
        places=chosen,
        p_loss=flat[at, 0],
        cost=flat[at, 1],
        area=flat[at, 2],
        score=score.ravel()[at],
    )


def judge(job: Task, pairs: Pairs, sums: Sums) -> Judged:
    """Return the exact evaluation of some sets."""
    t, demand, parts = job.t, job.demand, job.parts
    base = pairs.choice.take(sums.pair)
    choice = Choice(places=sums.places, coil=base.coil, f_sw=base.f_sw, esr=base.esr)
    rows = rows_of(t, choice, job.temp_rank, job.temp_rank)
    p_loss = job.mean(run(rows, job.usual).total)
    worst = run(rows_of(t, choice, job.temp_rank, job.temp_rank, worst_coil=True), demand.stage.corners)
    heat = settled_heat(t, choice, parts, demand, job.p_pass, job.temp_rank)
    return Judged(
        choice=choice,
        bank=sums.pair,
        p_loss=p_loss,
        score=demand.exchange.score(p_loss, sums.cost, sums.area),
        cost=sums.cost,
        area=sums.area,
        rulings=[
            *coil_rulings(t, choice, worst, parts, demand),
            *switch_rulings(t, choice, worst, parts, demand),
            *heat_rulings(t, choice, heat, parts, demand),
        ],
    )


def _judge_best(job: Task, pairs: Pairs, sums: Sums, considered: int) -> Found:
    order = np.argsort(sums.score, kind="stable")
    done: list[Judged] = []
    best, error = np.inf, 0.0
    for start in range(0, len(order), _CHUNK):
        some_of = sums.take(order[start : start + _CHUNK])
        if float(some_of.score[0]) > best + 2.0 * error:
            break
        found = judge(job, pairs, some_of)
        done.append(found)
        error = max(error, float(np.abs(found.score - some_of.score).max()))
        if found.keeps.any():
            best = min(best, float(found.score[found.keeps].min()))
    flat = np.column_stack([sums.p_loss, sums.cost, sums.area])
    cells = np.array([_FRONT_CELL_LOSS * float(sums.p_loss.min()), _FRONT_CELL_COST, _FRONT_CELL_AREA])
    single = one_per_cell(flat, cells, sums.score)
    candidates = single[front(flat[single])]
    rest = np.setdiff1d(candidates, order[: _CHUNK * len(done)])
    if len(rest):
        done.append(judge(job, pairs, sums.take(rest)))
    judged = joined(done)
    good = np.flatnonzero(judged.keeps)
    if not len(good):
        raise NoSolution(nothing_passes(job, judged.choice, judged.rulings))
    kept = picked(judged, good)
    on_front = front(np.column_stack([kept.p_loss, kept.cost, kept.area]))
    on_front = on_front[np.argsort(kept.score[on_front], kind="stable")]
    edge = picked(kept, on_front)
    return Found(best=picked(edge, np.array([0])), front=edge, judged=judged, pairs=pairs, considered=considered)


def picked(judged: Judged, which: Ints) -> Judged:
    """Return some of the sets."""
    return Judged(
        choice=judged.choice.take(which),
        bank=judged.bank[which],
        p_loss=judged.p_loss[which],
        score=judged.score[which],
        cost=judged.cost[which],
        area=judged.area[which],
        rulings=[
            Ruling(
                rule=r.rule,
                where=r.where,
                unit=r.unit,
                value=r.value[which],
                limit=r.limit[which],
                use=r.use[which],
                corner=r.corner[which],
            )
            for r in judged.rulings
        ],
    )


def joined(many: list[Judged]) -> Judged:
    """Return several evaluations as one."""

    def one(name: str) -> Floats:
        return np.concatenate([getattr(j, name) for j in many])

    def column(k: int, name: str) -> Floats:
        return np.concatenate([getattr(j.rulings[k], name) for j in many])

    return Judged(
        choice=Choice(**{k: np.concatenate([getattr(j.choice, k) for j in many]) for k in Choice.__dataclass_fields__}),
        bank=np.concatenate([j.bank for j in many]),
        p_loss=one("p_loss"),
        score=one("score"),
        cost=one("cost"),
        area=one("area"),
        rulings=[
            Ruling(
                rule=r.rule,
                where=r.where,
                unit=r.unit,
                value=column(k, "value"),
                limit=column(k, "limit"),
                use=column(k, "use"),
                corner=np.concatenate([j.rulings[k].corner for j in many]),
            )
            for k, r in enumerate(many[0].rulings)
        ],
    )


def nothing_passes(job: Task, choice: Choice, rulings: list[Ruling]) -> str:
    """Return which rule bound and by how much the best set missed it."""
    use = np.stack([r.use for r in rulings])
    k = int(np.argmin(use.max(axis=0)))
    r = rulings[int(np.argmax(use[:, k]))]
    coil = job.parts.inductors.record(int(choice.coil[k])).name
    return (
        f"{r.rule}: no set of parts keeps it at the {r.where}; the best, with {coil} at "
        f"{job.t.f_sw[choice.f_sw[k]] / 1e3:.4g} kHz, has {r.value[k]:.4g} {r.unit} against {r.limit[k]:.4g} {r.unit}"
    )


def _no_bank(job: Task, first: BankChoice) -> str:
    side = "source" if not (first.part >= 0).any() else "pack"
    v = job.demand.stage.v_a_max if side == "source" else job.demand.stage.v_b_max
    return f"capacitors on the {side} side ({v:.3g} V): no bank keeps ripple, current and voltage rules"
